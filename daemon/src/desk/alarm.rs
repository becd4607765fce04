//! Scrapped gear seen again is told in the daemon's own log as soon as it is entered.

use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId};

use super::Desk;
use crate::doubts::says;

impl Desk {
    /// Raises the alarm for those of the items that are scrapped and were seen again.
    pub(super) fn alarm(&self, fleet: &Fleet, items: &[ItemId]) {
        let evaluator = Evaluator::without_forecasts(&self.set, fleet, self.as_of());
        for doubt in items.iter().filter_map(|id| evaluator.scrapped(*id)) {
            tracing::error!("{}", says(&self.set, fleet, &doubt));
        }
    }
}
