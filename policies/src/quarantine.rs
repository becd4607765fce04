//! Which items must not be used, and since when: set aside by a person, by failed work, or for good.

use crate::due::Evaluator;
use crate::facts::{Condemned, Done, Item, ItemId, Outcome, State, StateChange};
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
    /// A reading was beyond its discard criterion, and no person has decided since.
    Condemned(Condemned),
}

impl Evaluator<'_> {
    /// Whether an item is laid up at the as-of date: at the same moment laid up counts as the later.
    pub fn is_laid_up(&self, item: &Item) -> bool {
        let cutoff = self.cutoff(item);
        let last = |state: State| {
            let own = item.states.iter().filter(|change| change.state == state && change.at < cutoff);
            own.map(|change| change.at).max()
        };
        let (laid_up, returned) = (last(State::LaidUp), last(State::Returned));
        laid_up.is_some_and(|at| returned.is_none_or(|back| at >= back))
    }

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
        let word = |change: &&StateChange| matches!(change.state, State::Quarantined | State::Released);
        let set_aside = states.iter().rfind(word).filter(|change| change.state == State::Quarantined);
        let set_aside = set_aside.map(|change| Shut::Quarantined(change.at));
        set_aside.or(standing.map(Shut::Failed)).or(self.condemned(id, &states).map(Shut::Condemned))
    }

    /// The first reading beyond its discard criterion that no release followed: later readings, however good, decide
    /// nothing.
    fn condemned(&self, id: ItemId, states: &[StateChange]) -> Option<Condemned> {
        let cutoff = self.cutoff(self.fleet.item(id));
        let released = |at| states.iter().any(|change| change.state == State::Released && change.at > at);
        let mut found = self.fleet.condemned(id).iter().filter(|found| found.at < cutoff);
        found.find(|found| !released(found.at)).copied()
    }

    /// Passed or done work that counts for the rule, or a release, strictly later: at the same moment the
    /// failure counts as the later.
    fn is_cleared(&self, id: ItemId, failed: &Done, states: &[StateChange]) -> bool {
        let item = self.fleet.item(id);
        let released = states.iter().any(|change| change.state == State::Released && change.at > failed.at);
        released || self.counting(item, failed.rule).any(|done| done.at > failed.at)
    }
}
