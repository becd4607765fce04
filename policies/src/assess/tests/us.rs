//! Every row of the US wire-rope rules, on both sides of its limit.

use super::copies::{Row, US_WIRE, decimal, fine, rows};
use super::*;

/// Attributes, measure and the readings on either side that put one row to the test: (within, beyond).
fn sides(row: &Row) -> (&'static str, &'static str, [&'static str; 2]) {
    let rope = "nominal_diameter_mm=20 reference_diameter_mm=20 construction=6x36WS";
    match (row["source"], row["where"], row["test"]) {
        ("30 CFR 56.19024", "any rope lay", _) => {
            ("total_wires=100 construction=6x36WS", "breaks_in_lay", ["5", "6"])
        }
        ("30 CFR 56.19024", "one strand in a lay", _) => {
            ("wires_per_strand=14 construction=6x36WS", "breaks_in_strand", ["2", "3"])
        }
        (_, "valley; ordinary lay", _) => ("lay=ordinary", "valley_breaks", ["1", "2"]),
        ("30 CFR 56.19024", "outer wire", _) => ("", "outer_wire_wear_percent", ["33.333", "33.334"]),
        // Nominal is left below the reference, so that no other limit comes first.
        (_, "rope diameter", _) => {
            ("nominal_diameter_mm=38.5 reference_diameter_mm=40", "diameter_mm", ["37.6", "37.599"])
        }
        (_, "strength by NDT", _) => ("", "strength_loss_percent", ["10", "10.01"]),
        (_, "running rope; one lay", _) => (rope, "breaks_in_lay", ["5", "6"]),
        (_, "running rope; one strand one lay", _) => (rope, "breaks_in_strand", ["2", "3"]),
        (_, "rotation resistant; 6 d", _) => ("construction=35x7", "breaks_6d", ["1", "2"]),
        (_, "rotation resistant; 30 d", _) => ("construction=35x7", "breaks_30d", ["3", "4"]),
        (_, "standing rope; one lay beyond ends", _) => ("use=standing", "breaks_in_lay", ["2", "3"]),
        (_, "at end connection; one lay", _) => (rope, "termination_breaks", ["1", "2"]),
        ("29 CFR 1926.1413", "diameter", _) => ("nominal_diameter_mm=40", "diameter_mm", ["38", "37.999"]),
        (_, "wire rope sling; one lay", _) => ("material=wire", "breaks_in_lay", ["9", "10"]),
        (_, "wire rope sling; one strand one lay", _) => ("material=wire", "breaks_in_strand", ["4", "5"]),
        (_, "wire rope sling; outer wire", _) => {
            ("material=wire", "outer_wire_wear_percent", ["33.332", "33.333"])
        }
        (_, "any 8 d length", _) => ("material=wire total_wires=100", "breaks_8d", ["10", "11"]),
        other => panic!("{other:?}"),
    }
}

#[test]
fn each_us_limit_on_both_sides() {
    let all = rows(US_WIRE);
    for row in all.iter().filter(|row| !row["source"].contains("1910.180")) {
        let (attributes, measure, [within, beyond]) = sides(row);
        let kind = if attributes.contains("material") { "strop" } else { "launching fall" };
        let judged = |reading: &str| under(Regime::Us, kind, attributes, &format!("{measure}={reading}"));
        assert_ne!(judged(within).verdict, Verdict::Discard, "{row:?}");
        let found = judged(beyond);
        let discarding = found.criteria.iter().find(|one| one.verdict() == Verdict::Discard).unwrap();
        assert!(discarding.source.starts_with(row["source"]), "{row:?}: {discarding:?}");
        assert_eq!(discarding.limit_text(), row["limit"], "{row:?}");
        assert_eq!(
            (discarding.authority, discarding.status.to_string()),
            (Authority::Law, row["status"].to_owned())
        );
    }
    assert_eq!(all.len(), 22);
}

/// 29 CFR 1910.180(g): the loss in mm for each range of sizes, at its least and its greatest size; a size
/// between two ranges has the smaller step.
#[test]
fn each_us_step_of_diameter_on_both_sides() {
    let sizes =
        [("7.9375", "9"), ("9.525", "12.7"), ("14.2875", "19.05"), ("22.225", "28.575"), ("31.75", "38.1")];
    let steps: Vec<Row> =
        rows(US_WIRE).into_iter().filter(|row| row["source"].contains("1910.180")).collect();
    for (row, (least, greatest)) in steps.iter().zip(sizes) {
        for nominal in [least, greatest] {
            let edge = fine(nominal) / 10 * 10 - fine(row["limit"]);
            let rated = |reading: i64| {
                let attributes = format!("nominal_diameter_mm={nominal}");
                let found = under(
                    Regime::Us,
                    "winch wire",
                    &attributes,
                    &format!("diameter_mm={}", decimal(reading)),
                );
                found.of("wire diameter in mm").verdict()
            };
            assert_ne!(rated(edge), Verdict::Discard, "{row:?} {nominal}");
            assert_eq!(rated(edge - 100), Verdict::Discard, "{row:?} {nominal}");
        }
    }
    assert_eq!(steps.len(), sizes.len());
}

/// The US count is over a lay length: 6d and 30d of an ordinary rope are not mixed in, and that is said.
#[test]
fn lengths_of_the_other_regime_are_not_mixed_in() {
    let fall = under(Regime::Us, "launching fall", "construction=6x36WS", "breaks_6d=9 breaks_in_lay=1");
    assert_eq!(fall.verdict, Verdict::Accept);
    assert!(fall.notes().contains("breaks_6d is not judged: no limit of regime us asks for it here"));
    let alone =
        assess("launching fall", Regime::Us, &[("core", "steel")], &[("breaks_6d", "9")]).unwrap_err();
    assert!(told(&alone).contains("nothing that was given is judged"), "{}", told(&alone));
    let iso_fall = iso("launching fall", "core=steel", "breaks_in_lay=5 kink=no");
    assert!(iso_fall.notes().contains("breaks_in_lay is not judged: no limit of regime iso"));
}
