//! How often somebody guessed: kept with the store, so that it outlives a start and is shared by several daemons.

use policies::zone::Instant;
use sea_orm::sea_query::{Expr, OnConflict};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, Set};

use crate::store::{Store, StoreError};
use entities::throttle::{ActiveModel, Column, Entity};

/// How often it was guessed under a name, and when the next guess is looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Guesses {
    /// Guesses since the last right one.
    pub failures: i64,
    /// Before then none is looked at.
    pub next_at: i64,
}

impl Store {
    /// The guesses under a name.
    ///
    /// # Errors
    /// The database's own.
    pub async fn guesses(&self, name: &str) -> Result<Guesses, StoreError> {
        let found = Entity::find_by_id(name.to_owned()).one(&self.db).await;
        let found = found.map_err(StoreError::while_("looking how often was guessed"))?;
        Ok(found.map_or(Guesses::default(), |row| Guesses { failures: row.failures, next_at: row.next_at }))
    }

    /// Counts a guess before it is looked at; false where another came first. Names not guessed at since `stale` are
    /// forgotten.
    ///
    /// # Errors
    /// The database's own.
    pub async fn count_guess(
        &self,
        name: &str,
        seen: Guesses,
        then: Guesses,
        stale: Instant,
    ) -> Result<bool, StoreError> {
        let doing = StoreError::while_("counting a guess");
        if seen == Guesses::default() {
            let old = Entity::delete_many().filter(Column::NextAt.lt(stale.0)).exec(&self.db).await;
            old.map_err(&doing)?;
            let row = ActiveModel { name: Set(name.to_owned()), failures: Set(0), next_at: Set(0) };
            let keep = OnConflict::column(Column::Name).do_nothing().to_owned();
            let made = Entity::insert(row).on_conflict(keep).exec_without_returning(&self.db).await;
            made.map_err(&doing)?;
        }
        let counted = Entity::update_many()
            .col_expr(Column::Failures, Expr::value(then.failures))
            .col_expr(Column::NextAt, Expr::value(then.next_at))
            .filter(Column::Name.eq(name))
            .filter(Column::Failures.eq(seen.failures))
            .filter(Column::NextAt.eq(seen.next_at));
        let counted = counted.exec(&self.db).await.map_err(doing)?;
        Ok(counted.rows_affected == 1)
    }

    /// Forgets the guesses under a name.
    ///
    /// # Errors
    /// The database's own.
    pub async fn forget_guesses(&self, name: &str) -> Result<(), StoreError> {
        let gone = Entity::delete_by_id(name.to_owned()).exec(&self.db).await;
        gone.map(drop).map_err(StoreError::while_("forgetting guesses"))
    }
}
