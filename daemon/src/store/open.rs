//! One store over either database: a file beside the daemon, or a PostgreSQL server.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use migrations::Migrator;
use sea_orm::{ConnectionTrait, DbBackend, Statement};
use sea_orm_migration::MigratorTrait;
use tokio::sync::Semaphore;

use super::address::{Address, MEMORY};
use super::answered::Connections;
use super::{StoreError, postgres, sqlite};

/// Where records are kept.
#[derive(Clone, Debug)]
pub struct Store {
    pub(super) db: Connections,
    path: Option<PathBuf>,
    /// One writer of this process at a time asks the database, so that those who wait leave connections to readers.
    pub(super) turn: Arc<Semaphore>,
}

impl Store {
    /// Opens `sqlite:FILE`, making the file, or `postgres://…`, and brings the schema up to date.
    ///
    /// # Errors
    /// A wrong address, a newer schema, a setting that does not hold, or the database's own failure.
    pub async fn open(address: &str) -> Result<Store, StoreError> {
        match Address::parse(address)? {
            Address::Memory => sqlite::open(None).await,
            Address::File(path) => sqlite::open(Some(&path)).await,
            Address::Postgres(server) => postgres::open(&server).await,
        }
    }

    /// An embedded store that lives as long as this value.
    pub async fn in_memory() -> Result<Store, StoreError> {
        Store::open(MEMORY).await
    }

    pub(super) fn embedded(db: Connections, path: Option<&Path>) -> Store {
        Store { path: path.map(Path::to_path_buf), ..Store::over(db) }
    }

    /// What tells one database server's store from its copy on another.
    pub(crate) async fn server_place(&self) -> Result<String, StoreError> {
        match self.db.get_database_backend() {
            DbBackend::Postgres => {
                let sql = "SELECT 'database ' || current_database() || ' of cluster ' || system_identifier FROM pg_control_system()";
                self.scalar(sql).await
            }
            _ => Ok("this process".to_owned()),
        }
    }

    pub(super) fn over(db: Connections) -> Store {
        Store { db, path: None, turn: Arc::new(Semaphore::new(1)) }
    }

    /// The database file; none where the store lives in memory or on a server.
    pub fn path(&self) -> Option<&Path> {
        self.path.as_deref()
    }

    /// Whether several daemons may share this store.
    pub fn is_shared(&self) -> bool {
        self.db.get_database_backend() == DbBackend::Postgres
    }

    /// One value as text, for settings and checks.
    pub(super) async fn scalar(&self, sql: &str) -> Result<String, StoreError> {
        let doing = StoreError::while_("reading a setting of the database");
        let statement =
            Statement::from_string(ConnectionTrait::get_database_backend(&self.db), sql.to_owned());
        let row = self.db.query_one_raw(statement).await.map_err(&doing)?;
        let Some(row) = row else { return Ok(String::new()) };
        let number = row.try_get_by_index::<i64>(0).map(|number| number.to_string());
        number.or_else(|_| row.try_get_by_index::<String>(0)).map_err(doing)
    }

    /// Closes every connection, so that a file's write-ahead log is folded in.
    pub async fn close(self) -> Result<(), StoreError> {
        self.db.inner.close().await.map_err(StoreError::while_("closing the database"))
    }
}

/// A schema that this program does not know is left as it is.
pub(super) async fn refuse_newer(db: &impl ConnectionTrait) -> Result<(), StoreError> {
    let known: Vec<String> = Migrator::migrations().iter().map(|m| m.name().to_owned()).collect();
    let applied = Migrator::get_migration_models(db).await;
    let applied = applied.map_err(StoreError::while_("reading which migrations were applied"))?;
    match applied.into_iter().find(|model| !known.contains(&model.version)) {
        Some(newer) => Err(StoreError::NewerSchema(newer.version)),
        None => Ok(()),
    }
}

/// Makes the folder that a database file stands in.
pub(crate) fn make_folder(path: &Path) -> Result<(), StoreError> {
    let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) else { return Ok(()) };
    let doing = "making the folder";
    let path = folder.display().to_string();
    std::fs::create_dir_all(folder).map_err(|source| StoreError::File { doing, path, source })
}
