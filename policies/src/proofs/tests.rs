//! Results of proof loads against hand-worked figures: g = 9.80665 m/s².

use super::*;
use crate::load::{PolicyFile, load};

const SET: &str = r#"
[[kind]]
name = "fall"
attributes = [
  { name = "wll", unit = "t" },
  { name = "minimum breaking force", unit = "kN" },
  { name = "termination factor", min = 0.5, max = 1 },
]
proof = { gear = "fall", load = "wll_t" }
[[kind]]
name = "winch"
attributes = [{ name = "swl", unit = "t" }]
proof = { gear = "winch", load = "swl_t" }
[[rule]]
id = "proof"
title = "t"
applies_to = { kind = "fall" }
work = "proof load test"
after = { event = "crop", within = "0 days" }
overdue = "stops launch"
authority = "house"
records = [{ name = "time held", unit = "min" }, { name = "proof load", unit = "kN" }]
"#;

struct Row(Vec<(&'static str, &'static str)>);

impl Numbers for Row {
    fn number(&self, column: &str) -> Option<Amount> {
        self.0.iter().find(|(have, _)| *have == column).and_then(|(_, value)| value.parse().ok())
    }
}

fn set() -> PolicySet {
    load(&[PolicyFile { name: "kinds.toml".to_owned(), text: SET.to_owned() }]).unwrap()
}

/// The demo's invented fall: WLL 3.2 t, MBF 161.3 kN, K 0.90, so 6.4 t = 62.76256 kN and at most 72.585 kN.
fn fall() -> Row {
    Row(vec![("wll_t", "3.2"), ("minimum_breaking_force_kN", "161.3"), ("termination_factor", "0.9")])
}

fn judged(row: &Row, reached: &str, parts: &[PartProof]) -> Result<Guard, ProofFault> {
    let set = set();
    let kind = set.kinds.kind(set.kinds.find("fall").unwrap());
    judge(kind, row, Regime::Ilo, reached.parse().unwrap(), parts)
}

#[test]
fn a_load_is_judged_on_both_sides_of_what_it_must_reach() {
    let below = judged(&fall(), "62.762559", &[]).unwrap_err().to_string();
    assert_eq!(
        below,
        "proof load = 62.762559 kN is below the 62.8 kN that it must bear \
         (2 x WLL (up to and including 25 t): 2 x 3.2 t = 6.4 t)"
    );
    assert_eq!(judged(&fall(), "62.76256", &[]).unwrap().percent_of_breaking, Some(43));
    assert!(judged(&fall(), "62.8", &[]).is_ok());
}

#[test]
fn a_load_is_judged_on_both_sides_of_half_the_strength() {
    assert_eq!(judged(&fall(), "72.585", &[]).unwrap().percent_of_breaking, Some(50));
    let above = judged(&fall(), "72.585001", &[]).unwrap_err().to_string();
    assert_eq!(
        above,
        "a proof load of 72.6 kN is 50.1 % of the wire's 145.2 kN (MBF x K); the house limit is 50 %, 72.5 kN"
    );
}

#[test]
fn a_fitted_part_is_not_pulled_beyond_its_own_proof() {
    let set = set();
    let kind = set.kinds.kind(set.kinds.find("fall").unwrap());
    let weaker = as_part(kind, &Row(vec![("wll_t", "3.2")]), "S-7", Regime::Ilo).unwrap();
    assert!(judged(&fall(), "62.76256", std::slice::from_ref(&weaker)).is_ok());
    let above = judged(&fall(), "62.762561", &[weaker]).unwrap_err().to_string();
    assert!(above.contains("62.8 kN is above the 62.7 kN that `S-7` may be proved with"), "{above}");
    assert_eq!(as_part(kind, &Row(vec![]), "S-8", Regime::Ilo), None);
    assert_eq!(
        not_judged(kind, &Row(vec![]), "S-8", Regime::Ilo).unwrap(),
        "of `S-8`, which is pulled with it, wll_t is not known, so no proof load can be found"
    );
    assert_eq!(not_judged(kind, &Row(vec![("wll_t", "3.2")]), "S-7", Regime::Ilo), None);
}

#[test]
fn what_is_not_known_is_named() {
    let bare = Row(vec![("minimum_breaking_force_kN", "161.3")]);
    assert_eq!(
        judged(&bare, "62.8", &[]).unwrap_err().to_string(),
        "wll_t is not known, so no proof load can be found"
    );
}

#[test]
fn only_loose_gear_is_pulled_with_what_hangs_on_it() {
    let set = set();
    let pulls = |name| pulls_its_parts(set.kinds.kind(set.kinds.find(name).unwrap()));
    assert!(pulls("fall"));
    assert!(!pulls("winch"));
}

#[test]
fn the_load_reading_is_found_by_name_unit_and_work() {
    let mut rule = set().rules.remove(0);
    assert_eq!(load_reading(&rule), Some(1));
    rule.records[1].unit = Some("t".to_owned());
    assert_eq!(load_reading(&rule), None);
}
