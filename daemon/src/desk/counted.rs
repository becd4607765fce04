//! Which of the newest links only counted launches and recoveries on: pages may be behind by those for a moment.

use std::sync::{Mutex, PoisonError};

use policies::rule::Event;

use super::Desk;
use crate::records::Usage;

/// A run of links that only counted use on: behind the first head, up to the last.
#[derive(Debug, Default)]
pub(super) struct Run(Mutex<(i64, i64)>);

impl Run {
    /// Adds the links behind `before`, up to `after`.
    pub(super) fn add(&self, before: i64, after: i64) {
        let mut run = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        *run = if run.1 == before { (run.0, after) } else { (before, after) };
    }

    fn holds(&self, from: i64, to: i64) -> bool {
        let run = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        run.0 <= from && to <= run.1
    }
}

impl Desk {
    /// Whether everything between two heads of the chain only counted use on, and was logged here.
    pub(crate) async fn only_counted(&self, from: i64, to: i64) -> bool {
        if self.counted.holds(from, to) {
            return true;
        }
        // A link stands before it is noted what it was: whoever is writing it holds the fleet until then.
        drop(self.warm.lock().await);
        self.counted.holds(from, to)
    }

    /// Whether rows of use are counts behind which no rule holds gear at once: no shock, no note, no
    /// reading of a dial.
    pub(super) fn only_counts(&self, rows: &[Usage]) -> bool {
        let happens = |row: &Usage| {
            let meter = self.set.kinds.find_meter(&row.meter);
            let mut at_once =
                self.set.rules.iter().flat_map(|rule| &rule.after).filter(|clause| clause.within.is_zero());
            at_once.any(|clause| matches!(clause.event, Event::Meter(of) if Some(of) == meter))
        };
        rows.iter().all(|row| row.count.is_some() && row.note.is_none() && !happens(row))
    }
}
