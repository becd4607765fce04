//! Opening the embedded store, with its pragmas set and read back.

use std::path::{Path, PathBuf};
use std::time::Duration;

use migrations::Migrator;
use sea_orm::sqlx::sqlite::{SqliteJournalMode, SqliteSynchronous};
use sea_orm::{ConnectOptions, ConnectionTrait, Database, DatabaseConnection, Statement};
use sea_orm_migration::MigratorTrait;

use super::StoreError;

/// The embedded store.
#[derive(Clone, Debug)]
pub struct Store {
    pub(super) db: DatabaseConnection,
    path: Option<PathBuf>,
}

const MEMORY: &str = "sqlite::memory:";

/// What must be read back, or the store is not used.
const PRAGMAS: &[(&str, &str)] = &[
    ("synchronous", "2"),
    ("foreign_keys", "1"),
    ("busy_timeout", "10000"),
    ("trusted_schema", "0"),
    ("cell_size_check", "1"),
    ("journal_size_limit", "67108864"),
];

impl Store {
    /// Opens `sqlite:FILE`, making the file and bringing its schema up to date.
    ///
    /// # Errors
    /// A wrong address, a newer schema, a pragma that does not hold, or the database's own failure.
    pub async fn open(address: &str) -> Result<Store, StoreError> {
        let path = file_of(address)?;
        path.as_deref().map(make_folder).transpose()?;
        let store = Store { db: connect(path.as_deref()).await?, path };
        store.check_version().await?;
        store.check_pragmas().await?;
        store.migrate().await?;
        Ok(store)
    }

    /// A store that lives as long as this value.
    pub async fn in_memory() -> Result<Store, StoreError> {
        Store::open(MEMORY).await
    }

    /// The database file, unless the store lives in memory.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// Before 3.51.3 a write-ahead log that two connections reset together could corrupt the file.
    async fn check_version(&self) -> Result<(), StoreError> {
        let found = self.scalar("SELECT sqlite_version()").await?;
        let parts: Vec<u32> = found.split('.').filter_map(|part| part.parse().ok()).collect();
        if parts.as_slice() >= [3, 51, 3].as_slice() {
            return Ok(());
        }
        Err(StoreError::Setting { pragma: "sqlite_version", found, wanted: "3.51.3 or newer" })
    }

    async fn check_pragmas(&self) -> Result<(), StoreError> {
        if self.path.is_some() {
            self.check_pragma("journal_mode", "wal").await?;
        }
        for (pragma, wanted) in PRAGMAS {
            self.check_pragma(pragma, wanted).await?;
        }
        Ok(())
    }

    async fn check_pragma(&self, pragma: &'static str, wanted: &'static str) -> Result<(), StoreError> {
        let found = self.scalar(&format!("PRAGMA {pragma}")).await?;
        if found == wanted { Ok(()) } else { Err(StoreError::Setting { pragma, found, wanted }) }
    }

    /// One value as text, for pragmas and checks.
    pub(super) async fn scalar(&self, sql: &str) -> Result<String, StoreError> {
        let doing = StoreError::while_("reading a setting of the database");
        let statement = Statement::from_string(self.db.get_database_backend(), sql.to_owned());
        let row = self.db.query_one_raw(statement).await.map_err(&doing)?;
        let Some(row) = row else { return Ok(String::new()) };
        let number = row.try_get_by_index::<i64>(0).map(|number| number.to_string());
        number.or_else(|_| row.try_get_by_index::<String>(0)).map_err(doing)
    }

    async fn migrate(&self) -> Result<(), StoreError> {
        let doing = StoreError::while_("bringing the schema up to date");
        let known: Vec<String> = Migrator::migrations().iter().map(|m| m.name().to_owned()).collect();
        let applied = Migrator::get_migration_models(&self.db).await.unwrap_or_default();
        if let Some(newer) = applied.into_iter().find(|model| !known.contains(&model.version)) {
            return Err(StoreError::NewerSchema(newer.version));
        }
        Migrator::up(&self.db, None).await.map_err(doing)
    }

    /// Closes every connection, so that the write-ahead log is folded in.
    pub async fn close(self) -> Result<(), StoreError> {
        self.db.close().await.map_err(StoreError::while_("closing the database"))
    }
}

/// Makes the folder that a database file stands in.
pub(crate) fn make_folder(path: &Path) -> Result<(), StoreError> {
    let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) else { return Ok(()) };
    let doing = "making the folder";
    let path = folder.display().to_string();
    std::fs::create_dir_all(folder).map_err(|source| StoreError::File { doing, path, source })
}

fn file_of(address: &str) -> Result<Option<PathBuf>, StoreError> {
    if address == MEMORY {
        return Ok(None);
    }
    let path = address.strip_prefix("sqlite:").filter(|rest| !rest.is_empty() && !rest.contains(['?', '#']));
    let path = path.ok_or_else(|| StoreError::Address(address.to_owned()))?;
    Ok(Some(PathBuf::from(path.strip_prefix("//").unwrap_or(path))))
}

async fn connect(path: Option<&Path>) -> Result<DatabaseConnection, StoreError> {
    let mut options = ConnectOptions::new(MEMORY);
    // An in-memory database belongs to its one connection.
    options.max_connections(if path.is_some() { 4 } else { 1 });
    options.acquire_timeout(Duration::from_secs(30)).sqlx_logging(false);
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
    Database::connect(options).await.map_err(StoreError::while_("opening the database"))
}

#[cfg(test)]
mod tests {
    use sea_orm::{TransactionOptions, TransactionTrait};

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
            let db = store.db.begin_with_options(TransactionOptions::default()).await.unwrap();
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
        let refused = store.check_pragma("synchronous", "3").await.unwrap_err();
        let said = refused.to_string();
        assert!(said.contains("synchronous = 2") && said.contains("3 is needed"), "{said}");
        assert!(store.check_pragmas().await.is_ok());
    }
}
