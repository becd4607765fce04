//! Which items must not be used, and since when: set aside by a person, by failed work, or for good.

use crate::due::Evaluator;
use crate::facts::{Done, ItemId, Outcome, State, StateChange};
use crate::zone::Instant;

/// Why an item must not be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shut {
    /// Out of service for good.
    Withdrawn(Instant),
    /// Set aside by a person.
    Quarantined(Instant),
    /// Work on it failed, and nothing since has cleared it.
    Failed(Done),
}

impl Evaluator<'_> {
    /// Why an item must not be used at the as-of date, if it must not.
    pub fn shut(&self, id: ItemId) -> Option<Shut> {
        let item = self.fleet.item(id);
        let cutoff = self.cutoff(item);
        let states: Vec<StateChange> =
            item.states.iter().filter(|change| change.at < cutoff).copied().collect();
        if let Some(change) = states.iter().find(|change| change.state == State::Withdrawn) {
            return Some(Shut::Withdrawn(change.at));
        }
        let failed =
            item.works.iter().rev().filter(|done| done.outcome == Outcome::Failed && done.at < cutoff);
        let standing = failed.copied().find(|done| !self.is_cleared(id, done, &states));
        let set_aside = states.last().filter(|change| change.state == State::Quarantined);
        set_aside.map(|change| Shut::Quarantined(change.at)).or(standing.map(Shut::Failed))
    }

    /// Passed or done work that counts for the rule, or a release, strictly later: at the same moment the
    /// failure counts as the later.
    fn is_cleared(&self, id: ItemId, failed: &Done, states: &[StateChange]) -> bool {
        let item = self.fleet.item(id);
        let released = states.iter().any(|change| change.state == State::Released && change.at > failed.at);
        released || self.counting(item, failed.rule).any(|done| done.at > failed.at)
    }
}
