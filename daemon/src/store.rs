//! All SQL: rows in and out, one writer, the record chain, the due table and the outbox.

pub mod accounts;
pub mod address;
mod answered;
pub mod answers;
pub mod backup;
pub mod chain;
pub mod current;
pub mod doubts;
pub mod due_table;
mod figures;
pub mod fleet;
mod last_use;
pub mod leases;
pub mod moving;
#[cfg(test)]
mod nth_fault;
mod open;
pub mod outbox;
pub mod policy_sets;
mod postgres;
mod requests;
mod settings;
mod sqlite;
mod tables;
pub mod telling;
pub mod write;

pub use fleet::Loaded;
pub use open::Store;
pub(crate) use open::make_folder;
pub use tables::{OfItem, Stored};
pub use write::Writer;

/// Keys asked for in one statement.
const KEYS: usize = 5_000;

/// What goes wrong between Tallow and its database.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The database refused or failed.
    #[error("{doing}: the database failed")]
    Database {
        /// What was being done.
        doing: &'static str,
        /// The database's own words.
        #[source]
        source: sea_orm::DbErr,
    },
    /// The address names no database.
    #[error(
        "\"{0}\" is no database address Tallow can open; give sqlite:FILE or postgres://USER@HOST/DATABASE"
    )]
    Address(String),
    /// A setting of the database is not what durability needs.
    #[error("the database came up with {pragma} = {found}, but {wanted} is needed; it was not used")]
    Setting {
        /// Pragma.
        pragma: &'static str,
        /// As read back.
        found: String,
        /// As it must be.
        wanted: &'static str,
    },
    /// The schema is newer than this program.
    #[error("the database was written by a newer Tallow (it knows migration {0}); use that version")]
    NewerSchema(String),
    /// A file could not be read or written.
    #[error("{doing} {path}")]
    File {
        /// What was being done.
        doing: &'static str,
        /// Which file.
        path: String,
        /// The system's own words.
        #[source]
        source: std::io::Error,
    },
    /// Another write takes longer than anybody waits for it.
    #[error("another write has held the database for {0} seconds; nothing was changed, try again")]
    Busy(u64),
    /// The connection was lost while a write was being committed.
    #[error(
        "the database was lost while this was being written, and whether it was is not known; once it answers \
         again, send the same again: under its key it is one record"
    )]
    Unknown,
    /// Another daemon serves this store.
    #[error("another Tallow daemon serves this store ({0}); stop it first")]
    Served(String),
    /// The machine's clock cannot be believed.
    #[error("{0}")]
    Clock(String),
    /// What several waited for failed for all of them.
    #[error(transparent)]
    Shared(std::sync::Arc<StoreError>),
    /// A backup or a restored file is not whole.
    #[error("{0}")]
    NotWhole(String),
}

impl StoreError {
    /// For `map_err`: says what was being done.
    pub fn while_(doing: &'static str) -> impl Fn(sea_orm::DbErr) -> StoreError {
        move |source| StoreError::Database { doing, source }
    }

    /// Whether the database cannot be reached now, so that the same may succeed later.
    pub fn is_away(&self) -> bool {
        match self {
            StoreError::Database { source, .. } => write::is_away(source),
            StoreError::Busy(_) | StoreError::Unknown => true,
            _ => false,
        }
    }
}
