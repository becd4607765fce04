//! Proof loads that gear has borne, in words.

use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;
use policies::proofs::{Borne, borne};
use policies::zone::Instant;

use crate::why::day;

/// `3, last 12 Mar 2026, 62.8 kN`; none where it never bore one. Repeats wear gear, so those that failed are counted.
pub fn prior(set: &PolicySet, fleet: &Fleet, id: ItemId, before: Instant) -> Option<String> {
    let all = borne(set, fleet, id, before);
    let last = all.last()?;
    Some(format!("{}, last {}{}", all.len(), day(last.done.date), load(last)))
}

fn load(proof: &Borne) -> String {
    let load = proof.load.map(|load| format!(", {load} kN")).unwrap_or_default();
    let failed = if proof.done.outcome == policies::facts::Outcome::Failed { ", failed" } else { "" };
    load + failed
}
