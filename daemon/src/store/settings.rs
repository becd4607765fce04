//! Settings that are forgotten again.

use sea_orm::EntityTrait;

use super::write::Writer;
use super::{Store, StoreError};

impl Writer {
    /// Forgets a setting; one that is not there is forgotten already.
    ///
    /// # Errors
    /// The database's own.
    pub async fn forget(&mut self, name: &str) -> Result<(), StoreError> {
        let gone = entities::setting::Entity::delete_by_id(name.to_owned()).exec(&self.tx).await;
        gone.map(drop).map_err(StoreError::while_("forgetting a setting"))
    }
}

impl Store {
    /// Remembers a setting in a transaction of its own.
    ///
    /// # Errors
    /// The database's own.
    pub async fn note(&self, deed: super::write::Deed, name: &str, value: &str) -> Result<(), StoreError> {
        self.write(deed, async |tx: &mut Writer| tx.remember(name, value).await).await
    }
}
