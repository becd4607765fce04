//! Who is signed in where. A session is kept under the digest of its token.

use policies::zone::Instant;
use sea_orm::sea_query::Expr;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel, QueryFilter, QueryOrder};

use super::Session;
use crate::store::{Store, StoreError};
use entities::session::{Column, Entity};

impl Store {
    /// Opens a session, and forgets those that ended by themselves before `ended`.
    ///
    /// # Errors
    /// The database's own.
    pub async fn open_session(&self, session: Session, ended: Instant) -> Result<(), StoreError> {
        let doing = StoreError::while_("opening a session");
        let old = Entity::delete_many().filter(Column::EndsAt.lt(ended.0)).exec(&self.db).await;
        old.map_err(&doing)?;
        let made = Entity::insert(session.into_active_model()).exec_without_returning(&self.db).await;
        made.map(drop).map_err(doing)
    }

    /// The session of a token's digest.
    ///
    /// # Errors
    /// The database's own.
    pub async fn session(&self, digest: &str) -> Result<Option<Session>, StoreError> {
        let found = Entity::find_by_id(digest.to_owned()).one(&self.db).await;
        found.map_err(StoreError::while_("looking a session up"))
    }

    /// Sessions of somebody, the newest first.
    ///
    /// # Errors
    /// The database's own.
    pub async fn sessions(&self, email: &str) -> Result<Vec<Session>, StoreError> {
        let found = Entity::find().filter(Column::Email.eq(email)).order_by_desc(Column::MadeAt);
        found.all(&self.db).await.map_err(StoreError::while_("reading sessions"))
    }

    /// Notes that a session was used.
    ///
    /// # Errors
    /// The database's own.
    pub async fn touch_session(&self, digest: &str, now: Instant) -> Result<(), StoreError> {
        self.mark(digest, Column::SeenAt, now).await
    }

    /// Notes that somebody signed in again within their session.
    ///
    /// # Errors
    /// The database's own.
    pub async fn sign_session(&self, digest: &str, now: Instant) -> Result<(), StoreError> {
        self.mark(digest, Column::SignedAt, now).await
    }

    async fn mark(&self, digest: &str, column: Column, now: Instant) -> Result<(), StoreError> {
        let marked = Entity::update_many().col_expr(column, Expr::value(now.0));
        let marked = marked.filter(Column::Digest.eq(digest)).exec(&self.db).await;
        marked.map(drop).map_err(StoreError::while_("marking a session"))
    }

    /// Ends one session of somebody; a digest's first letters are enough.
    ///
    /// # Errors
    /// The database's own.
    pub async fn end_session(&self, email: &str, digest: &str) -> Result<bool, StoreError> {
        let own = Entity::delete_many().filter(Column::Email.eq(email));
        let gone = own.filter(Column::Digest.starts_with(digest)).exec(&self.db).await;
        Ok(gone.map_err(StoreError::while_("ending a session"))?.rows_affected > 0)
    }

    /// Ends every session of somebody but one; how many ended.
    ///
    /// # Errors
    /// The database's own.
    pub async fn end_sessions(&self, email: &str, but: Option<&str>) -> Result<u64, StoreError> {
        end(&self.db, email, but).await
    }
}

pub(super) async fn end(
    db: &impl ConnectionTrait,
    email: &str,
    but: Option<&str>,
) -> Result<u64, StoreError> {
    let mut gone = Entity::delete_many().filter(Column::Email.eq(email));
    if let Some(but) = but {
        gone = gone.filter(Column::Digest.ne(but));
    }
    let gone = gone.exec(db).await.map_err(StoreError::while_("ending sessions"))?;
    Ok(gone.rows_affected)
}
