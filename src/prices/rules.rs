//! The rules of the price book: rates by task, taxes, classes of clients, the least an order is
//! worth, and how amounts are rounded.

use rust_decimal::Decimal;
use serde::Deserialize;
use sqlx::{FromRow, PgConnection, PgExecutor};

use crate::clock::Moment;
use crate::id::{ClassId, ClientId, TaskId, TaxId};
use crate::web::Form;

/// How an order is priced, beside its own inputs.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize, FromRow)]
pub struct Rules {
    /// The least an order is worth, without tax; nothing when there is no least.
    pub least_net: Decimal,
    /// `line` or `total`: where discount and tax are rounded.
    pub rounding: String,
    /// `piece` or `line`: whether each piece has a price.
    pub price_by: String,
    /// Counts the changes.
    pub version: i64,
}

impl Rules {
    /// Reads them.
    pub async fn load(db: impl PgExecutor<'_>) -> Result<Self, sqlx::Error> {
        sqlx::query_as("SELECT least_net, rounding, price_by, version FROM price_rules")
            .fetch_one(db)
            .await
    }

    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let version = form.version();
        let least_net = form.decimal("least_net", Decimal::ZERO, Decimal::from(10_000_000), 4);
        let one_of = |form: &mut Form, name: &str, words: [&str; 2]| {
            let typed = form.value(name).to_owned();
            let known = words.contains(&typed.as_str());
            if !known {
                form.wrong(name, "Choose one of these.");
            }
            known.then_some(typed)
        };
        let rounding = one_of(form, "rounding", ["line", "total"]);
        let price_by = one_of(form, "price_by", ["piece", "line"]);
        if !form.good() {
            return None;
        }
        Some(Self { least_net: least_net?, rounding: rounding?, price_by: price_by?, version })
    }

    /// Writes them if nobody did since; says whether it did.
    pub(super) async fn write(&self, conn: &mut PgConnection) -> Result<bool, sqlx::Error> {
        let done = sqlx::query(
            "UPDATE price_rules SET least_net = $1, rounding = $2, price_by = $3, version = version + 1
             WHERE version = $4",
        )
        .bind(self.least_net)
        .bind(&self.rounding)
        .bind(&self.price_by)
        .bind(self.version)
        .execute(conn)
        .await?;
        Ok(done.rows_affected() == 1)
    }
}

/// Work that is charged by the hour beside what every piece takes.
#[derive(Clone, Debug, Deserialize, FromRow)]
pub struct Task {
    /// Which.
    pub id: TaskId,
    /// What it is called.
    pub name: String,
    /// Money for an hour.
    pub hour_rate: Decimal,
}

/// A tax beside the studio's own.
#[derive(Clone, Debug, Deserialize, FromRow)]
pub struct TaxRow {
    /// Which.
    pub id: TaxId,
    /// What it is called.
    pub name: String,
    /// As a share.
    pub rate: Decimal,
    /// Whether prices are shown with it inside.
    pub inclusive: bool,
}

/// Clients who are treated alike.
#[derive(Clone, Debug, FromRow)]
pub struct Class {
    /// Which.
    pub id: ClassId,
    /// What it is called.
    pub name: String,
    /// Taken off their prices, as a share.
    pub discount: Decimal,
    /// Their tax; none is the studio's.
    pub tax_id: Option<TaxId>,
}

/// Tasks in use, by name.
pub async fn tasks(db: impl PgExecutor<'_>) -> Result<Vec<Task>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, hour_rate FROM tasks WHERE retired_at IS NULL ORDER BY lower(name), id",
    )
    .fetch_all(db)
    .await
}

/// Taxes in use, by name.
pub async fn taxes(db: impl PgExecutor<'_>) -> Result<Vec<TaxRow>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, rate, inclusive FROM taxes WHERE retired_at IS NULL ORDER BY lower(name), id",
    )
    .fetch_all(db)
    .await
}

/// Classes in use, by name.
pub async fn classes(db: impl PgExecutor<'_>) -> Result<Vec<Class>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, name, discount, tax_id FROM client_classes WHERE retired_at IS NULL ORDER BY lower(name), id",
    )
    .fetch_all(db)
    .await
}

/// The class of a client, if they are in one that is in use.
pub async fn class_of(
    db: impl PgExecutor<'_>,
    client: ClientId,
) -> Result<Option<Class>, sqlx::Error> {
    sqlx::query_as(
        "SELECT k.id, k.name, k.discount, k.tax_id FROM clients c JOIN client_classes k ON k.id = c.class_id
         WHERE c.id = $1 AND k.retired_at IS NULL",
    )
    .bind(client)
    .fetch_optional(db)
    .await
}

/// Something that is added to the price book.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Added {
    Task { name: String, hour_rate: Decimal },
    Tax { name: String, rate: Decimal, inclusive: bool },
    Class { name: String, discount: Decimal, tax: Option<TaxId> },
}

impl Added {
    /// Reads one of the three forms; `None` after noting at each field what is wrong with it.
    pub(super) fn read(what: &str, form: &mut Form) -> Option<Self> {
        let share = |form: &mut Form, name: &str| {
            form.decimal(name, Decimal::ZERO, Decimal::ONE_HUNDRED, 2)
                .map(|percent| percent / Decimal::ONE_HUNDRED)
        };
        let read = match what {
            "task" => {
                let name = named(form, "task_name", 80);
                let rate = form.decimal("hour_rate", Decimal::ZERO, Decimal::from(1_000_000), 4);
                rate.map(|hour_rate| Self::Task { name, hour_rate })
            }
            "tax" => {
                let name = named(form, "tax_name", 40);
                let inclusive = form.ticked("inclusive");
                share(form, "tax_percent").map(|rate| Self::Tax { name, rate, inclusive })
            }
            _ => {
                let name = named(form, "class_name", 80);
                let tax = form.value("class_tax").parse().ok();
                share(form, "class_discount").map(|discount| Self::Class { name, discount, tax })
            }
        };
        read.filter(|_| form.good())
    }

    /// Adds it, or changes the one of that name.
    pub(super) async fn write(&self, conn: &mut PgConnection) -> Result<(), sqlx::Error> {
        let query = match self {
            Self::Task { name, hour_rate } => sqlx::query(
                "INSERT INTO tasks (id, name, hour_rate) VALUES ($1, $2, $3)
                 ON CONFLICT (name) DO UPDATE SET hour_rate = EXCLUDED.hour_rate, retired_at = NULL",
            )
            .bind(TaskId::new())
            .bind(name)
            .bind(hour_rate),
            Self::Tax { name, rate, inclusive } => sqlx::query(
                "INSERT INTO taxes (id, name, rate, inclusive) VALUES ($1, $2, $3, $4)
                 ON CONFLICT (name) DO UPDATE SET rate = EXCLUDED.rate, inclusive = EXCLUDED.inclusive, retired_at = NULL",
            )
            .bind(TaxId::new())
            .bind(name)
            .bind(rate)
            .bind(inclusive),
            Self::Class { name, discount, tax } => sqlx::query(
                "INSERT INTO client_classes (id, name, discount, tax_id) VALUES ($1, $2, $3, $4)
                 ON CONFLICT (name) DO UPDATE SET discount = EXCLUDED.discount, tax_id = EXCLUDED.tax_id, retired_at = NULL",
            )
            .bind(ClassId::new())
            .bind(name)
            .bind(discount)
            .bind(tax),
        };
        query.execute(conn).await?;
        Ok(())
    }
}

fn named(form: &mut Form, field: &str, most: usize) -> String {
    let name = form.line(field, most);
    if name.is_empty() {
        form.wrong(field, "This is needed.");
    }
    name
}

/// Puts something out of use; quotes made with it keep what they say.
pub(super) async fn retire(
    conn: &mut PgConnection,
    what: &str,
    id: uuid::Uuid,
    now: Moment,
) -> Result<(), sqlx::Error> {
    let query = match what {
        "task" => "UPDATE tasks SET retired_at = $2 WHERE id = $1 AND retired_at IS NULL",
        "tax" => "UPDATE taxes SET retired_at = $2 WHERE id = $1 AND retired_at IS NULL",
        _ => "UPDATE client_classes SET retired_at = $2 WHERE id = $1 AND retired_at IS NULL",
    };
    sqlx::query(query).bind(id).bind(now).execute(conn).await?;
    Ok(())
}
