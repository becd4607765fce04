//! Remembered settings: what the daemon knows of itself from one run to the next.

use std::collections::HashMap;

use sea_orm::sea_query::OnConflict;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, Set};

use super::write::{Deed, Writer};
use super::{KEYS, Store, StoreError};
use entities::setting::{ActiveModel, Column, Entity};

impl Store {
    /// A remembered setting.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remembered(&self, name: &str) -> Result<Option<String>, StoreError> {
        recall(&self.db, name).await
    }

    /// Every remembered setting whose name begins so, by the rest of its name.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remembered_under(&self, prefix: &str) -> Result<HashMap<String, String>, StoreError> {
        let found = Entity::find().filter(Column::Name.starts_with(prefix)).all(&self.db).await;
        let found = found.map_err(StoreError::while_("recalling settings"))?;
        Ok(found.into_iter().map(|row| (row.name[prefix.len()..].to_owned(), row.value)).collect())
    }

    /// The remembered ones among settings of these names, by name.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remembered_of(&self, names: &[String]) -> Result<HashMap<String, String>, StoreError> {
        let mut all = HashMap::new();
        for chunk in names.chunks(KEYS) {
            let found = Entity::find().filter(Column::Name.is_in(chunk)).all(&self.db).await;
            let found = found.map_err(StoreError::while_("recalling settings"))?;
            all.extend(found.into_iter().map(|row| (row.name, row.value)));
        }
        Ok(all)
    }

    /// Remembers a setting by itself, beside any record.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remember(&self, name: &str, value: &str) -> Result<(), StoreError> {
        keep(&self.db, name, value).await
    }

    /// Forgets a setting, remembered or not.
    ///
    /// # Errors
    /// The database's own.
    pub async fn forget(&self, name: &str) -> Result<(), StoreError> {
        let gone = Entity::delete_by_id(name.to_owned()).exec(&self.db).await;
        gone.map(drop).map_err(StoreError::while_("forgetting a setting"))
    }
}

impl Store {
    /// Remembers a setting in a transaction of its own, in turn with every other write.
    ///
    /// # Errors
    /// The database's own.
    pub async fn note(&self, deed: Deed, name: &str, value: &str) -> Result<(), StoreError> {
        self.write(deed, async |tx: &mut Writer| tx.remember(name, value).await).await
    }
}

impl Writer {
    /// A remembered setting, as this transaction sees it.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remembered(&self, name: &str) -> Result<Option<String>, StoreError> {
        recall(&self.tx, name).await
    }

    /// Remembers a setting.
    ///
    /// # Errors
    /// The database's own.
    pub async fn remember(&mut self, name: &str, value: &str) -> Result<(), StoreError> {
        keep(&self.tx, name, value).await
    }

    /// Forgets a setting; one that is not there is forgotten already.
    ///
    /// # Errors
    /// The database's own.
    pub async fn forget(&mut self, name: &str) -> Result<(), StoreError> {
        let gone = Entity::delete_by_id(name.to_owned()).exec(&self.tx).await;
        gone.map(drop).map_err(StoreError::while_("forgetting a setting"))
    }
}

async fn recall(db: &impl ConnectionTrait, name: &str) -> Result<Option<String>, StoreError> {
    let found = Entity::find_by_id(name.to_owned()).one(db).await;
    Ok(found.map_err(StoreError::while_("recalling a setting"))?.map(|row| row.value))
}

async fn keep(db: &impl ConnectionTrait, name: &str, value: &str) -> Result<(), StoreError> {
    let row = ActiveModel { name: Set(name.to_owned()), value: Set(value.to_owned()) };
    let replace = OnConflict::column(Column::Name).update_column(Column::Value).to_owned();
    let written = Entity::insert(row).on_conflict(replace).exec_without_returning(db).await;
    written.map(drop).map_err(StoreError::while_("remembering a setting"))
}
