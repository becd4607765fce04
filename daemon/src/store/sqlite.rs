//! The embedded store, with its pragmas set and read back.

use std::path::Path;
use std::time::Duration;

use migrations::Migrator;
use sea_orm::sqlx::sqlite::{SqliteJournalMode, SqliteSynchronous};
use sea_orm::{ConnectOptions, Database};
use sea_orm_migration::MigratorTrait;

use super::address::MEMORY;
use super::answered::{Answered, Connections, Silence};
use super::open::{Store, refuse_newer};
use super::{StoreError, make_folder};

/// What must be read back, or the store is not used.
const PRAGMAS: &[(&str, &str)] = &[
    ("synchronous", "2"),
    ("foreign_keys", "1"),
    ("busy_timeout", "10000"),
    ("trusted_schema", "0"),
    ("cell_size_check", "1"),
    ("journal_size_limit", "67108864"),
];

/// Opens a file, or memory where none is given, and brings the schema up to date.
pub(super) async fn open(path: Option<&Path>) -> Result<Store, StoreError> {
    path.map(make_folder).transpose()?;
    let store = Store::embedded(connect(path).await?, path);
    check_version(&store).await?;
    check_pragmas(&store).await?;
    migrate(&store).await?;
    Ok(store)
}

/// Before 3.51.3 a write-ahead log that two connections reset together could corrupt the file.
async fn check_version(store: &Store) -> Result<(), StoreError> {
    let found = store.scalar("SELECT sqlite_version()").await?;
    let parts: Vec<u32> = found.split('.').filter_map(|part| part.parse().ok()).collect();
    if parts.as_slice() >= [3, 51, 3].as_slice() {
        return Ok(());
    }
    Err(StoreError::Setting { pragma: "sqlite_version", found, wanted: "3.51.3 or newer" })
}

async fn check_pragmas(store: &Store) -> Result<(), StoreError> {
    if store.path().is_some() {
        check_pragma(store, "journal_mode", "wal").await?;
    }
    for (pragma, wanted) in PRAGMAS {
        check_pragma(store, pragma, wanted).await?;
    }
    Ok(())
}

async fn check_pragma(store: &Store, pragma: &'static str, wanted: &'static str) -> Result<(), StoreError> {
    let found = store.scalar(&format!("PRAGMA {pragma}")).await?;
    if found == wanted { Ok(()) } else { Err(StoreError::Setting { pragma, found, wanted }) }
}

async fn migrate(store: &Store) -> Result<(), StoreError> {
    let doing = StoreError::while_("bringing the schema up to date");
    refuse_newer(&store.db.inner).await?;
    Migrator::up(&store.db.inner, None).await.map_err(doing)
}

async fn connect(path: Option<&Path>) -> Result<Connections, StoreError> {
    let mut options = ConnectOptions::new(MEMORY);
    // An in-memory database belongs to its one connection.
    options.max_connections(if path.is_some() { 4 } else { 1 });
    // A connection to a file cannot go away, so that it need not be asked before each statement.
    options.acquire_timeout(Duration::from_secs(30)).test_before_acquire(false).sqlx_logging(false);
    let file = path.map(Path::to_path_buf);
    options.map_sqlx_sqlite_opts(move |sqlite| {
        let sqlite = match &file {
            Some(file) => sqlite.filename(file).create_if_missing(true).in_memory(false).shared_cache(false),
            None => sqlite,
        };
        sqlite
            .journal_mode(if file.is_some() { SqliteJournalMode::Wal } else { SqliteJournalMode::Memory })
            .synchronous(SqliteSynchronous::Full)
            .busy_timeout(Duration::from_secs(10))
            .foreign_keys(true)
            .pragma("trusted_schema", "0")
            .pragma("cell_size_check", "1")
            .pragma("journal_size_limit", "67108864")
    });
    let inner = Database::connect(options).await.map_err(StoreError::while_("opening the database"))?;
    Ok(Answered { inner, silence: Silence::default() })
}

#[cfg(test)]
mod tests {
    use sea_orm::{ConnectionTrait, Statement, TransactionOptions, TransactionTrait};

    use super::*;

    async fn read_back(db: &impl ConnectionTrait, pragma: &str) -> String {
        let sql = format!("PRAGMA {pragma}");
        let row =
            db.query_one_raw(Statement::from_string(db.get_database_backend(), sql)).await.unwrap().unwrap();
        row.try_get_by_index::<i64>(0)
            .map_or_else(|_| row.try_get_by_index(0).unwrap(), |number| number.to_string())
    }

    /// Settings belong to a connection, so each of the four is asked, all held open at once.
    #[tokio::test]
    async fn every_connection_reads_back_what_durability_needs() {
        let folder = std::env::temp_dir().join(format!("tallow-pragmas-{}", std::process::id()));
        let store = Store::open(&format!("sqlite:{}", folder.join("a.db").display())).await.unwrap();
        let mut held = Vec::new();
        for _ in 0..4 {
            let db = store.db.inner.begin_with_options(TransactionOptions::default()).await.unwrap();
            for (pragma, wanted) in PRAGMAS.iter().chain(&[("journal_mode", "wal")]) {
                assert_eq!(read_back(&db, pragma).await, *wanted, "{pragma}");
            }
            held.push(db);
        }
        std::fs::remove_dir_all(folder).unwrap();
    }

    #[tokio::test]
    async fn a_setting_that_does_not_hold_is_refused_by_name() {
        let store = Store::in_memory().await.unwrap();
        let refused = check_pragma(&store, "synchronous", "3").await.unwrap_err();
        let said = refused.to_string();
        assert!(said.contains("synchronous = 2") && said.contains("3 is needed"), "{said}");
        assert!(check_pragmas(&store).await.is_ok());
    }
}
