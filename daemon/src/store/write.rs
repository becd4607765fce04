//! The one way to write: an immediate transaction that ends in one link of the record chain.

use std::collections::{BTreeMap, HashMap};

use policies::zone::Instant;
use sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
    SqliteTransactionMode, TransactionOptions, TransactionTrait,
};
use sha2::{Digest, Sha256};

use super::chain::{self, Head};
use super::tables::{Place, Stored};
use super::{Store, StoreError};
use crate::heartbeat;

/// Below the 32,766 variables a statement that the database takes.
const VARIABLES: usize = 30_000;
/// Keys asked for in one statement.
const KEYS: usize = 5_000;

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
    pub(super) tx: DatabaseTransaction,
    deed: Deed,
    head: Head,
    digests: BTreeMap<&'static str, (u64, Sha256)>,
}

impl Store {
    /// Runs `work` in one immediate transaction. Records appended in it get one link of the chain; if `work`
    /// fails, nothing of it remains.
    ///
    /// # Errors
    /// Those of `work`, and of the database.
    pub async fn write<T, E: From<StoreError>>(
        &self,
        deed: Deed,
        work: impl AsyncFnOnce(&mut Writer) -> Result<T, E>,
    ) -> Result<T, E> {
        let options = TransactionOptions {
            sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
            ..Default::default()
        };
        let begun = self.db.begin_with_options(options).await;
        let tx = begun.map_err(StoreError::while_("starting to write"))?;
        let head = chain::head(&tx).await?;
        let mut writer = Writer { tx, deed, head, digests: BTreeMap::new() };
        let done = work(&mut writer).await?;
        writer.commit().await?;
        Ok(done)
    }
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

    async fn commit(self) -> Result<(), StoreError> {
        if !self.digests.is_empty() {
            self.check_clock().await?;
            let parts = self
                .digests
                .into_iter()
                .map(|(table, (count, digest))| (table, count, digest.finalize().into()));
            let digest = chain::digest(parts);
            chain::append(&self.tx, &self.head, &self.deed, digest).await?;
        }
        self.tx.commit().await.map_err(StoreError::while_("committing"))
    }
}
