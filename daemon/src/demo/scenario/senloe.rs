//! Senloe's unlike pair: the port fall was renewed alone, so the rule for pairs stands open on the other.

use super::gear::Fleet;
use super::told::{LOFT, told};
use super::work::Work;

pub fn works(fleet: &Fleet) -> Vec<Work> {
    let fitted = fleet.fittings.iter().find(|fitting| fitting.item == "F-0463").map(|fitting| fitting.from);
    fitted
        .into_iter()
        .map(|from| {
            let at = super::coast::minutes_after(from, 30);
            let mut work = told(
                "F-0463",
                "fall-renewal",
                at,
                LOFT,
                "",
                "port fall renewed alone; no matched pair in stock",
            );
            work.outcome = "done";
            work
        })
        .collect()
}
