//! The database: a server of our own or a named one, the pool, migrations, backups.
//!
//! With no address given, Pourday runs a private PostgreSQL in its data folder
//! ([`OwnServer`]); with one, it uses that server. Everything above this module sees
//! only a [`Database`] and does not know which it is.

pub mod constraint;
pub mod once;
mod backup;
mod migrate;
mod own_server;
mod pool;
mod refusal;

pub use backup::{BackupReport, RestoreReport, back_up, back_up_database, restore, undo_restore};
pub use migrate::{migrate, migrate_with};
pub use own_server::{Address, OwnServer, default_data_dir};
pub use pool::{Database, Source, connect, connect_or_join, is_unavailable};
pub use refusal::DbRefusal;
