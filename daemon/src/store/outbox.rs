//! The outbox: finished mail for one recipient each, told apart by occasion, and how far it got.

use std::collections::HashMap;

use policies::zone::Instant;
use sea_orm::sea_query::{Expr, OnConflict};
use sea_orm::{
    ColumnTrait, ConnectionTrait, DbErr, EntityTrait, ExprTrait, PaginatorTrait, QueryFilter, QueryOrder,
    QuerySelect, Set,
};

use super::write::Writer;
use super::{Store, StoreError};
use entities::notice::{Column, Entity};

/// How far a notice got.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Waiting for its first attempt.
    Queued,
    /// A daemon has it in hand.
    Claimed,
    /// Its body may have gone out.
    DataBegun,
    /// The relay took it.
    Sent,
    /// To be tried again.
    Deferred,
    /// The relay refused it for good, or five days passed.
    Failed,
    /// Its body went out, but no answer came back.
    Uncertain,
    /// Set aside for a person.
    Parked,
    /// What it asked for was done, or replaced, before it went out.
    Cancelled,
    /// The relay took it, and it came back.
    Bounced,
}

impl State {
    /// Nothing more happens to these by itself.
    pub const SETTLED: [State; 5] =
        [State::Sent, State::Failed, State::Parked, State::Cancelled, State::Bounced];

    /// The word it is stored as.
    pub const fn word(self) -> &'static str {
        match self {
            State::Queued => "queued",
            State::Claimed => "claimed",
            State::DataBegun => "data_begun",
            State::Sent => "sent",
            State::Deferred => "deferred",
            State::Failed => "failed",
            State::Uncertain => "uncertain",
            State::Parked => "parked",
            State::Cancelled => "cancelled",
            State::Bounced => "bounced",
        }
    }
}

/// What a notice told of one row.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Told {
    /// Item.
    pub item: String,
    /// Rule.
    pub rule: String,
    /// Which time the work fell due: since when it has not been done.
    pub occurrence: String,
    /// How far its notices had come.
    pub stage: String,
}

/// A notice to be put into the outbox.
#[derive(Clone, Debug)]
pub struct Fresh {
    /// Number, such as `N-2026-1187`.
    pub number: String,
    /// What sort of notice it is, in words: `due work`, `region`, `escalation` …
    pub kind: String,
    /// What it is sent for; with the recipient, unique.
    pub occasion: String,
    /// Whom it is for, by the key of their record.
    pub person: String,
    /// Address it goes to: the person's own, their deputy's, or their second one.
    pub recipient: String,
    /// It tells of something that stops a launch, so that it waits for nothing.
    pub urgent: bool,
    /// Not before this moment; none: at once.
    pub not_before: Option<Instant>,
    /// Subject.
    pub subject: String,
    /// Message-ID.
    pub message_id: String,
    /// What an answer must bring back to be believed.
    pub token: String,
    /// The number of the notice it replaces.
    pub supersedes: Option<String>,
    /// What it says, as plain text.
    pub text: String,
    /// The finished message.
    pub bytes: Vec<u8>,
    /// What it tells.
    pub lines: Vec<FreshLine>,
}

/// One thing a notice tells.
#[derive(Clone, Debug)]
pub struct FreshLine {
    /// The number it has in the notice, from 1; like pieces share one.
    pub number: i64,
    /// What it tells.
    pub told: Told,
    /// The due date it names.
    pub due_on: Option<String>,
}

/// A notice in hand.
#[derive(Clone, Debug)]
pub struct InHand {
    /// Row.
    pub id: i64,
    /// Number.
    pub number: String,
    /// Address.
    pub recipient: String,
    /// The finished message.
    pub bytes: Vec<u8>,
    /// This attempt, from 1.
    pub attempt: i64,
    /// An earlier attempt may have arrived.
    pub was_uncertain: bool,
    /// When it was composed.
    pub composed_at: Instant,
}

/// A notice as a list shows it.
#[derive(Clone, Debug)]
pub struct Listed {
    /// Number.
    pub number: String,
    /// What sort of notice it is.
    pub kind: String,
    /// Occasion.
    pub occasion: String,
    /// Whom it is for.
    pub person: String,
    /// Address.
    pub recipient: String,
    /// It waits for nothing.
    pub urgent: bool,
    /// Subject.
    pub subject: String,
    /// State in words.
    pub state: String,
    /// Attempts so far.
    pub attempts: i64,
    /// Composed.
    pub composed_at: Instant,
    /// Taken by the relay.
    pub sent_at: Option<Instant>,
    /// Last trouble.
    pub last_error: Option<String>,
    /// Rows it told.
    pub lines: Vec<Told>,
}

/// A notice that so many daemons went down with is set aside.
const MOST_CRASHES: i64 = 5;
/// How long a daemon may have a notice in hand before another takes it.
const LEASE_MICROS: i64 = 15 * 60 * 1_000_000;

impl Store {
    /// Number, recipient and frozen bytes of every notice.
    ///
    /// # Errors
    /// The database's own.
    pub async fn frozen_notices(&self) -> Result<Vec<(String, String, Vec<u8>)>, StoreError> {
        let rows = entities::notice::Entity::find().order_by_asc(Column::Id).all(&self.db).await;
        let rows = rows.map_err(StoreError::while_("reading notices"))?;
        Ok(rows.into_iter().map(|row| (row.number, row.recipient, row.bytes)).collect())
    }
}

impl Writer {
    /// Puts a notice into the outbox; false where the same occasion was told to the same recipient already.
    ///
    /// # Errors
    /// The database's own.
    pub async fn enqueue(&mut self, fresh: &Fresh, now: Instant) -> Result<bool, StoreError> {
        let doing = StoreError::while_("queueing a notice");
        let row = entities::notice::ActiveModel {
            number: Set(fresh.number.clone()),
            kind: Set(fresh.kind.clone()),
            occasion: Set(fresh.occasion.clone()),
            person: Set(fresh.person.clone()),
            recipient: Set(fresh.recipient.clone()),
            urgent: Set(fresh.urgent),
            subject: Set(fresh.subject.clone()),
            message_id: Set(fresh.message_id.clone()),
            token: Set(fresh.token.clone()),
            supersedes: Set(fresh.supersedes.clone()),
            bytes: Set(fresh.bytes.clone()),
            composed_at: Set(now.0),
            state: Set(State::Queued.word().to_owned()),
            attempts: Set(0),
            next_attempt_at: Set(fresh.not_before.map_or(now.0, |before| Ord::max(before.0, now.0))),
            ..Default::default()
        };
        let told = OnConflict::columns([Column::Occasion, Column::Recipient]).do_nothing().to_owned();
        let notice = match Entity::insert(row).on_conflict(told).exec(&self.tx).await {
            Ok(inserted) => inserted.last_insert_id,
            Err(DbErr::RecordNotInserted) => return Ok(false),
            Err(error) => return Err(doing(error)),
        };
        let lines = fresh.lines.iter().map(|line| entities::notice_line::ActiveModel {
            notice: Set(notice),
            line: Set(line.number),
            item: Set(line.told.item.clone()),
            rule: Set(line.told.rule.clone()),
            occurrence: Set(line.told.occurrence.clone()),
            stage: Set(line.told.stage.clone()),
            due_on: Set(line.due_on.clone()),
        });
        let rows: Vec<_> = lines.collect();
        for chunk in rows.chunks(3_000) {
            let inserted = entities::notice_line::Entity::insert_many(chunk.to_vec())
                .exec_without_returning(&self.tx)
                .await;
            inserted.map_err(&doing)?;
        }
        Ok(true)
    }

    /// The number of the newest notice, as [`Store::last_notice_number`]: nobody else takes one meanwhile.
    ///
    /// # Errors
    /// The database's own.
    pub async fn last_notice_number(&self) -> Result<u64, StoreError> {
        last_notice_number(&self.tx).await
    }

    /// A remembered setting, as this transaction sees it.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remembered(&self, name: &str) -> Result<Option<String>, StoreError> {
        let found = entities::setting::Entity::find_by_id(name.to_owned()).one(&self.tx).await;
        Ok(found.map_err(StoreError::while_("recalling a setting"))?.map(|row| row.value))
    }

    /// Whether the same occasion was told to the same recipient already.
    ///
    /// # Errors
    /// The database's own.
    pub async fn is_enqueued(&self, occasion: &str, recipient: &str) -> Result<bool, StoreError> {
        let same =
            Entity::find().filter(Column::Occasion.eq(occasion)).filter(Column::Recipient.eq(recipient));
        Ok(same.count(&self.tx).await.map_err(StoreError::while_("looking a notice up"))? > 0)
    }

    /// Remembers a setting.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remember(&mut self, name: &str, value: &str) -> Result<(), StoreError> {
        use entities::setting::{ActiveModel, Column, Entity};
        let row = ActiveModel { name: Set(name.to_owned()), value: Set(value.to_owned()) };
        let replace = OnConflict::column(Column::Name).update_column(Column::Value).to_owned();
        let written = Entity::insert(row).on_conflict(replace).exec_without_returning(&self.tx).await;
        written.map(drop).map_err(StoreError::while_("remembering a setting"))
    }
}

impl Store {
    /// A remembered setting.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remembered(&self, name: &str) -> Result<Option<String>, StoreError> {
        let found = entities::setting::Entity::find_by_id(name.to_owned()).one(&self.db).await;
        Ok(found.map_err(StoreError::while_("recalling a setting"))?.map(|row| row.value))
    }

    /// Every remembered setting whose name begins so, by the rest of its name.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remembered_under(&self, prefix: &str) -> Result<HashMap<String, String>, StoreError> {
        use entities::setting::{Column, Entity};
        let found = Entity::find().filter(Column::Name.starts_with(prefix)).all(&self.db).await;
        let found = found.map_err(StoreError::while_("recalling settings"))?;
        Ok(found.into_iter().map(|row| (row.name[prefix.len()..].to_owned(), row.value)).collect())
    }

    /// The number of the newest notice, within whatever year; nought before the first.
    ///
    /// # Errors
    /// The database's own.
    pub async fn last_notice_number(&self) -> Result<u64, StoreError> {
        last_notice_number(&self.db).await
    }

    /// Takes the next notice whose time has come in hand, and counts the attempt.
    ///
    /// # Errors
    /// The database's own.
    pub async fn claim(&self, now: Instant) -> Result<Option<InHand>, StoreError> {
        let doing = StoreError::while_("taking a notice in hand");
        let settled = State::SETTLED.map(State::word);
        loop {
            let waiting = Entity::find()
                .filter(Column::State.is_not_in(settled))
                .filter(Column::NextAttemptAt.lte(now.0))
                .order_by_asc(Column::Id);
            let Some(row) = waiting.one(&self.db).await.map_err(&doing)? else { return Ok(None) };
            if self.settle_crashed(&row, now).await? {
                continue;
            }
            if self.take(&row, now).await? {
                return Ok(Some(InHand {
                    id: row.id,
                    number: row.number,
                    recipient: row.recipient,
                    bytes: row.bytes,
                    attempt: row.attempts + 1,
                    was_uncertain: row.state == State::Uncertain.word(),
                    composed_at: Instant(row.composed_at),
                }));
            }
        }
    }

    /// Settles a notice that a daemon left in hand when it went down; false for any other.
    async fn settle_crashed(&self, row: &entities::notice::Model, now: Instant) -> Result<bool, StoreError> {
        let in_hand = [State::Claimed, State::DataBegun].map(State::word).contains(&row.state.as_str());
        if in_hand && row.attempts >= MOST_CRASHES {
            self.settle(
                row.id,
                row.attempts,
                State::Parked,
                None,
                "the daemon went down with it in hand too often",
            )
            .await?;
            return Ok(true);
        }
        if row.state == State::DataBegun.word() {
            // It may have arrived.
            let again = Some(now.0 + LEASE_MICROS);
            self.settle(row.id, row.attempts, State::Uncertain, again, "interrupted after its body began")
                .await?;
            return Ok(true);
        }
        Ok(false)
    }

    /// Takes a notice in hand, unless somebody else did.
    async fn take(&self, row: &entities::notice::Model, now: Instant) -> Result<bool, StoreError> {
        let claimed = Entity::update_many()
            .col_expr(Column::State, Expr::value(State::Claimed.word()))
            .col_expr(Column::Attempts, Expr::col(Column::Attempts).add(1))
            .col_expr(Column::NextAttemptAt, Expr::value(now.0 + LEASE_MICROS))
            .filter(Column::Id.eq(row.id))
            .filter(Column::State.eq(row.state.as_str()))
            .filter(Column::Attempts.eq(row.attempts));
        let taken = claimed.exec(&self.db).await.map_err(StoreError::while_("taking a notice in hand"))?;
        Ok(taken.rows_affected == 1)
    }

    /// Notes that the body of a notice in hand is about to go out; false when it is in other hands by now.
    ///
    /// # Errors
    /// The database's own.
    pub async fn begin_data(&self, id: i64, attempt: i64) -> Result<bool, StoreError> {
        let begun = Entity::update_many()
            .col_expr(Column::State, Expr::value(State::DataBegun.word()))
            .filter(Column::Id.eq(id))
            .filter(Column::State.eq(State::Claimed.word()))
            .filter(Column::Attempts.eq(attempt));
        let begun = begun.exec(&self.db).await.map_err(StoreError::while_("noting that a body begins"))?;
        Ok(begun.rows_affected == 1)
    }

    /// Notes that the relay took a notice in hand.
    ///
    /// # Errors
    /// The database's own.
    pub async fn sent(&self, id: i64, attempt: i64, reply: &str, now: Instant) -> Result<(), StoreError> {
        let sent = Entity::update_many()
            .col_expr(Column::State, Expr::value(State::Sent.word()))
            .col_expr(Column::Reply, Expr::value(reply))
            .col_expr(Column::SentAt, Expr::value(now.0))
            .filter(Column::Id.eq(id))
            .filter(Column::Attempts.eq(attempt));
        sent.exec(&self.db).await.map(drop).map_err(StoreError::while_("noting a notice as sent"))
    }

    /// Puts a notice in hand into another state, to be tried again at `next` where it may be.
    ///
    /// # Errors
    /// The database's own.
    pub async fn settle(
        &self,
        id: i64,
        attempt: i64,
        state: State,
        next: Option<i64>,
        error: &str,
    ) -> Result<(), StoreError> {
        let mut update = Entity::update_many()
            .col_expr(Column::State, Expr::value(state.word()))
            .col_expr(Column::LastError, Expr::value(error))
            .filter(Column::Id.eq(id))
            .filter(Column::Attempts.eq(attempt))
            .filter(Column::State.ne(State::Sent.word()));
        if let Some(next) = next {
            update = update.col_expr(Column::NextAttemptAt, Expr::value(next));
        }
        update.exec(&self.db).await.map(drop).map_err(StoreError::while_("settling a notice"))
    }

    /// Lets a failed or parked notice be tried again.
    ///
    /// # Errors
    /// The database's own.
    pub async fn retry(&self, number: &str, now: Instant) -> Result<bool, StoreError> {
        let again = Entity::update_many()
            .col_expr(Column::State, Expr::value(State::Deferred.word()))
            .col_expr(Column::NextAttemptAt, Expr::value(now.0))
            .filter(Column::Number.eq(number))
            .filter(Column::State.is_in([State::Failed, State::Parked, State::Deferred].map(State::word)));
        let again =
            again.exec(&self.db).await.map_err(StoreError::while_("letting a notice be tried again"))?;
        Ok(again.rows_affected > 0)
    }

    /// Every notice, newest first, for an item where one is given.
    ///
    /// # Errors
    /// The database's own.
    pub async fn notices(&self, item: Option<&str>, most: u64) -> Result<Vec<Listed>, StoreError> {
        use entities::notice_line::{Column as Line, Entity as Lines};
        let doing = StoreError::while_("listing notices");
        let mut query = Entity::find().order_by_desc(Column::Id).limit(most);
        if let Some(item) = item {
            let ids = Lines::find().select_only().column(Line::Notice).filter(Line::Item.eq(item)).distinct();
            let ids: Vec<i64> = ids.into_tuple().all(&self.db).await.map_err(&doing)?;
            query = query.filter(Column::Id.is_in(ids));
        }
        let mut listed = Vec::new();
        for row in query.all(&self.db).await.map_err(&doing)? {
            let lines =
                Lines::find().filter(Line::Notice.eq(row.id)).order_by_asc(Line::Line).all(&self.db).await;
            let lines = lines.map_err(&doing)?.into_iter().map(Told::from).collect();
            listed.push(Listed {
                number: row.number,
                kind: row.kind,
                occasion: row.occasion,
                person: row.person,
                recipient: row.recipient,
                urgent: row.urgent,
                subject: row.subject,
                state: row.state,
                attempts: row.attempts,
                composed_at: Instant(row.composed_at),
                sent_at: row.sent_at.map(Instant),
                last_error: row.last_error,
                lines,
            });
        }
        Ok(listed)
    }
}

async fn last_notice_number(db: &impl ConnectionTrait) -> Result<u64, StoreError> {
    let numbered = Entity::find().filter(Column::Number.starts_with("N-"));
    let newest = numbered.select_only().column(Column::Number).order_by_desc(Column::Id).limit(1);
    let newest = newest.into_tuple::<String>().one(db).await;
    let newest = newest.map_err(StoreError::while_("numbering notices"))?;
    Ok(newest.and_then(|number| sequence(&number)).unwrap_or(0))
}

/// `1187` of `N-2026-1187`.
fn sequence(number: &str) -> Option<u64> {
    number.rsplit('-').next()?.parse().ok()
}

impl Fresh {
    /// Its number within the year.
    pub fn sequence(&self) -> Option<u64> {
        sequence(&self.number)
    }
}

impl From<entities::notice_line::Model> for Told {
    fn from(row: entities::notice_line::Model) -> Told {
        Told { item: row.item, rule: row.rule, occurrence: row.occurrence, stage: row.stage }
    }
}
