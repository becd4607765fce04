//! Current versions of records: the newest of each key, as known now or then.

use std::collections::{BTreeSet, HashMap};

use futures_util::TryStreamExt;
use policies::zone::Instant;
use sea_orm::sea_query::Query;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, StreamTrait};

use super::tables::{OfItem, Stored};
use super::write::Writer;
use super::{Store, StoreError};
use crate::records::{
    Certificate, Concession, Defect, DoubtAnswer, Examination, Fitting, Item, Loan, Order, Part, Person,
    State, Station, Stock, Substitution, Usage, Work,
};

/// The newest version of every record of one file, by key; void ones among them.
pub type Newest<R> = HashMap<String, R>;

/// Every file of the register, as it stands.
#[derive(Clone, Debug, Default)]
pub struct Register {
    /// Stations by slug.
    pub stations: Newest<Station>,
    /// People by address.
    pub people: Newest<Person>,
    /// Items by tag.
    pub items: Newest<Item>,
    /// Fittings by item and moment.
    pub fittings: Newest<Fitting>,
    /// Use by key.
    pub usage: Newest<Usage>,
    /// Work by key.
    pub work: Newest<Work>,
    /// States by key.
    pub states: Newest<State>,
    /// Concessions by key.
    pub concessions: Newest<Concession>,
    /// Certificates by key.
    pub certificates: Newest<Certificate>,
    /// Parts by name.
    pub parts: Newest<Part>,
    /// Stock moves by key.
    pub stock: Newest<Stock>,
    /// Orders of parts by key.
    pub orders: Newest<Order>,
    /// Answers to doubts by the doubt's key.
    pub doubts: Newest<DoubtAnswer>,
    /// Substitutions by key.
    pub substitutions: Newest<Substitution>,
    /// What was agreed of loans, by key.
    pub loans: Newest<Loan>,
    /// Examination reports by number.
    pub examinations: Newest<Examination>,
    /// Defects by key.
    pub defects: Newest<Defect>,
}

/// The newest versions known before a moment (all, where none is given).
pub(super) async fn newest<R: Stored>(
    db: &(impl ConnectionTrait + StreamTrait),
    known_before: Option<Instant>,
) -> Result<Newest<R>, StoreError> {
    let doing = StoreError::while_("reading records");
    let columns = R::columns();
    let mut query = R::Entity::find().order_by_asc(columns.id);
    if let Some(before) = known_before {
        query = query.filter(columns.known_at.lt(before.0));
    }
    let mut rows = query.stream(db).await.map_err(&doing)?;
    let mut found = Newest::new();
    while let Some(row) = rows.try_next().await.map_err(&doing)? {
        let (record, ..) = R::of_row(row);
        found.insert(record.key().to_owned(), record);
    }
    Ok(found)
}

async fn register(
    db: &(impl ConnectionTrait + StreamTrait),
    known_before: Option<Instant>,
) -> Result<Register, StoreError> {
    Ok(Register {
        stations: newest(db, known_before).await?,
        people: newest(db, known_before).await?,
        items: newest(db, known_before).await?,
        fittings: newest(db, known_before).await?,
        usage: newest(db, known_before).await?,
        work: newest(db, known_before).await?,
        states: newest(db, known_before).await?,
        concessions: newest(db, known_before).await?,
        certificates: newest(db, known_before).await?,
        parts: newest(db, known_before).await?,
        stock: newest(db, known_before).await?,
        orders: newest(db, known_before).await?,
        doubts: newest(db, known_before).await?,
        substitutions: newest(db, known_before).await?,
        loans: newest(db, known_before).await?,
        examinations: newest(db, known_before).await?,
        defects: newest(db, known_before).await?,
    })
}

impl Store {
    /// The whole register as known before a moment.
    ///
    /// # Errors
    /// The database's own.
    pub async fn register(&self, known_before: Option<Instant>) -> Result<Register, StoreError> {
        register(&self.db, known_before).await
    }

    /// The newest versions of one file.
    ///
    /// # Errors
    /// The database's own.
    pub async fn newest<R: Stored>(&self) -> Result<Newest<R>, StoreError> {
        self.newest_known(None).await
    }

    /// The newest versions of one file as known before a moment.
    ///
    /// # Errors
    /// The database's own.
    pub async fn newest_known<R: Stored>(&self, before: Option<Instant>) -> Result<Newest<R>, StoreError> {
        newest(&self.db, before).await
    }
}

/// Items whose records are asked for by name; beyond so many the whole table is read instead.
const ASKED: usize = 5_000;

impl Store {
    /// The newest versions of one file's records of some items.
    ///
    /// # Errors
    /// The database's own.
    pub async fn newest_of<R: OfItem>(&self, items: &BTreeSet<String>) -> Result<Vec<R>, StoreError> {
        let mut found = if items.len() > ASKED {
            self.newest::<R>().await?
        } else {
            let doing = StoreError::while_("reading an item's records");
            let columns = R::columns();
            // A record may have been corrected to another item since: its newest version decides.
            let of_them = Query::select()
                .column(columns.key)
                .from(R::Entity::default())
                .and_where(R::item_column().is_in(items.iter().map(String::as_str)))
                .to_owned();
            let query = R::Entity::find().filter(columns.key.in_subquery(of_them)).order_by_asc(columns.id);
            let rows = query.all(&self.db).await.map_err(&doing)?;
            rows.into_iter()
                .map(|row| R::of_row(row).0)
                .map(|record| (record.key().to_owned(), record))
                .collect()
        };
        found.retain(|_, record| items.contains(record.item()));
        Ok(found.into_values().collect())
    }
}

impl Writer {
    /// The whole register as this transaction sees it.
    ///
    /// # Errors
    /// The database's own.
    pub async fn register(&self) -> Result<Register, StoreError> {
        self.take_time().await?;
        register(&self.tx, None).await
    }

    /// The newest versions of one file as this transaction sees them.
    ///
    /// # Errors
    /// The database's own.
    pub async fn newest<R: Stored>(&self) -> Result<Newest<R>, StoreError> {
        newest(&self.tx, None).await
    }
}
