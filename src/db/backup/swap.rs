//! The databases beside the studio's, and changing their names.

use std::time::Duration;

use sqlx::postgres::PgConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, PgConnection};

use crate::db::DbRefusal;
use crate::db::pool::unreachable_at;

/// The code of PostgreSQL's error "object in use".
const IN_USE: &str = "55006";
/// PostgreSQL cuts longer names off.
const LONGEST_NAME: usize = 63;

/// The studio's database and, beside it, a fresh one and the one a restore replaced.
pub(super) struct Swap {
    admin: PgConnection,
    options: PgConnectOptions,
    studio: String,
    fresh: String,
    former: String,
}

impl Swap {
    /// Connects beside the studio's database, because no database can be renamed or
    /// dropped from within.
    pub(super) async fn begin(options: &PgConnectOptions) -> Result<Self, DbRefusal> {
        let studio = options.get_database().unwrap_or_else(|| options.get_username()).to_owned();
        let beside =
            options.clone().database(if studio == "postgres" { "template1" } else { "postgres" });
        let admin = beside.connect().await.map_err(unreachable_at(&beside))?;
        Ok(Self {
            admin,
            options: options.clone(),
            fresh: named_after(&studio, "_restoring"),
            former: named_after(&studio, "_replaced"),
            studio,
        })
    }

    /// Makes an empty database; one left by a restore that was cut off goes first.
    pub(super) async fn make_fresh(&mut self) -> Result<PgConnectOptions, DbRefusal> {
        let fresh = quoted(&self.fresh);
        self.run(format!("DROP DATABASE IF EXISTS {fresh} WITH (FORCE)")).await?;
        self.run(format!("CREATE DATABASE {fresh} TEMPLATE template0 ENCODING 'UTF8'")).await?;
        Ok(self.options.clone().database(&self.fresh))
    }

    /// Drops the fresh database. Should that fail, the next restore does it.
    pub(super) async fn drop_fresh(&mut self) {
        let fresh = quoted(&self.fresh);
        if let Err(refusal) =
            self.run(format!("DROP DATABASE IF EXISTS {fresh} WITH (FORCE)")).await
        {
            tracing::warn!(%refusal, "left the database {fresh} behind");
        }
    }

    /// Puts the fresh database in the studio's place; returns the name under which the
    /// studio's is kept, if it is worth keeping.
    pub(super) async fn replace(&mut self, keep: bool) -> Result<Option<String>, DbRefusal> {
        let (studio, fresh, former) =
            (quoted(&self.studio), quoted(&self.fresh), quoted(&self.former));
        let dropped = self.run(format!("DROP DATABASE IF EXISTS {former} WITH (FORCE)")).await;
        let renamed = match dropped {
            Ok(()) => self.rename(&[(&studio, &former), (&fresh, &studio)]).await,
            Err(refusal) => Err(refusal),
        };
        if let Err(refusal) = renamed {
            self.drop_fresh().await;
            return Err(refusal);
        }
        if keep {
            return Ok(Some(self.former.clone()));
        }
        self.run(format!("DROP DATABASE IF EXISTS {former} WITH (FORCE)")).await?;
        Ok(None)
    }

    /// Changes the studio's database for the one the last restore replaced.
    pub(super) async fn undo(&mut self) -> Result<(), DbRefusal> {
        let exists: bool =
            sqlx::query_scalar("SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)")
                .bind(&self.former)
                .fetch_one(&mut self.admin)
                .await
                .map_err(failed)?;
        if !exists {
            return Err(DbRefusal::NothingReplaced);
        }
        self.drop_fresh().await;
        let (studio, aside, former) =
            (quoted(&self.studio), quoted(&self.fresh), quoted(&self.former));
        self.rename(&[(&studio, &aside), (&former, &studio), (&aside, &former)]).await
    }

    /// Gives the databases their new names, all or none.
    async fn rename(&mut self, names: &[(&str, &str)]) -> Result<(), DbRefusal> {
        let renamed = async {
            let mut transaction = self.admin.begin().await?;
            for (from, to) in names {
                let sql = AssertSqlSafe(format!("ALTER DATABASE {from} RENAME TO {to}"));
                sqlx::query(sql).execute(&mut *transaction).await?;
            }
            transaction.commit().await
        }
        .await;
        match renamed {
            Err(sqlx::Error::Database(said)) if said.code().as_deref() == Some(IN_USE) => {
                Err(DbRefusal::StudioInUse { sessions: self.sessions().await.unwrap_or(1).max(1) })
            }
            other => other.map_err(failed),
        }
    }

    /// Refuses while others are connected to the studio's database. Renaming would too,
    /// but only after the whole backup has been read.
    pub(super) async fn check_unused(&mut self) -> Result<(), DbRefusal> {
        let mut sessions = 0;
        // Sessions that were just closed take a moment to go; renaming waits as long.
        for _ in 0..50 {
            sessions = self.sessions().await.map_err(failed)?;
            if sessions == 0 {
                return Ok(());
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        Err(DbRefusal::StudioInUse { sessions })
    }

    /// Counts people's sessions; PostgreSQL's own belong to no user and step aside.
    async fn sessions(&mut self) -> sqlx::Result<i64> {
        sqlx::query_scalar(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = $1 AND usesysid IS NOT NULL",
        )
        .bind(&self.studio)
        .fetch_one(&mut self.admin)
        .await
    }

    async fn run(&mut self, sql: String) -> Result<(), DbRefusal> {
        sqlx::query(AssertSqlSafe(sql)).execute(&mut self.admin).await.map(|_| ()).map_err(failed)
    }
}

fn failed(cause: sqlx::Error) -> DbRefusal {
    let said = match &cause {
        // Insufficient privilege, with what the administrator can do about it.
        sqlx::Error::Database(said) if said.code().as_deref() == Some("42501") => format!(
            "{}; the database's owner needs the right to make databases (ALTER ROLE … CREATEDB)",
            said.message()
        ),
        sqlx::Error::Database(said) => said.message().to_owned(),
        other => other.to_string(),
    };
    DbRefusal::RestoreFailed { said }
}

fn named_after(studio: &str, ending: &str) -> String {
    if studio.len() + ending.len() <= LONGEST_NAME {
        format!("{studio}{ending}")
    } else {
        format!("pourday{ending}")
    }
}

fn quoted(name: &str) -> String {
    format!("\"{}\"", name.replace('"', "\"\""))
}
