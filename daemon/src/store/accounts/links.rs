//! Links that only read, of one person: listed and revoked.

use policies::zone::Instant;
use sea_orm::sea_query::Expr;
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter, QueryOrder};

use super::ViewLink;
use crate::store::{Store, StoreError};
use entities::view_link::{Column, Entity};

impl Store {
    /// Keeps a link.
    ///
    /// # Errors
    /// The database's own.
    pub async fn keep_link(&self, link: ViewLink) -> Result<(), StoreError> {
        let kept = Entity::insert(link.into_active_model()).exec_without_returning(&self.db).await;
        kept.map(drop).map_err(StoreError::while_("keeping a link"))
    }

    /// Links of somebody that open what begins so, revoked ones left out.
    ///
    /// # Errors
    /// The database's own.
    pub async fn links_of(&self, person: &str, opens: &str) -> Result<Vec<ViewLink>, StoreError> {
        let own = Entity::find()
            .filter(Column::Person.eq(person))
            .filter(Column::Opens.starts_with(opens))
            .filter(Column::RevokedAt.is_null());
        let own = own.order_by_asc(Column::MadeAt).all(&self.db).await;
        own.map_err(StoreError::while_("reading links"))
    }

    /// Revokes a link of somebody by its digest; false where there is none.
    ///
    /// # Errors
    /// The database's own.
    pub async fn revoke_link(&self, person: &str, digest: &str, now: Instant) -> Result<bool, StoreError> {
        let revoked = Entity::update_many()
            .col_expr(Column::RevokedAt, Expr::value(now.0))
            .filter(Column::Person.eq(person))
            .filter(Column::Digest.eq(digest))
            .filter(Column::RevokedAt.is_null());
        let revoked = revoked.exec(&self.db).await.map_err(StoreError::while_("revoking a link"))?;
        Ok(revoked.rows_affected == 1)
    }
}
