//! `tallow assess`, as its users run it.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use serde_json::Value;
use tests::harness::Room;

const FALL: &str = "assess launching-fall nominal_diameter_mm=16 reference_diameter_mm=16.45 construction=6x36WS \
                    core=steel lay=ordinary rope_category=09";

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

/// ISO 4309: 3.75 % of the diameter is 20, 4 breaks of 9 are 44.4 %; together 64.4 %, to be watched.
#[test]
fn a_fall_is_judged_with_its_working() {
    let room = Room::empty();
    let ran = room.tallow(&format!("{FALL} --format json -- diameter_mm=15.85 breaks_6d=4"));
    assert!(ran.err.contains("A competent person decides"), "{}", ran.err);
    let told = json(&ran.done());
    assert_eq!((told["verdict"].as_str(), told["combined_percent"].as_f64()), (Some("watch"), Some(64.445)));
    let of = |name: &str| {
        let all = told["criteria"].as_array().unwrap();
        all.iter().find(|one| one["name"] == name).unwrap().clone()
    };
    let (breaks, diameter) = (of("broken wires in 6d"), of("wire diameter"));
    assert_eq!((breaks["value"].as_i64(), breaks["limit"].as_i64()), (Some(4), Some(9)));
    assert_eq!(
        (breaks["source"].as_str(), breaks["authority"].as_str()),
        (Some("ISO 4309:2010 Table 3"), Some("standard"))
    );
    assert_eq!((diameter["value"].as_f64(), diameter["rating_percent"].as_i64()), (Some(3.75), Some(20)));
    assert!(diameter["source"].as_str().unwrap().contains("from memory"));
    let text = room.tallow(&format!("{FALL} -- diameter_mm=15.85 breaks_6d=4")).done();
    assert!(text.starts_with("launching-fall by iso: watch, combined 64.4 %"), "{text}");
    assert!(text.contains("added by ISO 4309:2010: ratings at one place are added (from memory"), "{text}");
    assert_eq!(
        [&told["added"], &told["added_authority"], &told["added_status"]],
        ["broken wires + wire diameter + wire corrosion", "standard", "memory"]
    );
    assert!(told["added_source"].as_str().unwrap().contains("ISO 4309:2010"));
    assert!(
        text.contains("from 9 wires") && text.contains("note: not measured: broken wires in 30d"),
        "{text}"
    );
}

/// EN 818-6: 11.66 of 13 is below 11.70; 29 CFR 1926.1413: six broken wires in a lay.
#[test]
fn discard_is_exit_one() {
    let room = Room::empty();
    let chain =
        "assess stopper-chain nominal_diameter_mm=13 -- link_diameter_mm=11.60 link_diameter_mm=11.72";
    assert!(room.tallow(chain).no().contains("under 11.7 mm"));
    let fall = "assess launching-fall --regime us core=steel -- breaks_in_lay=6";
    assert!(room.tallow(fall).no().contains("29 CFR 1926.1413"));
    assert!(room.tallow(&format!("{FALL} -- kink=yes")).no().contains("kink or tightened loop"));
}

#[test]
fn what_cannot_be_judged_is_refused_with_what_would_be_right() {
    let room = Room::empty();
    for (line, right) in [
        ("assess anchor -- wear=1", "launching fall"),
        ("assess launching-fall --regime moon -- kink=no", "iso or us"),
        ("assess launching-fall core=steel", "say what was found"),
        ("assess launching-fall core=steel breaks_6d=4", "measures stand after `--`"),
        ("assess launching-fall core -- kink=no", "name=value"),
        ("assess stopper-chain nominal_diameter_mm=13 -- link_diameter_mm=1.17", "was 11.7 meant?"),
        ("assess strop material=webbing -- cut=no", "label: is missing"),
    ] {
        let said = room.tallow(line).refused();
        assert!(said.contains(right), "{line}: {said}");
    }
}
