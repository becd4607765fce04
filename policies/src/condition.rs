//! Conditions on what was measured: clauses that count only while the last reading calls for them.

use crate::facts::{Fleet, ItemId, Taken};
use crate::rule::When;
use crate::usage::Period;
use crate::zone::Instant;

/// The readings that a condition looks at, taken before `before`.
fn taken(fleet: &Fleet, item: ItemId, when: When, before: Instant) -> impl Iterator<Item = &Taken> {
    let own = move |taken: &&Taken| taken.rule == when.of && taken.reading == when.reading;
    fleet.readings(item).iter().filter(own).filter(move |taken| taken.at < before)
}

/// Whether the last reading before `before` meets the bound; of several at that moment, any of them.
pub fn holds(fleet: &Fleet, item: ItemId, when: When, before: Instant) -> bool {
    let last = taken(fleet, item, when, before).map(|taken| taken.at).max();
    taken(fleet, item, when, before).any(|taken| Some(taken.at) == last && when.bound.is_met(taken.value))
}

/// The first reading within a period that meets the bound.
pub fn first(fleet: &Fleet, item: ItemId, when: When, period: Period) -> Option<Instant> {
    let met = taken(fleet, item, when, period.before).filter(|taken| when.bound.is_met(taken.value));
    met.map(|taken| taken.at).filter(|at| period.holds(*at)).min()
}
