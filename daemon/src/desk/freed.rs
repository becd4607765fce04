//! What a correction would put back into service: gear set aside, failed, discarded, withdrawn or on hold.

use std::collections::BTreeSet;

use jiff::civil::Date;
use policies::due::Evaluator;
use policies::facts::Fleet;
use policies::holds::Hold;
use policies::load::PolicySet;
use policies::quarantine::Shut;

/// Every item that could not be used before and could after, with why it could not, in the order of the fleet.
pub(super) fn freed(set: &PolicySet, before: &Fleet, after: &Fleet, today: Date) -> Vec<String> {
    let old = Evaluator::without_forecasts(set, before, today);
    let new = Evaluator::without_forecasts(set, after, today);
    let mut found = Vec::new();
    for id in before.ids() {
        let tag = &before.item(id).tag;
        let shut = old.shut(id).filter(|_| after.find(tag).is_none_or(|now| new.shut(now).is_none()));
        found.extend(shut.map(|shut| format!("{tag} ({})", word(shut))));
    }
    let held = on_hold(&new, after);
    found.extend(
        on_hold(&old, before)
            .into_iter()
            .filter(|tag| !held.contains(tag))
            .map(|tag| format!("{tag} (on hold)")),
    );
    found
}

fn on_hold(evaluator: &Evaluator, fleet: &Fleet) -> BTreeSet<String> {
    let holds = evaluator.holds();
    holds.iter().flat_map(Hold::open).map(|held| fleet.item(held.item).tag.to_string()).collect()
}

/// Why an item must not be used, in a word.
pub(crate) fn word(shut: Shut) -> &'static str {
    match shut {
        Shut::Withdrawn(_) => "withdrawn",
        Shut::Quarantined(_) => "in quarantine",
        Shut::Failed(_) => "work on it failed",
        Shut::Condemned(_) => "beyond a discard criterion",
    }
}
