//! Leases: which of several daemons does a thing now. They only spare work: what must be done once is held together
//! by unique keys and guarded updates, so that two who both believe they lead do no harm.

use policies::zone::Instant;
use sea_orm::sea_query::{Expr, OnConflict};
use sea_orm::{ColumnTrait, EntityTrait, ExprTrait, QueryFilter, QuerySelect, Set};

use super::{Store, StoreError};
use entities::lease::{ActiveModel, Column, Entity};

/// A lease held: every change of it names its holder and its fencing number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lease {
    /// What it is for.
    pub name: String,
    /// Who holds it.
    pub holder: String,
    /// Counts up with every new holder.
    pub fence: i64,
}

impl Store {
    /// Takes a lease until a moment, unless somebody else holds it beyond `now`.
    ///
    /// # Errors
    /// The database's own.
    pub async fn take_lease(
        &self,
        name: &str,
        holder: &str,
        now: Instant,
        until: Instant,
    ) -> Result<Option<Lease>, StoreError> {
        let doing = StoreError::while_("taking a lease");
        let first = ActiveModel {
            name: Set(name.to_owned()),
            holder: Set(holder.to_owned()),
            fence: Set(1),
            until: Set(until.0),
        };
        let nobody =
            Entity::insert(first).on_conflict(OnConflict::column(Column::Name).do_nothing().to_owned());
        let begun = nobody.exec_without_returning(&self.db).await.map_err(&doing)?;
        if begun == 0 {
            let lapsed = Entity::update_many()
                .col_expr(Column::Holder, Expr::value(holder))
                .col_expr(Column::Fence, Expr::col(Column::Fence).add(1))
                .col_expr(Column::Until, Expr::value(until.0))
                .filter(Column::Name.eq(name))
                .filter(Column::Until.lte(now.0));
            let taken = lapsed.exec(&self.db).await.map_err(&doing)?;
            if taken.rows_affected == 0 {
                return Ok(None);
            }
        }
        let mine = Entity::find().select_only().column(Column::Fence);
        let mine = mine.filter(Column::Name.eq(name)).filter(Column::Holder.eq(holder));
        let fence: Option<i64> = mine.into_tuple().one(&self.db).await.map_err(&doing)?;
        Ok(fence.map(|fence| Lease { name: name.to_owned(), holder: holder.to_owned(), fence }))
    }

    /// Who holds a lease now.
    ///
    /// # Errors
    /// The database's own.
    pub async fn lease_holder(&self, name: &str, now: Instant) -> Result<Option<String>, StoreError> {
        let held = Entity::find_by_id(name.to_owned()).filter(Column::Until.gt(now.0)).one(&self.db).await;
        Ok(held.map_err(StoreError::while_("looking who holds a lease"))?.map(|row| row.holder))
    }

    /// Holds a lease longer; false when it is in other hands by now.
    ///
    /// # Errors
    /// The database's own.
    pub async fn renew_lease(&self, lease: &Lease, until: Instant) -> Result<bool, StoreError> {
        let held = Entity::update_many()
            .col_expr(Column::Until, Expr::value(until.0))
            .filter(Column::Name.eq(lease.name.as_str()))
            .filter(Column::Holder.eq(lease.holder.as_str()))
            .filter(Column::Fence.eq(lease.fence));
        let held = held.exec(&self.db).await.map_err(StoreError::while_("renewing a lease"))?;
        Ok(held.rows_affected == 1)
    }

    /// Gives a lease back, so that nobody waits for it to lapse.
    ///
    /// # Errors
    /// The database's own.
    pub async fn release_lease(&self, lease: &Lease) -> Result<(), StoreError> {
        self.renew_lease(lease, Instant(i64::MIN)).await.map(drop)
    }
}

/// One daemon of several, asked again and again whether it leads.
#[derive(Debug)]
pub struct Leader {
    name: &'static str,
    holder: String,
    lasts_micros: i64,
    held: Option<Lease>,
}

impl Leader {
    /// Not leading yet.
    pub fn new(name: &'static str, holder: String, lasts_micros: i64) -> Leader {
        Leader { name, holder, lasts_micros, held: None }
    }

    /// Whether it leads now: always, where a store has one daemon only.
    ///
    /// # Errors
    /// The database's own.
    pub async fn leads(&mut self, store: &Store, now: Instant) -> Result<bool, StoreError> {
        if !store.is_shared() {
            return Ok(true);
        }
        let until = Instant(now.0.saturating_add(self.lasts_micros));
        if let Some(lease) = self.held.take()
            && store.renew_lease(&lease, until).await?
        {
            self.held = Some(lease);
            return Ok(true);
        }
        self.held = store.take_lease(self.name, &self.holder, now, until).await?;
        Ok(self.held.is_some())
    }

    /// Leads no longer.
    ///
    /// # Errors
    /// The database's own.
    pub async fn resign(&mut self, store: &Store) -> Result<(), StoreError> {
        match self.held.take() {
            Some(lease) => store.release_lease(&lease).await,
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000_000;

    #[tokio::test]
    async fn a_lease_has_one_holder_and_its_number_only_counts_up() {
        let store = Store::in_memory().await.unwrap();
        let take = async |holder: &str, at: i64| {
            store.take_lease("sweep", holder, Instant(at), Instant(at + MINUTE)).await.unwrap()
        };
        let first = take("a", 0).await.unwrap();
        assert_eq!(first.fence, 1);
        assert_eq!(take("b", MINUTE - 1).await, None);
        assert!(store.renew_lease(&first, Instant(2 * MINUTE)).await.unwrap());
        assert_eq!(take("b", MINUTE).await, None);
        let second = take("b", 2 * MINUTE).await.unwrap();
        assert_eq!(second.fence, 2);
        // The first wakes up and must not believe that it leads.
        assert!(!store.renew_lease(&first, Instant(9 * MINUTE)).await.unwrap());
        store.release_lease(&first).await.unwrap();
        assert_eq!(take("c", 2 * MINUTE + 1).await, None);
        store.release_lease(&second).await.unwrap();
        assert_eq!(take("c", 2 * MINUTE + 2).await.unwrap().fence, 3);
    }
}
