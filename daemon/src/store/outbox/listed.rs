//! Notices as lists show them, and a person's word that one be tried again.

use std::collections::HashMap;

use entities::notice::{Column, Entity};
use policies::zone::Instant;
use sea_orm::sea_query::Expr;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use super::{State, Told};
use crate::store::{KEYS, Store, StoreError};

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
    /// It waits for nothing.
    pub urgent: bool,
    /// Address.
    pub recipient: String,
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
    /// The notice it replaces.
    pub supersedes: Option<String>,
    /// The notice that replaces it.
    pub superseded_by: Option<String>,
    /// What was answered, oldest first.
    pub answers: Vec<Answer>,
}

/// An answer to a notice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// Line; none: all of it.
    pub line: Option<i64>,
    /// `done`, `later` or `not here`.
    pub word: String,
    /// Who gave it.
    pub sender: String,
    /// When.
    pub said_at: Instant,
    /// What was added.
    pub note: Option<String>,
}

/// A notice that is tried again by a person's word, as it was before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Again {
    /// Where it goes.
    pub recipient: String,
    /// The relay took it, and it came back.
    pub came_back: bool,
    /// A copy may be there already, so that it may come twice.
    pub may_have_arrived: bool,
    /// The last trouble with it.
    pub why: Option<String>,
}

/// A notice that did not arrive, or of which nobody knows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Astray {
    /// Number.
    pub number: String,
    /// Address.
    pub recipient: String,
    /// State in words.
    pub state: String,
    /// Last trouble.
    pub why: Option<String>,
}

/// What a person may let be tried again.
const RETRIED: [State; 5] = [State::Failed, State::Parked, State::Deferred, State::Uncertain, State::Bounced];

impl Store {
    /// Lets a notice that did not arrive, or of which nobody knows it, be tried again as if it were due from now: what
    /// went before counts no more. What it was until then; none where no such notice has the number.
    ///
    /// # Errors
    /// The database's own.
    pub async fn retry(&self, number: &str, now: Instant) -> Result<Option<Again>, StoreError> {
        let doing = StoreError::while_("letting a notice be tried again");
        let found = Entity::find()
            .filter(Column::Number.eq(number))
            .filter(Column::State.is_in(RETRIED.map(State::word)))
            .one(&self.db)
            .await
            .map_err(&doing)?;
        let Some(found) = found else { return Ok(None) };
        let again = Entity::update_many()
            .col_expr(Column::State, Expr::value(State::Deferred.word()))
            .col_expr(Column::Crashes, Expr::value(0))
            .col_expr(Column::Doubts, Expr::value(0))
            .col_expr(Column::DueAt, Expr::value(now.0))
            .col_expr(Column::NextAttemptAt, Expr::value(now.0))
            .filter(Column::Id.eq(found.id))
            // Since it was looked at, a daemon may have taken it in hand.
            .filter(Column::State.eq(found.state.as_str()))
            .filter(Column::Attempts.eq(found.attempts));
        let again = again.exec(&self.db).await.map_err(doing)?;
        let came_back = found.state == State::Bounced.word();
        let may_have_arrived = came_back || found.state == State::Uncertain.word() || found.doubts > 0;
        let before = Again { recipient: found.recipient, came_back, may_have_arrived, why: found.last_error };
        Ok((again.rows_affected > 0).then_some(before))
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
        let rows = query.all(&self.db).await.map_err(&doing)?;
        let ids: Vec<i64> = rows.iter().map(|row| row.id).collect();
        let (mut lines, mut answers) = (self.lines_of(&ids).await?, self.answers_to(&ids).await?);
        let mut newer = self.replaced_by(rows.iter().map(|row| &*row.number)).await?;
        let listed = rows.into_iter().map(|row| Listed {
            superseded_by: newer.remove(&row.number),
            answers: answers.remove(&row.id).unwrap_or_default(),
            lines: lines.remove(&row.id).unwrap_or_default(),
            supersedes: row.supersedes,
            number: row.number,
            kind: row.kind,
            occasion: row.occasion,
            person: row.person,
            urgent: row.urgent,
            recipient: row.recipient,
            subject: row.subject,
            state: row.state,
            attempts: row.attempts,
            composed_at: Instant(row.composed_at),
            sent_at: row.sent_at.map(Instant),
            last_error: row.last_error,
        });
        Ok(listed.collect())
    }

    /// What did not arrive, or may not have, of what was due to go since a moment, newest first.
    ///
    /// # Errors
    /// The database's own.
    pub async fn astray(&self, since: Instant) -> Result<Vec<Astray>, StoreError> {
        let states = [State::Failed, State::Bounced, State::Parked, State::Uncertain].map(State::word);
        let query = Entity::find()
            .select_only()
            .columns([Column::Number, Column::Recipient, Column::State, Column::LastError])
            .filter(Column::State.is_in(states))
            .filter(Column::DueAt.gte(since.0))
            .order_by_desc(Column::Id);
        let rows: Vec<(String, String, String, Option<String>)> =
            query.into_tuple().all(&self.db).await.map_err(StoreError::while_("listing notices"))?;
        let astray = |(number, recipient, state, why)| Astray { number, recipient, state, why };
        Ok(rows.into_iter().map(astray).collect())
    }

    async fn lines_of(&self, notices: &[i64]) -> Result<HashMap<i64, Vec<Told>>, StoreError> {
        use entities::notice_line::{Column as Line, Entity as Lines};
        let mut found: HashMap<i64, Vec<Told>> = HashMap::new();
        for chunk in notices.chunks(KEYS) {
            let rows = Lines::find().filter(Line::Notice.is_in(chunk.iter().copied()));
            let rows = rows.order_by_asc(Line::Line).all(&self.db).await;
            for row in rows.map_err(StoreError::while_("listing notices"))? {
                found.entry(row.notice).or_default().push(Told::from(row));
            }
        }
        Ok(found)
    }

    /// The newest notice that replaces each.
    async fn replaced_by<'n>(
        &self,
        numbers: impl Iterator<Item = &'n str>,
    ) -> Result<HashMap<String, String>, StoreError> {
        let numbers: Vec<&str> = numbers.collect();
        let mut found = HashMap::new();
        for chunk in numbers.chunks(KEYS) {
            let rows = Entity::find()
                .select_only()
                .columns([Column::Supersedes, Column::Number])
                .filter(Column::Supersedes.is_in(chunk.iter().copied()))
                .order_by_asc(Column::Id);
            let rows: Vec<(String, String)> =
                rows.into_tuple().all(&self.db).await.map_err(StoreError::while_("listing notices"))?;
            found.extend(rows);
        }
        Ok(found)
    }

    async fn answers_to(&self, notices: &[i64]) -> Result<HashMap<i64, Vec<Answer>>, StoreError> {
        let answer = |row: entities::notice_answer::Model| Answer {
            line: row.line,
            word: row.answer,
            sender: row.sender,
            said_at: Instant(row.said_at),
            note: row.note,
        };
        let rows = self.answers_of(&notices.iter().copied().collect()).await?;
        Ok(rows.into_iter().map(|(id, rows)| (id, rows.into_iter().map(answer).collect())).collect())
    }
}
