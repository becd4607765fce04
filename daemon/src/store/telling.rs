//! What people were told: by whom it stands, how it was answered, and what is no longer worth telling.

use std::collections::{BTreeSet, HashMap, HashSet};

use policies::zone::Instant;
use sea_orm::sea_query::{Expr, Query, SelectStatement};
use sea_orm::{
    ColumnTrait, EntityTrait, ExprTrait, QueryFilter, QueryOrder, QuerySelect, QueryTrait, Select,
};

use super::outbox::{State, Told};
use super::write::Writer;
use super::{KEYS, Store, StoreError};
use entities::notice::{Column, Entity, Model};
use entities::notice_answer::{Column as Answer, Entity as Answers};
use entities::notice_line::{Column as Line, Entity as Lines, Model as LineModel};

/// What one person was told: of all work as it last fell due, and everything of the last months. What lies further back
/// grows with the years, and stands no more.
#[derive(Clone, Debug, Default)]
pub struct Heard {
    /// Every stage of every row.
    pub marks: HashSet<Told>,
    /// By item and rule, what the newest notice said.
    pub newest: HashMap<(String, String), Said>,
    /// Work they answered, with the occurrence.
    pub answered: HashSet<(Work, String)>,
}

/// What a notice said of one row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// Number of the notice.
    pub number: String,
    /// Which time the work fell due.
    pub occurrence: String,
    /// The date it named.
    pub due_on: Option<String>,
    /// How often the date was told otherwise before, for the same occurrence.
    pub changes: u32,
}

/// A notice about a piece of work, and what came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Passed {
    /// Number of the notice.
    pub number: String,
    /// Whom it was for.
    pub person: String,
    /// Where it went.
    pub recipient: String,
    /// When it was composed.
    pub composed_at: Instant,
    /// How far it got.
    pub state: String,
    /// The answer, and when it was given.
    pub answer: Option<(String, Instant)>,
}

/// Item and rule.
pub type Work = (String, String);

impl Heard {
    /// Whether somebody answered for a piece of work as it falls due now: then reminders of it pause.
    pub fn is_answered(&self, mark: &Told) -> bool {
        let work = (mark.item.clone(), mark.rule.clone());
        self.answered.contains(&(work, mark.occurrence.clone()))
    }

    /// Whether a piece of work was told at any stage.
    pub fn knows(&self, mark: &Told) -> bool {
        let said = self.newest.get(&(mark.item.clone(), mark.rule.clone()));
        said.is_some_and(|said| said.occurrence == mark.occurrence)
    }
}

/// So far back everything is remembered that was told: a correction may bring back what fell due before.
const MONTHS: i64 = 200 * 24 * 3_600 * 1_000_000;

/// The lines of some notices in the order they were told: all since a moment, and before it those of each piece of work
/// as it last fell due.
fn lines_told(notices: &SelectStatement, since: i64) -> Select<Lines> {
    let newest = Query::select()
        .columns([Line::Item, Line::Rule])
        .expr(Line::Notice.max())
        .from(Lines)
        .and_where(Line::Notice.in_subquery(notices.clone()))
        .group_by_columns([Line::Item, Line::Rule])
        .to_owned();
    let column = |line: Line| Expr::col((Lines, line));
    let tuple = |columns: [Line; 3]| Expr::tuple(columns.map(column));
    let fell_due = Query::select()
        .columns([Line::Item, Line::Rule, Line::Occurrence])
        .from(Lines)
        .and_where(tuple([Line::Item, Line::Rule, Line::Notice]).in_subquery(newest))
        .to_owned();
    let lately =
        Query::select().column(Column::Id).from(Entity).and_where(Column::ComposedAt.gte(since)).to_owned();
    let last = tuple([Line::Item, Line::Rule, Line::Occurrence]).in_subquery(fell_due);
    Lines::find()
        .filter(Line::Notice.in_subquery(notices.clone()))
        .filter(Line::Notice.in_subquery(lately).or(last))
        .order_by_asc(Line::Notice)
        .order_by_asc(Line::Line)
}

impl Store {
    /// What a person was told up to now. What was refused for good, came back, or never went out was not.
    ///
    /// # Errors
    /// The database's own.
    pub async fn heard(&self, person: &str, now: Instant) -> Result<Heard, StoreError> {
        let doing = StoreError::while_("reading what was told");
        let untold = [State::Failed, State::Bounced, State::Cancelled].map(State::word);
        let notices = Entity::find()
            .select_only()
            .column(Column::Id)
            .filter(Column::Person.eq(person))
            // Unless a person said that it is told.
            .filter(Column::State.is_not_in(untold).or(Column::DroppedAt.is_not_null()));
        let lines = lines_told(&notices.into_query(), now.0.saturating_sub(MONTHS));
        let rows = lines.all(&self.db).await.map_err(doing)?;
        let ids: BTreeSet<i64> = rows.iter().map(|row| row.notice).collect();
        let (numbers, answers) = (self.numbers_of(&ids).await?, self.answers_of(&ids).await?);
        let mut heard = Heard::default();
        for row in rows {
            let work = (row.item.clone(), row.rule.clone());
            let before = heard.newest.get(&work).filter(|said| said.occurrence == row.occurrence);
            let said = Said {
                number: numbers.get(&row.notice).cloned().unwrap_or_default(),
                occurrence: row.occurrence.clone(),
                due_on: row.due_on.clone(),
                changes: before.map_or(0, |said| said.changes + u32::from(said.due_on != row.due_on)),
            };
            let mut given = answers.get(&row.notice).into_iter().flatten();
            if given.any(|answer| answer.line.is_none_or(|line| line == row.line)) {
                heard.answered.insert((work.clone(), row.occurrence.clone()));
            }
            heard.newest.insert(work, said);
            heard.marks.insert(Told::from(row));
        }
        Ok(heard)
    }

    async fn numbers_of(&self, ids: &BTreeSet<i64>) -> Result<HashMap<i64, String>, StoreError> {
        let doing = StoreError::while_("reading the numbers of notices");
        let ids: Vec<i64> = ids.iter().copied().collect();
        let mut found = HashMap::new();
        for chunk in ids.chunks(KEYS) {
            let rows = Entity::find()
                .select_only()
                .columns([Column::Id, Column::Number])
                .filter(Column::Id.is_in(chunk.iter().copied()));
            found.extend(rows.into_tuple::<(i64, String)>().all(&self.db).await.map_err(&doing)?);
        }
        Ok(found)
    }

    /// Every notice about these pieces of work as they fall due now, oldest first.
    ///
    /// # Errors
    /// The database's own.
    pub async fn passed(&self, work: &BTreeSet<Told>) -> Result<HashMap<Work, Vec<Passed>>, StoreError> {
        let doing = StoreError::while_("reading the notices of a piece of work");
        let occurrences: HashMap<(&str, &str), &str> =
            work.iter().map(|told| ((&*told.item, &*told.rule), &*told.occurrence)).collect();
        let items: Vec<&str> = work.iter().map(|told| &*told.item).collect();
        let mut lines: Vec<LineModel> = Vec::new();
        for chunk in items.chunks(KEYS) {
            let rows = Lines::find().filter(Line::Item.is_in(chunk.iter().copied())).all(&self.db).await;
            let same = |row: &LineModel| {
                occurrences.get(&(&*row.item, &*row.rule)).is_some_and(|now| *now == row.occurrence)
            };
            lines.extend(rows.map_err(&doing)?.into_iter().filter(same));
        }
        lines.sort_by_key(|line| (line.notice, line.line));
        let ids: BTreeSet<i64> = lines.iter().map(|line| line.notice).collect();
        let notices = self.notices_of(&ids).await?;
        let answers = self.answers_of(&ids).await?;
        let mut found: HashMap<Work, Vec<Passed>> = HashMap::new();
        for line in lines {
            let Some(notice) = notices.get(&line.notice) else { continue };
            let given = answers.get(&line.notice).into_iter().flatten();
            let mut given = given.filter(|answer| answer.line.is_none_or(|number| number == line.line));
            found.entry((line.item, line.rule)).or_default().push(Passed {
                number: notice.number.clone(),
                person: notice.person.clone(),
                recipient: notice.recipient.clone(),
                composed_at: Instant(notice.composed_at),
                state: notice.state.clone(),
                answer: given.next_back().map(|answer| (answer.answer.clone(), Instant(answer.said_at))),
            });
        }
        Ok(found)
    }

    async fn notices_of(&self, ids: &BTreeSet<i64>) -> Result<HashMap<i64, Model>, StoreError> {
        let doing = StoreError::while_("reading notices");
        let ids: Vec<i64> = ids.iter().copied().collect();
        let mut found = HashMap::new();
        for chunk in ids.chunks(KEYS) {
            let rows = Entity::find().filter(Column::Id.is_in(chunk.iter().copied())).all(&self.db).await;
            found.extend(rows.map_err(&doing)?.into_iter().map(|row| (row.id, row)));
        }
        Ok(found)
    }

    pub(super) async fn answers_of(
        &self,
        ids: &BTreeSet<i64>,
    ) -> Result<HashMap<i64, Vec<entities::notice_answer::Model>>, StoreError> {
        let doing = StoreError::while_("reading answers");
        let ids: Vec<i64> = ids.iter().copied().collect();
        let mut found: HashMap<i64, Vec<_>> = HashMap::new();
        for chunk in ids.chunks(KEYS) {
            let rows = Answers::find()
                .filter(Answer::Notice.is_in(chunk.iter().copied()))
                .order_by_asc(Answer::Id)
                .all(&self.db)
                .await;
            for row in rows.map_err(&doing)? {
                found.entry(row.notice).or_default().push(row);
            }
        }
        Ok(found)
    }

    /// Work that these people were told before a moment and that nobody answered since, with the occurrence.
    ///
    /// # Errors
    /// The database's own.
    pub async fn unanswered(
        &self,
        people: &[&str],
        before: Instant,
    ) -> Result<HashSet<(Work, String)>, StoreError> {
        let doing = StoreError::while_("looking for notices without an answer");
        let notices = Entity::find()
            .select_only()
            .column(Column::Id)
            .filter(Column::Person.is_in(people.iter().copied()))
            .filter(Column::State.eq(State::Sent.word()))
            .filter(Column::SentAt.lte(before.0));
        let lines = lines_told(&notices.into_query(), before.0.saturating_sub(MONTHS));
        let rows = lines.all(&self.db).await.map_err(doing)?;
        let answers = self.answers_of(&rows.iter().map(|row| row.notice).collect()).await?;
        let mut found = HashSet::new();
        let mut answered = HashSet::new();
        for row in rows {
            let key = ((row.item, row.rule), row.occurrence);
            let mut given = answers.get(&row.notice).into_iter().flatten();
            if given.any(|answer| answer.line.is_none_or(|number| number == row.line)) {
                answered.insert(key);
            } else {
                found.insert(key);
            }
        }
        found.retain(|key| !answered.contains(key));
        Ok(found)
    }

    /// Whether an occasion was told, to whatever address.
    ///
    /// # Errors
    /// The database's own.
    pub async fn was_told(&self, occasion: &str) -> Result<bool, StoreError> {
        let same = Entity::find().select_only().column(Column::Id).filter(Column::Occasion.eq(occasion));
        let same = same.into_tuple::<i64>().one(&self.db).await;
        Ok(same.map_err(StoreError::while_("looking a notice up"))?.is_some())
    }

    /// Addresses that mail comes back from.
    ///
    /// # Errors
    /// The database's own.
    pub async fn bad_addresses(&self) -> Result<HashSet<String>, StoreError> {
        use entities::bad_address::{Column, Entity};
        let rows = Entity::find().filter(Column::ClearedAt.is_null()).all(&self.db).await;
        Ok(rows
            .map_err(StoreError::while_("reading addresses that mail comes back from"))?
            .into_iter()
            .map(|row| row.address)
            .collect())
    }

    /// Message-IDs of a notice and those it replaced, oldest first: its thread.
    ///
    /// # Errors
    /// The database's own.
    pub async fn thread(&self, number: &str, most: usize) -> Result<Vec<String>, StoreError> {
        let mut ids = Vec::new();
        let mut next = Some(number.to_owned());
        while let Some(number) = next.filter(|_| ids.len() < most) {
            let notice = Entity::find().filter(Column::Number.eq(number)).one(&self.db).await;
            let notice = notice.map_err(StoreError::while_("following a thread of notices"))?;
            next = notice.as_ref().and_then(|notice| notice.supersedes.clone());
            ids.extend(notice.map(|notice| notice.message_id));
        }
        ids.reverse();
        Ok(ids)
    }
}

impl Writer {
    /// Cancels notices that wait to go out and tell of work that was done or gear that was withdrawn meanwhile, and
    /// lets the people they were for be told afresh of what is left.
    ///
    /// # Errors
    /// The database's own.
    pub async fn cancel_waiting(&mut self, work: &[(&str, Option<&str>)]) -> Result<usize, StoreError> {
        let doing = StoreError::while_("cancelling notices");
        let waiting = [State::Queued, State::Deferred].map(State::word);
        let waiting = Entity::find().filter(Column::State.is_in(waiting)).all(&self.tx).await;
        let waiting: HashMap<i64, String> =
            waiting.map_err(&doing)?.into_iter().map(|notice| (notice.id, notice.person)).collect();
        if waiting.is_empty() {
            return Ok(0);
        }
        let ids = waiting.keys().copied().collect::<Vec<_>>();
        let mut moot = BTreeSet::new();
        for chunk in ids.chunks(KEYS) {
            let rows = Lines::find().filter(Line::Notice.is_in(chunk.iter().copied())).all(&self.tx).await;
            let is_done = |row: &LineModel| {
                work.iter().any(|(item, rule)| *item == row.item && rule.is_none_or(|rule| rule == row.rule))
            };
            moot.extend(rows.map_err(&doing)?.iter().filter(|row| is_done(row)).map(|row| row.notice));
        }
        for id in &moot {
            self.cancel(*id).await?;
            self.forget(&format!("told {}", waiting[id])).await?;
        }
        Ok(moot.len())
    }

    async fn cancel(&mut self, id: i64) -> Result<(), StoreError> {
        let waiting = [State::Queued, State::Deferred].map(State::word);
        let cancelled = Entity::update_many()
            .col_expr(Column::State, Expr::value(State::Cancelled.word()))
            .col_expr(Column::LastError, Expr::value("what it asked for was done first"))
            // The occasion is free again, for what is left of it.
            .col_expr(Column::Occasion, Expr::value(format!("cancelled {id}")))
            .filter(Column::Id.eq(id))
            .filter(Column::State.is_in(waiting))
            .exec(&self.tx)
            .await;
        cancelled.map(drop).map_err(StoreError::while_("cancelling a notice"))
    }
}
