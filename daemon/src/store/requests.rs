//! Requests of other programs by their keys. Which of several copies came first is decided by one insert that finds
//! its place empty.

use policies::zone::Instant;
use sea_orm::sea_query::{Expr, OnConflict};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};

use super::{Store, StoreError, Writer};
use entities::api_request::{ActiveModel, Column, Entity};

pub use entities::api_request::Model as Request;
pub use entities::link::Model as Link;

impl Store {
    /// The request of a key: the one that came first, which may be this one. Those older than `stale` are forgotten.
    ///
    /// # Errors
    /// The database's own.
    pub async fn begin_request(
        &self,
        person: &str,
        name: &str,
        digest: &str,
        now: Instant,
        stale: Instant,
    ) -> Result<Request, StoreError> {
        let doing = StoreError::while_("keeping the key of a request");
        let old = Entity::delete_many().filter(Column::At.lt(stale.0)).exec(&self.db).await;
        old.map_err(&doing)?;
        let row = ActiveModel {
            person: Set(person.to_owned()),
            name: Set(name.to_owned()),
            digest: Set(digest.to_owned()),
            at: Set(now.0),
            answer: Set(None),
        };
        let keep = OnConflict::columns([Column::Person, Column::Name]).do_nothing().to_owned();
        let made = Entity::insert(row).on_conflict(keep).exec_without_returning(&self.db).await;
        made.map_err(&doing)?;
        let found =
            Entity::find_by_id((person.to_owned(), name.to_owned())).one(&self.db).await.map_err(&doing)?;
        // Dropped by another copy in this very moment: this one then stands for itself.
        let own = || Request {
            person: person.to_owned(),
            name: name.to_owned(),
            digest: digest.to_owned(),
            at: now.0,
            answer: None,
        };
        Ok(found.unwrap_or_else(own))
    }

    /// Keeps the answer to a request, unless one is kept; the answer that is kept then.
    ///
    /// # Errors
    /// The database's own.
    pub async fn answer_request(
        &self,
        person: &str,
        name: &str,
        answer: &str,
    ) -> Result<Option<String>, StoreError> {
        keep_answer(&self.db, person, name, answer).await?;
        answer_of(&self.db, person, name).await
    }

    /// Forgets a request that was refused, so that it can be put right under the same key.
    ///
    /// # Errors
    /// The database's own.
    pub async fn drop_request(&self, person: &str, name: &str) -> Result<(), StoreError> {
        let gone = Entity::delete_many()
            .filter(Column::Person.eq(person))
            .filter(Column::Name.eq(name))
            .filter(Column::Answer.is_null());
        gone.exec(&self.db).await.map(drop).map_err(StoreError::while_("forgetting a request"))
    }

    /// The links of the record chain behind a number, in their order.
    ///
    /// # Errors
    /// The database's own.
    pub async fn links_after(&self, seq: i64, most: u64) -> Result<Vec<Link>, StoreError> {
        use entities::link::{Column, Entity};
        let links = Entity::find().filter(Column::Seq.gt(seq)).order_by_asc(Column::Seq).limit(most);
        links.all(&self.db).await.map_err(StoreError::while_("reading the record chain"))
    }
}

impl Writer {
    /// The answer to a request, as this transaction sees it.
    ///
    /// # Errors
    /// The database's own.
    pub async fn request_answer(&self, person: &str, name: &str) -> Result<Option<String>, StoreError> {
        answer_of(&self.tx, person, name).await
    }

    /// Keeps the answer to a request with the rows it is about, unless one is kept.
    ///
    /// # Errors
    /// The database's own.
    pub async fn keep_answer(&mut self, person: &str, name: &str, answer: &str) -> Result<(), StoreError> {
        keep_answer(&self.tx, person, name, answer).await
    }
}

async fn keep_answer(
    db: &impl ConnectionTrait,
    person: &str,
    name: &str,
    answer: &str,
) -> Result<(), StoreError> {
    let kept = Entity::update_many()
        .col_expr(Column::Answer, Expr::value(answer))
        .filter(Column::Person.eq(person))
        .filter(Column::Name.eq(name))
        .filter(Column::Answer.is_null());
    kept.exec(db).await.map(drop).map_err(StoreError::while_("keeping the answer to a request"))
}

async fn answer_of(
    db: &impl ConnectionTrait,
    person: &str,
    name: &str,
) -> Result<Option<String>, StoreError> {
    let found = Entity::find_by_id((person.to_owned(), name.to_owned())).one(db).await;
    let found = found.map_err(StoreError::while_("reading the answer to a request"))?;
    Ok(found.and_then(|row| row.answer))
}
