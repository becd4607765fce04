//! The plan of spares for pages, kept beside the chain's head and the day: a clerk who goes from page to page waits for
//! it once.

use std::sync::Arc;

use jiff::civil::Date;
use policies::as_of::AsOf;
use tokio::sync::Mutex;

use super::{Desk, DeskError};
use crate::stores::kept;
use crate::stores::seen::Seen;

/// The chain's head, the day at home, whether it is read as of now, and the day by which it was known.
type Key = (i64, Date, bool, Option<Date>);

/// The latest plan.
pub(super) type Kept = Mutex<Option<(Key, Arc<Seen>)>>;

impl Desk {
    /// Stores as they are seen on a day.
    ///
    /// # Errors
    /// The store's failure.
    pub(crate) async fn stores(&self, judged: AsOf, known_on: Option<Date>) -> Result<Arc<Seen>, DeskError> {
        let head = self.store.head().await?.seq;
        let live = matches!(judged, AsOf::Now(_));
        let key = (head, judged.day_in(&self.set.service.home_zone), live, known_on);
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
}
