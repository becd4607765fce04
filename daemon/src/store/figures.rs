//! Counts of what is kept, for whoever watches the service: no names, no addresses.

use policies::zone::Instant;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use super::outbox::State;
use super::{Store, StoreError};

impl Store {
    /// Notices by state.
    ///
    /// # Errors
    /// The database's own.
    pub async fn notices_by_state(&self) -> Result<Vec<(String, i64)>, StoreError> {
        use entities::notice::{Column, Entity};
        let counted =
            Entity::find().select_only().column(Column::State).column_as(Column::Id.count(), "number");
        let counted = counted.group_by(Column::State).order_by_asc(Column::State);
        counted.into_tuple().all(&self.db).await.map_err(StoreError::while_("counting notices"))
    }

    /// Since when the oldest notice that is not sent was to go out.
    ///
    /// # Errors
    /// The database's own.
    pub async fn oldest_unsent(&self) -> Result<Option<Instant>, StoreError> {
        use entities::notice::{Column, Entity};
        let open = State::OPEN.into_iter().chain(State::IN_HAND).map(State::word);
        let oldest = Entity::find().filter(Column::State.is_in(open)).order_by_asc(Column::DueAt).limit(1);
        let found =
            oldest.one(&self.db).await.map_err(StoreError::while_("looking for the oldest notice"))?;
        Ok(found.map(|row| Instant(row.due_at)))
    }

    /// Rows of the due table by standing.
    ///
    /// # Errors
    /// The database's own.
    pub async fn due_by_standing(&self) -> Result<Vec<(String, i64)>, StoreError> {
        use entities::due::{Column, Entity};
        let counted =
            Entity::find().select_only().column(Column::Standing).column_as(Column::Item.count(), "number");
        let counted = counted.group_by(Column::Standing).order_by_asc(Column::Standing);
        counted.into_tuple().all(&self.db).await.map_err(StoreError::while_("counting due rows"))
    }
}
