//! What waits to be sent, looked through by a person before a copy of a store goes into service.

use entities::notice::{Column, Entity};
use policies::zone::Instant;
use sea_orm::sea_query::Expr;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use super::{State, UNSETTLED};
use crate::store::{Store, StoreError};

/// A notice that waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiting {
    /// Number.
    pub number: String,
    /// Address.
    pub recipient: String,
    /// Subject.
    pub subject: String,
    /// State in words.
    pub state: String,
    /// When it was composed.
    pub composed_at: Instant,
}

impl Store {
    /// Everything that waits to be sent, the oldest first.
    ///
    /// # Errors
    /// The database's own.
    pub async fn unsent(&self) -> Result<Vec<Waiting>, StoreError> {
        let rows = Entity::find().filter(Expr::cust(UNSETTLED)).order_by_asc(Column::Id);
        let rows = rows.select_only().columns([
            Column::Number,
            Column::Recipient,
            Column::Subject,
            Column::State,
            Column::ComposedAt,
        ]);
        let rows: Vec<(String, String, String, String, i64)> = rows
            .into_tuple()
            .all(&self.db)
            .await
            .map_err(StoreError::while_("listing what waits to be sent"))?;
        let waiting = rows.into_iter().map(|(number, recipient, subject, state, composed_at)| Waiting {
            number,
            recipient,
            subject,
            state,
            composed_at: Instant(composed_at),
        });
        Ok(waiting.collect())
    }

    /// Lets a waiting notice count as told without sending it; false where none of that number waits.
    ///
    /// # Errors
    /// The database's own.
    pub async fn drop_unsent(&self, number: &str, now: Instant) -> Result<bool, StoreError> {
        let open = State::OPEN.into_iter().chain(State::IN_HAND).map(State::word);
        let dropped = Entity::update_many()
            .col_expr(Column::State, Expr::value(State::Cancelled.word()))
            .col_expr(Column::DroppedAt, Expr::value(now.0))
            .col_expr(Column::LastError, Expr::value("not sent: it counts as told, by a person's word"))
            .filter(Column::Number.eq(number))
            .filter(Column::State.is_in(open));
        let dropped = dropped.exec(&self.db).await.map_err(StoreError::while_("dropping a notice"))?;
        Ok(dropped.rows_affected == 1)
    }
}
