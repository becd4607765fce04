//! The plan of spares for pages, kept beside the chain's head and the day: a clerk who goes from page to page waits for
//! it once.

use std::sync::Arc;

use jiff::civil::Date;
use policies::as_of::AsOf;
use tokio::sync::Mutex;

use super::{Desk, DeskError};
use crate::stores::kept;
use crate::stores::seen::Seen;

/// Everything that the answer hangs on: the chain's head and the policy set, the day at home and in each zone, whether it is
/// read as of now, and the day by which it was known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Key {
    head: i64,
    set: String,
    home: Date,
    days: Vec<Date>,
    live: bool,
    known_on: Option<Date>,
}

/// The latest plan.
pub(super) type Kept = Mutex<Option<(Key, Arc<Seen>)>>;

impl Desk {
    /// Stores as they are seen on a day.
    ///
    /// # Errors
    /// The store's failure.
    pub(crate) async fn stores(&self, judged: AsOf, known_on: Option<Date>) -> Result<Arc<Seen>, DeskError> {
        let key = self.plan_key(judged, known_on).await?;
        let mut latest = self.plan.lock().await;
        if let Some((_, seen)) = latest.as_ref().filter(|(have, _)| *have == key) {
            return Ok(Arc::clone(seen));
        }
        let before = known_on.map(|day| self.known_by(day));
        let kept = kept::Kept::known(&self.store, before).await?;
        let seen = if before.is_some() {
            let loaded = self.store.fleet(&self.set, before).await?;
            Seen::of(&self.set, &loaded.fleet, kept, judged)
        } else {
            self.with_fleet(|fleet| Seen::of(&self.set, fleet, kept, judged)).await?
        };
        let seen = Arc::new(seen);
        *latest = Some((key, Arc::clone(&seen)));
        Ok(seen)
    }

    async fn plan_key(&self, judged: AsOf, known_on: Option<Date>) -> Result<Key, DeskError> {
        let days = |fleet: &policies::facts::Fleet| -> Vec<Date> {
            fleet.zones.iter().map(|zone| judged.day_in(zone)).collect()
        };
        Ok(Key {
            head: self.store.head().await?.seq,
            set: self.set.hash.clone(),
            home: judged.day_in(&self.set.service.home_zone),
            days: self.with_fleet(days).await?,
            live: matches!(judged, AsOf::Now(_)),
            known_on,
        })
    }
}
