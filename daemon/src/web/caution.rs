//! The one sentence of caution that stands where the hand is about to do the thing.

use policies::holds;
use policies::rule::{Event, Rule, Work};

use policies::load::PolicySet;

pub(super) const PLANNING_AID: &str = "This is a planning aid. A competent person decides whether gear is fit; if they and this page differ, the safer view holds.";
pub(super) const HOUSE_FIGURES: &str = "Figures of common practice or the house are not law or a standard; check the others against the current edition.";
pub(super) const IF_IN_DOUBT: &str = "If in doubt, do not use it: tag it, set it aside, tell the engineer.";
pub(super) const BIGHT: &str =
    "Never stand in a bight, in line with a loaded wire or chain, or between tractor, carriage and boat.";
pub(super) const LOAD_OFF: &str =
    "Take the load off before you touch, clear or gauge anything, and never guide a moving wire by hand.";
pub(super) const PROOF_LOADING: &str = "Proof loading is for a test house or those trained, with people clear and a calibrated gauge; it can damage worn gear and does not replace examination.";
pub(super) const NO_REPAIR: &str = "No repair, weld, heat or bend of chain, hook or shackle by the station.";
pub(super) const AFTER_SHOCK: &str = "After a shock load, snag, grounding or overload: stop, hold the whole load path, have it examined. Looking sound is not proof.";
pub(super) const LIMIT: &str = "A date or count is a limit, not a promise that gear lasts that long.";
pub(super) const ODDS: &str = "Forecasts are odds from a few launches; they cannot see the next gale.";
const SECOND_PERSON: &str = "Wade tests, battery and engine work, jacking and dusk tides need their own risk assessment and a second person.";
pub(super) const LAUNCHING_AUTHORITY: &str = "A life-saving call is the coxswain's and launching authority's decision. Tallow neither orders nor forbids a launch; it reports the state of gear.";

/// What to mind while doing the work of a rule.
pub(super) fn of(set: &PolicySet, rule: &Rule) -> &'static str {
    let kind = set.kinds.kind(rule.applies_to.kind);
    let shock = |event: Event| matches!(event, Event::Meter(meter) if holds::is_shock(set, meter));
    if rule.work == Work::ProofLoadTest {
        PROOF_LOADING
    } else if rule.after.iter().any(|clause| shock(clause.event)) {
        AFTER_SHOCK
    } else if rule.before_use {
        IF_IN_DOUBT
    } else if ["tractor", "engine", "final drive", "seal"].contains(&kind.name.as_str()) {
        SECOND_PERSON
    } else if kind.load_path.is_empty() {
        IF_IN_DOUBT
    } else {
        on_the_load_path(&kind.name, rule.work)
    }
}

fn on_the_load_path(kind: &str, work: Work) -> &'static str {
    let steel = ["chain", "hook", "shackle"].iter().any(|part| kind.contains(part));
    match work {
        Work::Renewal | Work::Overhaul | Work::Repair if steel => NO_REPAIR,
        Work::Renewal | Work::EndForEnd | Work::Crop => BIGHT,
        _ => LOAD_OFF,
    }
}
