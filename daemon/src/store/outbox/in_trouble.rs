//! Notices that did not reach anybody, for whoever must be told so.

use entities::notice::{Column, Entity};
use policies::zone::Instant;
use sea_orm::{ColumnTrait, Condition, EntityTrait, ExprTrait, QueryFilter, QueryOrder, QuerySelect};

use super::State;
use crate::store::{Store, StoreError};

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
                Column::Person,
                Column::Recipient,
                Column::Urgent,
                Column::Subject,
                Column::State,
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

type Row = (String, String, String, String, bool, String, String, i64, Option<String>);

impl From<Row> for InTrouble {
    fn from((number, kind, person, recipient, urgent, subject, state, due_at, why): Row) -> InTrouble {
        InTrouble { number, kind, person, recipient, urgent, subject, state, due_at: Instant(due_at), why }
    }
}
