//! Answers beside their notices, and addresses that mail comes back from.

use policies::zone::Instant;
use sea_orm::sea_query::{Expr, OnConflict};
use sea_orm::{ActiveModelTrait, ColumnTrait, EntityTrait, PaginatorTrait, QueryFilter, QueryOrder, Set};

use super::outbox::State;
use super::write::Writer;
use super::{Store, StoreError};
use entities::notice::{Column, Entity, Model};
use entities::notice_line::{Column as Line, Entity as Lines};

/// A notice that an answer is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Matched {
    id: i64,
    /// Number.
    pub number: String,
    /// Whom it was for.
    pub person: String,
    /// Where it went.
    pub recipient: String,
    /// Its Message-ID.
    pub message_id: String,
    /// What an answer must bring back.
    pub token: String,
}

/// An answer to be stored.
#[derive(Clone, Debug)]
pub struct Answered {
    /// Line; none: the whole notice.
    pub line: Option<i64>,
    /// `done`, `later`, `not here` or `read`.
    pub answer: String,
    /// Who gave it.
    pub sender: String,
    /// When.
    pub said_at: Instant,
    /// The mail it came in.
    pub mail: String,
    /// What was added.
    pub note: Option<String>,
}

impl From<Model> for Matched {
    fn from(row: Model) -> Matched {
        Matched {
            id: row.id,
            number: row.number,
            person: row.person,
            recipient: row.recipient,
            message_id: row.message_id,
            token: row.token,
        }
    }
}

impl Store {
    /// The notice with a number.
    ///
    /// # Errors
    /// The database's own.
    pub async fn notice_numbered(&self, number: &str) -> Result<Option<Matched>, StoreError> {
        let found = Entity::find().filter(Column::Number.eq(number)).one(&self.db).await;
        Ok(found.map_err(StoreError::while_("looking a notice up"))?.map(Matched::from))
    }

    /// The first of these Message-IDs that is a notice's.
    ///
    /// # Errors
    /// The database's own.
    pub async fn notice_by_ids(&self, ids: &[String]) -> Result<Option<Matched>, StoreError> {
        for id in ids {
            let found = Entity::find().filter(Column::MessageId.eq(id)).one(&self.db).await;
            if let Some(found) = found.map_err(StoreError::while_("looking a notice up"))? {
                return Ok(Some(found.into()));
            }
        }
        Ok(None)
    }

    /// Item and rule of a line of a notice, or of all its lines.
    ///
    /// # Errors
    /// The database's own.
    pub async fn lines_answered(
        &self,
        notice: &Matched,
        line: Option<i64>,
    ) -> Result<Vec<(String, String)>, StoreError> {
        let mut lines = Lines::find()
            .filter(Line::Notice.eq(notice.id))
            .filter(Line::Line.gt(0))
            .order_by_asc(Line::Line);
        if let Some(line) = line {
            lines = lines.filter(Line::Line.eq(line));
        }
        let rows = lines.all(&self.db).await.map_err(StoreError::while_("reading a notice's lines"))?;
        Ok(rows.into_iter().map(|row| (row.item, row.rule)).collect())
    }

    /// The line on which a notice told of a piece of work.
    ///
    /// # Errors
    /// The database's own.
    pub async fn line_of(&self, notice: &Matched, item: &str, rule: &str) -> Result<Option<i64>, StoreError> {
        let line = Lines::find()
            .filter(Line::Notice.eq(notice.id))
            .filter(Line::Item.eq(item))
            .filter(Line::Rule.eq(rule))
            .filter(Line::Line.gt(0))
            .order_by_asc(Line::Line);
        let found = line.one(&self.db).await.map_err(StoreError::while_("reading a notice's lines"))?;
        Ok(found.map(|row| row.line))
    }

    /// How often a person's answers were acknowledged since a moment.
    ///
    /// # Errors
    /// The database's own.
    pub async fn acknowledged_since(&self, person: &str, since: Instant) -> Result<u64, StoreError> {
        let sent = Entity::find()
            .filter(Column::Kind.eq("acknowledgement"))
            .filter(Column::Person.eq(person))
            .filter(Column::ComposedAt.gte(since.0));
        sent.count(&self.db).await.map_err(StoreError::while_("counting acknowledgements"))
    }

    /// The next acknowledgement's number.
    ///
    /// # Errors
    /// The database's own.
    pub async fn next_acknowledgement(&self) -> Result<u64, StoreError> {
        let sent = Entity::find().filter(Column::Kind.eq("acknowledgement"));
        let count = sent.count(&self.db).await;
        Ok(count.map_err(StoreError::while_("numbering acknowledgements"))? + 1)
    }
}

impl Writer {
    /// Stores an answer; false where the same mail said the same before.
    ///
    /// # Errors
    /// The database's own.
    pub async fn note_answer(
        &mut self,
        notice: &Matched,
        answered: &Answered,
        now: Instant,
    ) -> Result<bool, StoreError> {
        use entities::notice_answer::{ActiveModel, Column as Answer, Entity as Answers};
        let doing = StoreError::while_("noting an answer");
        let same = Answers::find()
            .filter(Answer::Mail.eq(&answered.mail))
            .filter(Answer::Notice.eq(notice.id))
            .filter(match answered.line {
                Some(line) => Answer::Line.eq(line),
                None => Answer::Line.is_null(),
            });
        if same.count(&self.tx).await.map_err(&doing)? > 0 {
            return Ok(false);
        }
        let row = ActiveModel {
            notice: Set(notice.id),
            line: Set(answered.line),
            answer: Set(answered.answer.clone()),
            sender: Set(answered.sender.clone()),
            said_at: Set(answered.said_at.0),
            noted_at: Set(now.0),
            mail: Set(answered.mail.clone()),
            note: Set(answered.note.clone()),
            ..Default::default()
        };
        row.insert(&self.tx).await.map_err(doing)?;
        Ok(true)
    }

    /// Marks a notice as come back, and its address as one that mail comes back from.
    ///
    /// # Errors
    /// The database's own.
    pub async fn came_back(&mut self, notice: &Matched, why: &str, now: Instant) -> Result<(), StoreError> {
        use entities::bad_address::{ActiveModel, Column as Address, Entity as Addresses};
        let doing = StoreError::while_("marking a notice as come back");
        let marked = Entity::update_many()
            .col_expr(Column::State, Expr::value(State::Bounced.word()))
            .col_expr(Column::LastError, Expr::value(format!("came back: {why}")))
            .filter(Column::Id.eq(notice.id))
            .exec(&self.tx)
            .await;
        marked.map_err(&doing)?;
        let row = ActiveModel {
            address: Set(notice.recipient.clone()),
            since: Set(now.0),
            why: Set(why.to_owned()),
            notice: Set(Some(notice.number.clone())),
            cleared_at: Set(None),
            cleared_by: Set(None),
        };
        let again = OnConflict::column(Address::Address)
            .update_columns([Address::Why, Address::Notice, Address::ClearedAt, Address::ClearedBy])
            .to_owned();
        let inserted = Addresses::insert(row).on_conflict(again).exec_without_returning(&self.tx).await;
        inserted.map(drop).map_err(doing)
    }

    /// Lets an address be written to again; false where mail did not come back from it.
    ///
    /// # Errors
    /// The database's own.
    pub async fn clear_address(&mut self, address: &str, by: &str, now: Instant) -> Result<bool, StoreError> {
        use entities::bad_address::{Column as Address, Entity as Addresses};
        let cleared = Addresses::update_many()
            .col_expr(Address::ClearedAt, Expr::value(now.0))
            .col_expr(Address::ClearedBy, Expr::value(by))
            .filter(Address::Address.eq(address))
            .filter(Address::ClearedAt.is_null())
            .exec(&self.tx)
            .await;
        let cleared = cleared.map_err(StoreError::while_("clearing an address"))?;
        Ok(cleared.rows_affected > 0)
    }
}
