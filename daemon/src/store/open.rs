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
        if let Some(folder) =
            path.as_deref().and_then(Path::parent).filter(|folder| !folder.as_os_str().is_empty())
        {
            std::fs::create_dir_all(folder).map_err(|source| StoreError::File {
                doing: "making the folder",
                path: folder.display().to_string(),
                source,
            })?;
        }
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
