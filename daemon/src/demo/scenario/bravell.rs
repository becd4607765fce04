//! Bravell's hard recovery of 27 September: four of seven items in the load path are cleared, three are open.

use jiff::civil::date;

use super::coast::by_code;
use super::told::{EXAMINER, Hold, told};
use super::work::Work;

const CLEARED: [(&str, &str); 4] = [
    ("W-0453", "winch-wire-examination-after-shock"),
    ("H-11", "hauling-chain-examination-after-shock"),
    ("LP-11", "load-pin-examination-after-shock"),
    ("HE-11", "hauling-eye-examination-after-shock"),
];

pub fn works() -> Vec<Work> {
    let station = by_code("BRA");
    let start = station.at(date(2026, 9, 30).at(10, 20, 0, 0));
    CLEARED
        .iter()
        .zip(0..)
        .map(|((item, rule), step)| {
            let at = super::coast::minutes_after(start, 25 * step);
            told(item, rule, at, EXAMINER, "", "after the shock load of 27 September")
        })
        .collect()
}

/// The winch asks for a new proof load, and no examination after the shock stands in for one.
pub fn holds() -> Vec<Hold> {
    let from = by_code("BRA").at(date(2026, 9, 27).at(16, 0, 0, 0));
    let hold = |item, rules| Hold { item, rules, from };
    vec![
        hold("DP-11", &["drawbar-pin-examination-after-shock"]),
        hold("B-31", &["shackle-batch-examination-after-shock", "shackle-batch-thorough-examination"]),
        hold("WN-11", &["winch-examination-after-shock", "winch-thorough-examination", "winch-reproof"]),
    ]
}
