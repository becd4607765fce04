//! What becomes of notices in hand, written together: whoever waits for the disk at the same time shares one commit.
//!
//! Each change still is durable before its caller goes on, and changes of one caller are committed in their order. So
//! at most one notice a connection stands between the record that its body begins and the record that it was sent.

use std::sync::{Arc, OnceLock};

use entities::notice::{Column, Entity};
use entities::notice_mail;
use policies::zone::Instant;
use sea_orm::sea_query::{CaseStatement, Expr, SimpleExpr};
use sea_orm::{ColumnTrait, Condition, EntityTrait, ExprTrait, QueryFilter, QuerySelect};
use tokio::sync::{mpsc, oneshot};

use super::{InHand, Settled, Shorter, State, StoredOutbox};
use crate::store::answered::Transaction;
use crate::store::{Store, StoreError};

/// More than all connections together ever have.
const MOST_AT_ONCE: usize = 100;

/// What became of a notice in hand.
#[derive(Clone, Debug)]
enum Change {
    BodyBegins,
    Sent { reply: String, at: Instant },
    Settled(Settled),
    Shortened(Shorter, Instant),
}

#[derive(Debug)]
pub(super) struct Waiting {
    id: i64,
    attempt: i64,
    change: Change,
    answer: oneshot::Sender<Result<bool, StoreError>>,
}

/// The one task that writes them. It ends with the last outbox that knows it.
#[derive(Debug, Default)]
pub(super) struct Together(OnceLock<mpsc::UnboundedSender<Waiting>>);

impl StoredOutbox {
    /// Notes that the body of a notice in hand is about to go out; false when it is in other hands by now.
    ///
    /// # Errors
    /// The database's own.
    pub async fn begin_data(&self, notice: &InHand) -> Result<bool, StoreError> {
        self.note(notice, Change::BodyBegins).await
    }

    /// Notes that the relay took a notice in hand.
    ///
    /// # Errors
    /// The database's own.
    pub async fn sent(&self, notice: &InHand, reply: &str, at: Instant) -> Result<bool, StoreError> {
        self.note(notice, Change::Sent { reply: reply.to_owned(), at }).await
    }

    /// Puts a notice in hand into another state.
    ///
    /// # Errors
    /// The database's own.
    pub async fn settle(&self, notice: &InHand, end: Settled) -> Result<bool, StoreError> {
        self.note(notice, Change::Settled(end)).await
    }

    /// Puts a shorter message in the place of one that the relay found too large, to go out at once.
    ///
    /// # Errors
    /// The database's own.
    pub async fn shorten(&self, notice: &InHand, shorter: Shorter, now: Instant) -> Result<bool, StoreError> {
        self.note(notice, Change::Shortened(shorter, now)).await
    }

    async fn note(&self, notice: &InHand, change: Change) -> Result<bool, StoreError> {
        let (answer, answered) = oneshot::channel();
        let waiting = Waiting { id: notice.id, attempt: notice.attempt, change, answer };
        self.together.writer(&self.store).send(waiting).map_err(|_| lost())?;
        answered.await.unwrap_or_else(|_| Err(lost()))
    }
}

impl Together {
    /// A task of its own: a caller that goes away must not leave a transaction half way.
    fn writer(&self, store: &Store) -> &mpsc::UnboundedSender<Waiting> {
        self.0.get_or_init(|| {
            let (sender, waiting) = mpsc::unbounded_channel();
            tokio::spawn(write(store.clone(), waiting));
            sender
        })
    }
}

fn lost() -> StoreError {
    let source = sea_orm::DbErr::Custom("the task that writes it is gone".to_owned());
    StoreError::Database { doing: "noting what became of a notice", source }
}

/// Writes whatever waits by the time the last commit is done.
async fn write(store: Store, mut waiting: mpsc::UnboundedReceiver<Waiting>) {
    let mut all = Vec::new();
    while waiting.recv_many(&mut all, MOST_AT_ONCE).await > 0 {
        match commit(&store, &all).await {
            Ok(kept) => {
                for (waiting, kept) in all.drain(..).zip(kept) {
                    let _ = waiting.answer.send(Ok(kept));
                }
            }
            Err(error) => {
                let error = Arc::new(error);
                for waiting in all.drain(..) {
                    let _ = waiting.answer.send(Err(StoreError::Shared(error.clone())));
                }
            }
        }
    }
}

/// One commit; for each change whether the notice still was in hand.
async fn commit(store: &Store, all: &[Waiting]) -> Result<Vec<bool>, StoreError> {
    let doing = "noting what became of notices";
    let of = |sort: fn(&Change) -> bool| all.iter().filter(|w| sort(&w.change)).collect::<Vec<_>>();
    let begun = of(|change| matches!(change, Change::BodyBegins));
    let sent = of(|change| matches!(change, Change::Sent { .. }));
    let tx = store.begin_beside(doing).await?;
    let begun = if begun.is_empty() { Vec::new() } else { bodies_begin(&tx, &begun).await? };
    let sent = if sent.is_empty() { Vec::new() } else { were_sent(&tx, &sent).await? };
    let mut kept = Vec::with_capacity(all.len());
    for waiting in all {
        kept.push(match &waiting.change {
            Change::BodyBegins => begun.contains(&(waiting.id, waiting.attempt)),
            Change::Sent { .. } => sent.contains(&(waiting.id, waiting.attempt)),
            Change::Settled(end) => settled(&tx, waiting, end).await?,
            Change::Shortened(shorter, now) => shortened(&tx, waiting, shorter, *now).await?,
        });
    }
    tx.commit().await.map_err(StoreError::while_(doing))?;
    Ok(kept)
}

/// The notices by row and attempt, in hand still.
fn these(all: &[&Waiting]) -> Condition {
    all.iter().fold(Condition::any(), |these, waiting| these.add(this(waiting)))
}

fn this(waiting: &Waiting) -> SimpleExpr {
    Column::Id.eq(waiting.id).and(Column::Attempts.eq(waiting.attempt))
}

/// The attempt may end even when its lease ran out meanwhile, as long as nobody else began another.
fn not_taken() -> SimpleExpr {
    Column::State.is_in([State::Claimed, State::DataBegun, State::Uncertain].map(State::word))
}

/// Marks which of the changes of a sort were made: all, as a rule; otherwise the rows are asked.
async fn mark(
    tx: &Transaction,
    made: u64,
    wanted: &[&Waiting],
    state: State,
) -> Result<Vec<(i64, i64)>, StoreError> {
    let all = || wanted.iter().map(|waiting| (waiting.id, waiting.attempt)).collect();
    if usize::try_from(made) == Ok(wanted.len()) {
        return Ok(all());
    }
    let rows = Entity::find()
        .select_only()
        .columns([Column::Id, Column::Attempts])
        .filter(Column::State.eq(state.word()))
        .filter(these(wanted));
    rows.into_tuple().all(tx).await.map_err(StoreError::while_("asking what became of notices"))
}

async fn bodies_begin(tx: &Transaction, begun: &[&Waiting]) -> Result<Vec<(i64, i64)>, StoreError> {
    let update = Entity::update_many()
        .col_expr(Column::State, Expr::value(State::DataBegun.word()))
        .filter(Column::State.eq(State::Claimed.word()))
        .filter(these(begun));
    let made = update.exec(tx).await.map_err(StoreError::while_("noting that bodies begin"))?;
    mark(tx, made.rows_affected, begun, State::DataBegun).await
}

async fn were_sent(tx: &Transaction, sent: &[&Waiting]) -> Result<Vec<(i64, i64)>, StoreError> {
    let (mut replies, mut moments) = (CaseStatement::new(), CaseStatement::new());
    for waiting in sent {
        if let Change::Sent { reply, at } = &waiting.change {
            replies = replies.case(Column::Id.eq(waiting.id), Expr::value(reply.as_str()));
            moments = moments.case(Column::Id.eq(waiting.id), Expr::value(at.0));
        }
    }
    let update = Entity::update_many()
        .col_expr(Column::State, Expr::value(State::Sent.word()))
        .col_expr(Column::Reply, replies.into())
        .col_expr(Column::SentAt, moments.into())
        .filter(not_taken())
        .filter(these(sent));
    let made = update.exec(tx).await.map_err(StoreError::while_("noting notices as sent"))?;
    mark(tx, made.rows_affected, sent, State::Sent).await
}

/// The state of a notice that waits for another attempt. An earlier copy of one in doubt may have arrived, so that it
/// is never taken for one that nothing of has gone out: such a one is cancelled when its work is done.
fn waits() -> SimpleExpr {
    let in_doubt = CaseStatement::new().case(Column::Doubts.gt(0), Expr::value(State::Uncertain.word()));
    in_doubt.finally(Expr::value(State::Deferred.word())).into()
}

async fn settled(tx: &Transaction, waiting: &Waiting, end: &Settled) -> Result<bool, StoreError> {
    let state = if end.state == State::Deferred { waits() } else { Expr::value(end.state.word()) };
    let mut update = Entity::update_many()
        .col_expr(Column::State, state)
        .col_expr(Column::LastError, Expr::value(end.error.as_str()))
        .filter(this(waiting))
        .filter(not_taken());
    if end.state == State::Uncertain {
        update = update.col_expr(Column::Doubts, Expr::col(Column::Doubts).add(1));
    }
    if let Some(next) = end.next {
        update = update.col_expr(Column::NextAttemptAt, Expr::value(next.0));
    }
    let done = update.exec(tx).await.map_err(StoreError::while_("settling a notice"))?;
    Ok(done.rows_affected == 1)
}

async fn shortened(
    tx: &Transaction,
    waiting: &Waiting,
    shorter: &Shorter,
    now: Instant,
) -> Result<bool, StoreError> {
    let update = Entity::update_many()
        .col_expr(Column::State, waits())
        .col_expr(Column::MessageId, Expr::value(shorter.message_id.as_str()))
        .col_expr(Column::LastError, Expr::value(shorter.error.as_str()))
        .col_expr(Column::NextAttemptAt, Expr::value(now.0))
        .filter(this(waiting))
        .filter(not_taken());
    let doing = StoreError::while_("shortening a notice");
    let done = update.exec(tx).await.map_err(&doing)?;
    if done.rows_affected == 1 {
        let mail = notice_mail::Entity::update_many()
            .col_expr(notice_mail::Column::Bytes, Expr::value(shorter.bytes.as_slice()))
            .filter(notice_mail::Column::Notice.eq(waiting.id));
        mail.exec(tx).await.map_err(doing)?;
    }
    Ok(done.rows_affected == 1)
}
