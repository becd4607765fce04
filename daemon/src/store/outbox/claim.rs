//! Taking notices in hand: leases, attempts counted as they begin, and what a daemon left when it went down.

use std::sync::Arc;

use entities::notice::{Column, Entity, Model};
use policies::zone::Instant;
use sea_orm::sea_query::{Condition, Expr, LockBehavior, LockType, Order, Query, SelectStatement};
use sea_orm::{
    ColumnTrait, Condition as Where, DbErr, EntityTrait, ExprTrait, PaginatorTrait, QueryFilter, QueryOrder,
    SqliteTransactionMode, TransactionOptions, TransactionTrait,
};

use super::together::Together;
use super::told::mails;
use super::{AFTER_DOUBT, InHand, MOST_CRASHES, MOST_DOUBTS, State, UNSETTLED, Which};
use crate::store::answered::Transaction;
use crate::store::{Store, StoreError};

/// How long a daemon has a notice in hand unless it renews: a crash costs no more than this.
const LEASE: i64 = 60 * 1_000_000;

/// The outbox in the hands of one daemon.
#[derive(Clone, Debug)]
pub struct StoredOutbox {
    pub(super) store: Store,
    holder: String,
    pub(super) together: Arc<Together>,
}

impl Store {
    /// The outbox for one daemon, under a name that no other running daemon has.
    pub fn outbox(&self, holder: String) -> StoredOutbox {
        StoredOutbox { store: self.clone(), holder, together: Arc::default() }
    }

    /// A transaction that may write from its first statement, beside the record chain. It begins in a task of its own,
    /// as every write does.
    pub(super) async fn begin_beside(&self, doing: &'static str) -> Result<Transaction, StoreError> {
        let (db, silence) = (self.db.inner.clone(), self.db.silence.clone());
        silence.stand().map_err(StoreError::while_(doing))?;
        let begun = tokio::spawn(async move {
            let options = TransactionOptions {
                sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
                ..Default::default()
            };
            db.begin_with_options(options).await
        });
        let lost = |error: tokio::task::JoinError| DbErr::Custom(error.to_string());
        let begun = begun.await.map_err(lost).and_then(|begun| begun);
        Ok(Transaction { inner: begun.map_err(StoreError::while_(doing))?, silence })
    }

    /// Ends every lease. Only for a daemon that has locked the store for itself: nobody else has anything in hand.
    ///
    /// # Errors
    /// The database's own.
    pub async fn end_leases(&self, now: Instant) -> Result<u64, StoreError> {
        let ended = Entity::update_many()
            .col_expr(Column::NextAttemptAt, Expr::value(now.0))
            .filter(Column::State.is_in(State::IN_HAND.map(State::word)))
            .filter(Column::NextAttemptAt.gt(now.0));
        let ended = ended.exec(&self.db).await.map_err(StoreError::while_("ending leases"))?;
        Ok(ended.rows_affected)
    }
}

impl StoredOutbox {
    /// The store it lies in.
    pub fn store(&self) -> &Store {
        &self.store
    }

    /// How many notices wait to be taken in hand.
    ///
    /// # Errors
    /// The database's own.
    pub async fn waiting(&self, now: Instant) -> Result<u64, StoreError> {
        let due = Entity::find().filter(Expr::cust(UNSETTLED)).filter(Column::NextAttemptAt.lte(now.0));
        due.count(&self.store.db).await.map_err(StoreError::while_("counting what waits"))
    }

    /// Takes notices in hand whose time has come, urgent ones first, then the oldest, and counts the attempt.
    ///
    /// # Errors
    /// The database's own.
    pub async fn claim(&self, which: Which, most: u64, now: Instant) -> Result<Vec<InHand>, StoreError> {
        let doing = StoreError::while_("taking notices in hand");
        self.recover(now).await?;
        let claimed = Entity::update_many()
            .col_expr(Column::State, Expr::value(State::Claimed.word()))
            .col_expr(Column::Attempts, Expr::col(Column::Attempts).add(1))
            .col_expr(Column::Holder, Expr::value(self.holder.as_str()))
            .col_expr(Column::NextAttemptAt, Expr::value(now.0 + LEASE))
            .filter(Column::Id.in_subquery(next(which, most, now)))
            // Said again: by the time the row is locked, another daemon may have taken it.
            .filter(open_by(now));
        let mut rows = claimed.exec_with_returning(&self.store.db).await.map_err(doing)?;
        rows.sort_by_key(|row| (!row.urgent, row.id));
        let mut mails = mails(&self.store.db, rows.iter().map(|row| row.id)).await?;
        let with_mail = |row: Model| {
            let bytes = mails.remove(&row.id).unwrap_or_default();
            in_hand(row, bytes)
        };
        Ok(rows.into_iter().map(with_mail).collect())
    }

    /// Says that these are still in hand, so that nobody takes them; by row and attempt.
    ///
    /// # Errors
    /// The database's own.
    pub async fn renew(&self, in_hand: &[(i64, i64)], now: Instant) -> Result<u64, StoreError> {
        if in_hand.is_empty() {
            return Ok(0);
        }
        let mut these = Where::any();
        for (id, attempt) in in_hand {
            these = these.add(Column::Id.eq(*id).and(Column::Attempts.eq(*attempt)));
        }
        let renewed = Entity::update_many()
            .col_expr(Column::NextAttemptAt, Expr::value(now.0 + LEASE))
            .filter(Column::Holder.eq(self.holder.as_str()))
            .filter(Column::State.is_in(State::IN_HAND.map(State::word)))
            .filter(these);
        let renewed = renewed.exec(&self.store.db).await;
        Ok(renewed.map_err(StoreError::while_("renewing leases"))?.rows_affected)
    }

    /// Judges what a daemon had in hand when its lease ran out.
    async fn recover(&self, now: Instant) -> Result<(), StoreError> {
        let left = Entity::find()
            .filter(Expr::cust(UNSETTLED))
            .filter(Column::State.is_in(State::IN_HAND.map(State::word)))
            .filter(Column::NextAttemptAt.lte(now.0))
            .order_by_asc(Column::Id);
        let left = left.all(&self.store.db).await.map_err(StoreError::while_("looking for what was left"))?;
        for row in left {
            self.recover_one(&row, now).await?;
        }
        Ok(())
    }

    async fn recover_one(&self, row: &Model, now: Instant) -> Result<(), StoreError> {
        let begun = row.state == State::DataBegun.word();
        let (crashes, doubts) = (row.crashes + 1, row.doubts + i64::from(begun));
        let (state, next, error) = verdict(crashes, doubts, begun);
        let judged = Entity::update_many()
            .col_expr(Column::State, Expr::value(state.word()))
            .col_expr(Column::Crashes, Expr::value(crashes))
            .col_expr(Column::Doubts, Expr::value(doubts))
            .col_expr(Column::LastError, Expr::value(error))
            .col_expr(Column::NextAttemptAt, Expr::value(now.0 + next))
            .filter(Column::Id.eq(row.id))
            .filter(Column::State.eq(row.state.as_str()))
            .filter(Column::Attempts.eq(row.attempts))
            .filter(Column::NextAttemptAt.eq(row.next_attempt_at));
        let judged = judged.exec(&self.store.db).await;
        let judged = judged.map_err(StoreError::while_("judging what a daemon left"))?;
        if judged.rows_affected == 1 && state == State::Parked {
            tracing::error!(notice = %row.number, recipient = %row.recipient, error, "a notice is set aside for a person");
        }
        Ok(())
    }
}

/// What becomes of a notice that a daemon left in hand, how long it waits for that, and why.
fn verdict(crashes: i64, doubts: i64, begun: bool) -> (State, i64, &'static str) {
    if crashes >= MOST_CRASHES {
        return (State::Parked, 0, "the daemon went down with it in hand too often");
    }
    match (begun, doubts) {
        (false, 0) => {
            (State::Deferred, 0, "the daemon went down with it in hand; nothing of it had gone out")
        }
        // What may have arrived stays in doubt, whatever came of its later attempts.
        (false, _) => {
            (State::Uncertain, 0, "the daemon went down with it in hand; an earlier copy may have arrived")
        }
        (true, ..MOST_DOUBTS) => {
            (State::Uncertain, AFTER_DOUBT, "interrupted after its body began: it may have arrived")
        }
        (true, _) => {
            (State::Parked, 0, "interrupted after its body began, and once before: it may have arrived")
        }
    }
}

/// The rows to take. Another daemon's are left to it: where rows can be locked, those that are locked are passed over.
pub(super) fn next(which: Which, most: u64, now: Instant) -> SelectStatement {
    let crashes = match which {
        Which::Sound => Column::Crashes.eq(0),
        Which::Suspect => Column::Crashes.gt(0),
    };
    let mut rows = Query::select();
    rows.column(Column::Id)
        .from(Entity)
        .cond_where(Condition::all().add(open_by(now)).add(crashes))
        .order_by(Column::Urgent, Order::Desc)
        .order_by(Column::Id, Order::Asc)
        .limit(most)
        .lock_with_behavior(LockType::Update, LockBehavior::SkipLocked);
    rows
}

fn open_by(now: Instant) -> Condition {
    Condition::all()
        .add(Expr::cust(UNSETTLED))
        .add(Column::State.is_in(State::OPEN.map(State::word)))
        .add(Column::NextAttemptAt.lte(now.0))
}

fn in_hand(row: Model, bytes: Vec<u8>) -> InHand {
    InHand {
        id: row.id,
        number: row.number,
        recipient: row.recipient,
        urgent: row.urgent,
        message_id: row.message_id,
        bytes,
        attempt: row.attempts,
        doubts: row.doubts,
        crashes: row.crashes,
        due_at: Instant(row.due_at),
    }
}
