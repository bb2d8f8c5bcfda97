//! `pourday add-person`: a way in when nobody can sign in.

use std::io::BufRead;

use clap::{Args, ValueEnum};

use super::{CliFault, Where, block_on, serve::say};
use crate::clock::Clock;
use crate::db;
use crate::people::{self, Role};

#[derive(Args, Debug)]
pub(crate) struct AddPerson {
    #[command(flatten)]
    place: Where,
    /// The name to sign in with
    login: String,
    /// Their name
    #[arg(long)]
    name: Option<String>,
    /// What they may do
    #[arg(long, value_enum, default_value = "maker")]
    role: RoleName,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum RoleName {
    Owner,
    Maker,
}

impl AddPerson {
    pub(crate) fn run(self) -> Result<(), CliFault> {
        say("Password (at least 10 characters, then Enter):");
        let mut password = String::new();
        std::io::stdin().lock().read_line(&mut password)?;
        let password = password.trim_end_matches(['\n', '\r']).to_owned();
        block_on(async move {
            let hash = people::hash_password(password)
                .await
                .map_err(|refusal| CliFault::Refused(refusal.to_string()))?;
            let database = db::connect_or_join(self.place.source()).await?;
            db::migrate(&database.pool).await?;
            let login = self.login.trim().to_lowercase();
            let name = self.name.unwrap_or_else(|| self.login.clone());
            let role = match self.role {
                RoleName::Owner => Role::Owner,
                RoleName::Maker => Role::Maker,
            };
            people::add(&database.pool, &name, &login, role, &hash, Clock::system().now()).await?;
            database.close().await?;
            say(&format!("{name} may sign in as {login}."));
            Ok(())
        })
    }
}
