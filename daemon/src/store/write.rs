//! The one way to write: a transaction that nobody else's writes run beside, and that ends in one link of the record
//! chain.

use std::collections::{BTreeMap, HashMap};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use policies::zone::Instant;
use sea_orm::sqlx::error::DatabaseError;
use sea_orm::{
    ColumnTrait, ConnectionTrait, DatabaseTransaction, DbBackend, DbErr, EntityTrait, QueryFilter,
    QueryOrder, QuerySelect, RuntimeErr, SqliteTransactionMode, TransactionOptions, TransactionTrait, sqlx,
};
use sha2::{Digest, Sha256};
use tokio::sync::OwnedSemaphorePermit;

use super::answered::Transaction;
use super::chain::{self, Head};
use super::postgres;
use super::tables::{Place, Stored};
use super::{KEYS, Store, StoreError};
use crate::heartbeat;

/// Below the 32,766 variables a statement that the database takes.
const VARIABLES: usize = 30_000;

/// Who does what, when: it becomes part of the chain.
#[derive(Clone, Debug)]
pub struct Deed {
    /// Who.
    pub actor: String,
    /// What, such as `import`.
    pub action: String,
    /// When it becomes known.
    pub at: Instant,
}

/// An open write transaction.
pub struct Writer {
    pub(super) tx: Transaction,
    deed: Deed,
    head: Head,
    digests: BTreeMap<&'static str, (u64, Sha256)>,
    /// The deed gets its link though no record is appended.
    attested: bool,
    unhurried: AtomicBool,
}

/// A place before the database that one writer of this process has at a time.
type Turn = Option<OwnedSemaphorePermit>;

/// So long a write waits for another to end.
const PATIENCE: Duration = Duration::from_secs(10);

impl Store {
    /// Runs `work` in one transaction beside which nobody writes. Records appended in it get one link of the chain; if
    /// `work` fails, nothing of it remains.
    ///
    /// # Errors
    /// Those of `work`, and of the database.
    pub async fn write<T, E: From<StoreError>>(
        &self,
        deed: Deed,
        work: impl AsyncFnOnce(&mut Writer) -> Result<T, E>,
    ) -> Result<T, E> {
        let turn = tokio::time::timeout(PATIENCE, self.turn.clone().acquire_owned()).await;
        let turn = turn.map_err(|_| StoreError::Busy(PATIENCE.as_secs()))?;
        // The turn is given back when the transaction is over, however it ends.
        let (tx, _turn) = self.begin_write(turn.ok()).await?;
        let head = chain::head(&tx).await?;
        let mut writer = Writer {
            tx,
            deed,
            head,
            digests: BTreeMap::new(),
            attested: false,
            unhurried: AtomicBool::new(false),
        };
        let done = work(&mut writer).await?;
        self.commit(writer).await?;
        Ok(done)
    }

    /// Begins in a task of its own: a caller that is dropped while `BEGIN` is on its way would leave a connection
    /// behind that stands in a transaction and does not know it. What such a connection is asked to write is lost.
    async fn begin_write(&self, turn: Turn) -> Result<(Transaction, Turn), StoreError> {
        let (db, silence) = (self.db.inner.clone(), self.db.silence.clone());
        silence.stand().map_err(StoreError::while_("starting to write"))?;
        let begun = tokio::spawn(async move {
            let options = TransactionOptions {
                sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
                ..Default::default()
            };
            let tx = db.begin_with_options(options).await?;
            if tx.get_database_backend() == DbBackend::Postgres {
                postgres::take_turn(&tx).await?;
            }
            Ok::<_, DbErr>((tx, turn))
        });
        let lost = |error: tokio::task::JoinError| DbErr::Custom(error.to_string());
        match begun.await.map_err(lost).and_then(|begun| begun) {
            Ok((inner, turn)) => Ok((Transaction { inner, silence }, turn)),
            Err(error) if is_lock_timeout(&error) => Err(StoreError::Busy(PATIENCE.as_secs())),
            Err(error) => Err(StoreError::while_("starting to write")(error)),
        }
    }

    async fn commit(&self, writer: Writer) -> Result<(), StoreError> {
        let (tx, link) = writer.linked().await?;
        self.db.silence.stand().map_err(StoreError::while_("committing"))?;
        let shared = self.is_shared();
        match tx.commit().await {
            Ok(()) => Ok(()),
            Err(error) if shared => self.look_for(link, error).await,
            Err(error) => Err(StoreError::while_("committing")(error)),
        }
    }

    /// A server that goes away while it commits has done so, or has not: the link says which. Nobody's turn comes
    /// before that transaction is over, so that after taking it what is not there will not come.
    async fn look_for(&self, link: Option<String>, error: DbErr) -> Result<(), StoreError> {
        use entities::link::{Column, Entity};
        let Some(link) = link else { return Err(StoreError::while_("committing")(error)) };
        for _ in 0..LOOKS {
            if let Ok((tx, _)) = self.begin_write(None).await
                && let Ok(found) = Entity::find().filter(Column::Hash.eq(link.as_str())).one(&tx).await
            {
                let committed = found.is_some();
                tracing::warn!(committed, "the database was lost while it committed");
                return if committed { Ok(()) } else { Err(StoreError::while_("committing")(error)) };
            }
            tokio::time::sleep(LOOK_AGAIN).await;
        }
        Err(StoreError::Unknown)
    }
}

/// How often, and how far apart, it is looked whether a write was committed.
const LOOKS: usize = 6;
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// Whether a failure means that the database cannot be reached, or not be written, now.
pub(super) fn is_away(error: &DbErr) -> bool {
    match error {
        DbErr::ConnectionAcquire(_) | DbErr::Conn(_) => true,
        DbErr::Exec(RuntimeErr::SqlxError(error)) | DbErr::Query(RuntimeErr::SqlxError(error)) => {
            match &**error {
                sqlx::Error::Database(said) => {
                    said.code().is_some_and(|code| is_going_away(&code) || is_unwritable(&code))
                }
                other => matches!(
                    other,
                    sqlx::Error::Io(_)
                        | sqlx::Error::Protocol(_)
                        | sqlx::Error::PoolTimedOut
                        | sqlx::Error::PoolClosed
                ),
            }
        }
        _ => false,
    }
}

/// Classes 08 (connection exception) and 57P (operator intervention: shutting down, starting up) of PostgreSQL's codes.
fn is_going_away(code: &str) -> bool {
    code.starts_with("08") || code.starts_with("57P")
}

/// A disk that is full, read only or failing. `SQLite`'s primary codes stand in the low byte of a number of at most four
/// digits: 8 `READONLY`, 10 `IOERR`, 13 `FULL`, 14 `CANTOPEN`. PostgreSQL's have five characters: class 53 (insufficient
/// resources) and 25006 (`read_only_sql_transaction`).
fn is_unwritable(code: &str) -> bool {
    if code.len() == 5 {
        return code.starts_with("53") || code == "25006";
    }
    code.parse::<u32>().is_ok_and(|code| matches!(code & 0xff, 8 | 10 | 13 | 14))
}

/// Code 55P03 of PostgreSQL: `lock_not_available`.
fn is_lock_timeout(error: &DbErr) -> bool {
    let (DbErr::Exec(RuntimeErr::SqlxError(error)) | DbErr::Query(RuntimeErr::SqlxError(error))) = error
    else {
        return false;
    };
    error.as_database_error().and_then(DatabaseError::code).as_deref() == Some("55P03")
}

impl Writer {
    /// The chain's head as this transaction found it.
    pub fn head(&self) -> i64 {
        self.head.seq
    }

    /// The link these records will belong to.
    pub fn link(&self) -> i64 {
        self.head.seq + 1
    }

    /// Gives the deed its link of the chain though it appends no record: what it did stands in its action.
    pub fn attest(&mut self) {
        self.attested = true;
    }

    /// Appends versions of records: a known key's next version, or a new key's first.
    ///
    /// # Errors
    /// The database's own.
    pub async fn append<R: Stored>(&mut self, records: &[R]) -> Result<(), StoreError> {
        for chunk in records.chunks(VARIABLES / R::WIDTH) {
            let versions = self.versions::<R>(chunk).await?;
            self.insert(chunk, &versions).await?;
        }
        Ok(())
    }

    /// Appends records whose keys are known to be new.
    ///
    /// # Errors
    /// The database's own, a key that was not new among them.
    pub async fn append_new<R: Stored>(&mut self, records: &[R]) -> Result<(), StoreError> {
        for chunk in records.chunks(VARIABLES / R::WIDTH) {
            self.insert(chunk, &HashMap::new()).await?;
        }
        Ok(())
    }

    async fn insert<R: Stored>(
        &mut self,
        chunk: &[R],
        versions: &HashMap<String, i64>,
    ) -> Result<(), StoreError> {
        let (link, known_at) = (self.link(), self.deed.at.0);
        let place = |record: &R| {
            let version = versions.get(record.key()).map_or(1, |last| last + 1);
            Place { link, known_at, version }
        };
        let rows = chunk.iter().map(|record| record.to_row(place(record)));
        let inserted = R::Entity::insert_many(rows).exec_without_returning(&self.tx).await;
        inserted.map_err(StoreError::while_("appending records"))?;
        let (count, digest) = self.digests.entry(R::TABLE).or_default();
        *count += chunk.len() as u64;
        for record in chunk {
            record.put_digest(place(record), &mut |bytes| digest.update(bytes));
        }
        Ok(())
    }

    async fn versions<R: Stored>(&self, records: &[R]) -> Result<HashMap<String, i64>, StoreError> {
        let doing = StoreError::while_("looking for earlier versions");
        let columns = R::columns();
        let mut found = HashMap::new();
        for chunk in records.chunks(KEYS) {
            let keys = chunk.iter().map(|record| record.key().to_owned());
            let rows = R::Entity::find().filter(columns.key.is_in(keys));
            for row in rows.all(&self.tx).await.map_err(&doing)? {
                let (record, place) = R::of_row(row);
                let newest: &mut i64 = found.entry(record.key().to_owned()).or_default();
                *newest = place.version.max(*newest);
            }
        }
        Ok(found)
    }

    /// The newest version under a key. Ordered by version, which the index gives: by row number the database would
    /// look through the whole table.
    ///
    /// # Errors
    /// The database's own.
    pub async fn current<R: Stored>(&self, key: &str) -> Result<Option<R>, StoreError> {
        let columns = R::columns();
        let rows = R::Entity::find().filter(columns.key.eq(key)).order_by_desc(columns.version).limit(1);
        let row = rows.one(&self.tx).await.map_err(StoreError::while_("looking a record up"))?;
        Ok(row.map(|row| R::of_row(row).0))
    }

    /// A record dated by a wrong clock would be wrong for ever.
    async fn check_clock(&self) -> Result<(), StoreError> {
        let last = self.remembered(heartbeat::BEAT).await?.and_then(|kept| heartbeat::moment(&kept));
        heartbeat::judge(self.deed.at, last).map_err(|doubt| StoreError::Clock(doubt.text(self.deed.at)))
    }

    /// Gives work that goes over everything the time it needs.
    pub(super) async fn take_time(&self) -> Result<(), StoreError> {
        let on_postgres = ConnectionTrait::get_database_backend(&self.tx) == DbBackend::Postgres;
        if on_postgres && !self.unhurried.swap(true, Ordering::Relaxed) {
            postgres::take_time(&self.tx).await.map_err(StoreError::while_("preparing a long write"))?;
        }
        Ok(())
    }

    /// Ends what was appended in a link; its hash, where there is one.
    async fn linked(self) -> Result<(DatabaseTransaction, Option<String>), StoreError> {
        if self.digests.is_empty() && !self.attested {
            return Ok((self.tx.inner, None));
        }
        self.check_clock().await?;
        let parts =
            self.digests.into_iter().map(|(table, (count, digest))| (table, count, digest.finalize().into()));
        let digest = chain::digest(parts);
        let hash = chain::append(&self.tx, &self.head, &self.deed, digest).await?;
        Ok((self.tx.inner, Some(hash)))
    }
}
