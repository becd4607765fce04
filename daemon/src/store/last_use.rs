//! The newest use of some gear.

use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use super::{Store, StoreError, Stored};
use crate::records::Usage;
use entities::usage::{Column, Entity};

impl Store {
    /// The rows of use of these hosts that were written last, the newest first, as they stand: those that were
    /// corrected or taken back since are left out. By row number, which needs no sorting of every log.
    ///
    /// # Errors
    /// The database's own.
    pub async fn last_use(&self, hosts: &[String], rows: u64) -> Result<Vec<Usage>, StoreError> {
        let query = Entity::find()
            .filter(Column::Host.is_in(hosts.iter().map(String::as_str)))
            .order_by_desc(Column::Id)
            .limit(rows);
        let found = query.all(&self.db).await.map_err(StoreError::while_("reading the last use"))?;
        let mut standing = Vec::new();
        for row in found {
            let row = Usage::of_row(row).0;
            if !row.void && self.current::<Usage>(&row.key).await?.as_ref() == Some(&row) {
                standing.push(row);
            }
        }
        Ok(standing)
    }
}
