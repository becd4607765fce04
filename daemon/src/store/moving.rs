//! Carrying a whole store into an empty other, of the same kind or not: every row of every table, as it is.

use std::fmt::Debug;

use futures_util::TryStreamExt;
use policies::zone::Instant;
use sea_orm::{
    ActiveModelTrait, ConnectionTrait, DbBackend, EntityTrait, IntoActiveModel, Iterable, PaginatorTrait,
    PrimaryKeyToColumn, PrimaryKeyTrait, QueryOrder, Select, StreamTrait,
};
use sha2::{Digest, Sha256};

use super::answered::Transaction;
use super::write::{Deed, Writer};
use super::{Store, StoreError};

/// Rows of one statement: mails are large.
const ROWS: usize = 200;

/// How much was carried.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Carried {
    /// Tables and their rows.
    pub tables: Vec<(&'static str, u64)>,
}

impl Carried {
    /// Rows of all tables.
    pub fn rows(&self) -> u64 {
        self.tables.iter().map(|(_, rows)| rows).sum()
    }

    /// Rows of one table.
    pub fn rows_of(&self, table: &str) -> u64 {
        self.tables.iter().filter(|(name, _)| *name == table).map(|(_, rows)| rows).sum()
    }
}

/// Carries the tables in an order in which what is pointed at comes before what points.
macro_rules! carry_each {
    ($from:ident, $to:ident, [$($table:ident),+ $(,)?]) => {
        Carried { tables: vec![$((
            stringify!($table),
            carry_table::<entities::$table::Entity>(stringify!($table), $from, $to).await?,
        )),+] }
    };
}

/// Carries everything in one transaction of the target; `hold` is what the target remembers beyond it. Nobody writes
/// to either store meanwhile.
///
/// # Errors
/// The target holds something already, what it holds then is not what was carried, or a database fails; then it is as
/// empty as it was.
pub async fn carry(
    from: &Store,
    to: &Store,
    now: Instant,
    hold: impl AsyncFnOnce(&mut Writer) -> Result<(), StoreError>,
) -> Result<Carried, StoreError> {
    let deed = || Deed { actor: "move".to_owned(), action: "move".to_owned(), at: now };
    let carrying = async |from: &mut Writer| {
        from.take_time().await?;
        let carrying = async |to: &mut Writer| {
            to.take_time().await?;
            let carried = carry_all(&from.tx, &to.tx).await?;
            hold(to).await?;
            Ok(carried)
        };
        to.write(deed(), carrying).await
    };
    from.write(deed(), carrying).await
}

async fn carry_all(from: &Transaction, to: &Transaction) -> Result<Carried, StoreError> {
    let carried = carry_each!(
        from,
        to,
        [
            link,
            station,
            person,
            item,
            fitting,
            usage,
            work,
            state,
            concession,
            certificate,
            part,
            stock,
            doubt_answers,
            kept_date,
            policy_set,
            examination,
            defect,
            examination_draft,
            substitution,
            loan,
            part_order,
            due,
            notice,
            notice_mail,
            notice_line,
            notice_answer,
            bad_address,
            lease,
            account,
            session,
            api_request,
            api_token,
            view_link,
            sign_in_code,
            throttle,
            setting,
        ]
    );
    Ok(carried)
}

/// Carries one table, and reads it back.
async fn carry_table<E>(name: &'static str, from: &Transaction, to: &Transaction) -> Result<u64, StoreError>
where
    E: EntityTrait<ActiveModel: ActiveModelTrait<Entity = E> + Send>,
    E::Model: IntoActiveModel<E::ActiveModel> + Debug + Send + Sync,
    for<'a> Select<E>: PaginatorTrait<'a, Transaction>,
{
    if E::find().count(to).await.map_err(StoreError::while_("looking whether the target is empty"))? > 0 {
        return Err(StoreError::NotWhole(format!(
            "the target holds rows already (table {name}); a store is carried only into an empty one"
        )));
    }
    let doing = StoreError::while_("reading the rows to carry");
    let mut rows = in_order::<E>().stream(from).await.map_err(&doing)?;
    let (mut read, mut chunk) = (Seal::default(), Vec::with_capacity(ROWS));
    while let Some(row) = rows.try_next().await.map_err(&doing)? {
        read.add(&row);
        chunk.push(row.into_active_model());
        if chunk.len() == ROWS {
            insert(to, std::mem::take(&mut chunk)).await?;
        }
    }
    insert(to, chunk).await?;
    number_on::<E>(name, to).await?;
    let written = seal::<E>(to).await?;
    if written != read {
        return Err(StoreError::NotWhole(format!(
            "table {name}: {} rows were read, and what was written differs from them ({} rows); nothing was carried",
            read.rows, written.rows
        )));
    }
    Ok(written.rows)
}

async fn insert<A>(to: &Transaction, rows: Vec<A>) -> Result<(), StoreError>
where
    A: ActiveModelTrait + Send,
{
    if rows.is_empty() {
        return Ok(());
    }
    let inserted = <A::Entity as EntityTrait>::insert_many(rows).exec_without_returning(to).await;
    inserted.map(drop).map_err(StoreError::while_("writing the rows carried"))
}

/// A server counts its own numbers; they go on after those that were carried.
async fn number_on<E: EntityTrait>(name: &str, to: &Transaction) -> Result<(), StoreError> {
    let on_postgres = ConnectionTrait::get_database_backend(to) == DbBackend::Postgres;
    if !on_postgres || !E::PrimaryKey::auto_increment() {
        return Ok(());
    }
    let go_on = format!(
        "SELECT setval(pg_get_serial_sequence('\"{name}\"', 'id'), coalesce(max(id), 1), max(id) IS NOT NULL) \
         FROM \"{name}\""
    );
    to.execute_unprepared(&go_on).await.map(drop).map_err(StoreError::while_("counting on"))
}

fn in_order<E: EntityTrait>() -> Select<E> {
    E::PrimaryKey::iter().fold(E::find(), |query, key| query.order_by_asc(key.into_column()))
}

/// Every value of every row, in order.
#[derive(Default, PartialEq, Eq)]
struct Seal {
    rows: u64,
    digest: [u8; 32],
}

impl Seal {
    fn add(&mut self, row: &impl Debug) {
        let mut next = Sha256::new();
        next.update(self.digest);
        next.update(format!("{row:?}"));
        self.digest = next.finalize().into();
        self.rows += 1;
    }
}

async fn seal<E>(db: &(impl ConnectionTrait + StreamTrait)) -> Result<Seal, StoreError>
where
    E: EntityTrait<Model: Debug + Send + Sync>,
{
    let doing = StoreError::while_("reading back what was carried");
    let mut rows = in_order::<E>().stream(db).await.map_err(&doing)?;
    let mut found = Seal::default();
    while let Some(row) = rows.try_next().await.map_err(&doing)? {
        found.add(&row);
    }
    Ok(found)
}
