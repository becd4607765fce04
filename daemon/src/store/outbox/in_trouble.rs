//! Notices that did not reach anybody, for whoever must be told so.

use std::collections::{BTreeSet, HashMap};

use entities::notice::{Column, Entity};
use entities::notice_line;
use policies::zone::Instant;
use sea_orm::{ColumnTrait, Condition, EntityTrait, ExprTrait, QueryFilter, QueryOrder, QuerySelect};

use super::told::mails;
use super::{State, Told};
use crate::store::{KEYS, Store, StoreError};

/// A notice that is still unsent so long after it was due is in trouble.
const UNSENT_FOR: i64 = 4 * 3_600 * 1_000_000;
/// What was due before that long ago is of no use to anybody now.
const NOT_BEFORE: i64 = 60 * 24 * 3_600 * 1_000_000;

/// A notice in trouble.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InTrouble {
    /// Number.
    pub number: String,
    /// What sort of notice.
    pub kind: String,
    /// What it was sent for.
    pub occasion: String,
    /// Whom it was for.
    pub person: String,
    /// Where it was to go.
    pub recipient: String,
    /// It tells of something that stops a launch.
    pub urgent: bool,
    /// Subject.
    pub subject: String,
    /// State in words.
    pub state: String,
    /// Attempts so far; nought where the mail server was never reached for it.
    pub attempts: i64,
    /// When it was written.
    pub composed_at: Instant,
    /// Since when it was to go out.
    pub due_at: Instant,
    /// Last trouble, where there was any.
    pub why: Option<String>,
}

impl Store {
    /// Every notice that failed, came back, was set aside for a person, or is unsent four hours after it was due;
    /// the oldest first.
    ///
    /// # Errors
    /// The database's own.
    pub async fn in_trouble(&self, now: Instant) -> Result<Vec<InTrouble>, StoreError> {
        let lost = [State::Failed, State::Parked, State::Bounced].map(State::word);
        let open = State::OPEN.into_iter().chain(State::IN_HAND).map(State::word);
        let late = Column::State.is_in(open).and(Column::DueAt.lte(now.0 - UNSENT_FOR));
        let rows = Entity::find()
            .filter(Column::DueAt.gte(now.0 - NOT_BEFORE))
            .filter(Condition::any().add(Column::State.is_in(lost)).add(late))
            .order_by_asc(Column::DueAt)
            .order_by_asc(Column::Id)
            .select_only()
            .columns([
                Column::Number,
                Column::Kind,
                Column::Occasion,
                Column::Person,
                Column::Recipient,
                Column::Urgent,
                Column::Subject,
                Column::State,
                Column::Attempts,
                Column::ComposedAt,
                Column::DueAt,
                Column::LastError,
            ]);
        let rows: Vec<Row> = rows
            .into_tuple()
            .all(&self.db)
            .await
            .map_err(StoreError::while_("looking for notices in trouble"))?;
        Ok(rows.into_iter().map(InTrouble::from).collect())
    }
}

type Row = (String, String, String, String, String, bool, String, String, i64, i64, i64, Option<String>);

impl From<Row> for InTrouble {
    fn from(row: Row) -> InTrouble {
        let (number, kind, occasion, person, recipient, urgent, subject, state, attempts, composed, due, why) =
            row;
        let (composed_at, due_at) = (Instant(composed), Instant(due));
        InTrouble {
            number,
            kind,
            occasion,
            person,
            recipient,
            urgent,
            subject,
            state,
            attempts,
            composed_at,
            due_at,
            why,
        }
    }
}

impl InTrouble {
    /// Nothing more happens to it by itself.
    pub fn is_lost(&self) -> bool {
        [State::Failed, State::Parked, State::Bounced].map(State::word).contains(&self.state.as_str())
    }

    /// Nobody has tried to hand it over.
    pub fn is_untried(&self) -> bool {
        let in_hand = State::IN_HAND.map(State::word).contains(&self.state.as_str());
        self.attempts == 0 && !in_hand && !self.is_lost()
    }
}

impl Store {
    /// How the notices of an occasion stand: address, state, and the number.
    ///
    /// # Errors
    /// The database's own.
    pub async fn told_of(&self, occasion: &str) -> Result<Vec<(String, String, String)>, StoreError> {
        let same = Entity::find().filter(Column::Occasion.eq(occasion)).order_by_asc(Column::Id);
        let same = same.select_only().columns([Column::Recipient, Column::State, Column::Number]);
        same.into_tuple().all(&self.db).await.map_err(StoreError::while_("looking a notice up"))
    }

    /// The same of many occasions at once, without the numbers: address and state of each, by occasion.
    ///
    /// # Errors
    /// The database's own.
    pub async fn told_of_each(
        &self,
        occasions: &BTreeSet<&str>,
    ) -> Result<HashMap<String, Vec<(String, String)>>, StoreError> {
        let occasions: Vec<&str> = occasions.iter().copied().collect();
        let mut found: HashMap<String, Vec<(String, String)>> = HashMap::new();
        for chunk in occasions.chunks(KEYS) {
            let told = Entity::find()
                .select_only()
                .columns([Column::Occasion, Column::Recipient, Column::State])
                .filter(Column::Occasion.is_in(chunk.iter().copied()))
                .order_by_asc(Column::Id);
            let told: Vec<(String, String, String)> =
                told.into_tuple().all(&self.db).await.map_err(StoreError::while_("looking notices up"))?;
            for (occasion, to, state) in told {
                found.entry(occasion).or_default().push((to, state));
            }
        }
        Ok(found)
    }

    /// What a notice asks for; nothing that only went off the calendar with it.
    ///
    /// # Errors
    /// The database's own.
    pub async fn asked_in(&self, number: &str) -> Result<Vec<Told>, StoreError> {
        let doing = StoreError::while_("reading a notice's lines");
        let id = Entity::find().select_only().column(Column::Id).filter(Column::Number.eq(number));
        let Some(id) = id.into_tuple::<i64>().one(&self.db).await.map_err(&doing)? else {
            return Ok(Vec::new());
        };
        let lines = notice_line::Entity::find()
            .filter(notice_line::Column::Notice.eq(id))
            .filter(notice_line::Column::Line.gt(0));
        Ok(lines.all(&self.db).await.map_err(doing)?.into_iter().map(Told::from).collect())
    }

    /// Kind and address of what was written to a person since a moment and sent.
    ///
    /// # Errors
    /// The database's own.
    pub async fn sent_since(&self, person: &str, at: Instant) -> Result<Vec<(String, String)>, StoreError> {
        let sent = Entity::find()
            .select_only()
            .columns([Column::Kind, Column::Recipient])
            .filter(Column::Person.eq(person))
            .filter(Column::State.eq(State::Sent.word()))
            .filter(Column::ComposedAt.gt(at.0));
        sent.into_tuple().all(&self.db).await.map_err(StoreError::while_("looking a notice up"))
    }

    /// What a notice told, and its finished message; none of that number.
    ///
    /// # Errors
    /// The database's own.
    pub async fn content_of(&self, number: &str) -> Result<Option<(Vec<Told>, Vec<u8>)>, StoreError> {
        let doing = StoreError::while_("reading a notice");
        let notice = Entity::find().filter(Column::Number.eq(number)).one(&self.db).await.map_err(&doing)?;
        let Some(notice) = notice else { return Ok(None) };
        let lines = notice_line::Entity::find().filter(notice_line::Column::Notice.eq(notice.id));
        let lines = lines.all(&self.db).await.map_err(doing)?.into_iter().map(Told::from).collect();
        let mut bytes = mails(&self.db, std::iter::once(notice.id)).await?;
        Ok(Some((lines, bytes.remove(&notice.id).unwrap_or_default())))
    }
}
