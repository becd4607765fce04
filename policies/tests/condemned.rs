//! What the discard criteria condemn stays set aside until a person decides, whatever is measured later.
#![allow(clippy::unwrap_used)]

use jiff::civil::{Date, date};
use policies::assess::Verdict;
use policies::due::Evaluator;
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome, State};
use policies::judge::judge;
use policies::load::PolicySet;
use policies::quarantine::Shut;
use policies::shipped;
use policies::zone::{When, Zone};

fn set() -> PolicySet {
    policies::load::load(&shipped::files()).unwrap()
}

fn day(text: &str) -> When {
    When::Day(text.parse().unwrap())
}

fn fleet(set: &PolicySet, add: impl FnOnce(&mut FleetBuilder)) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    builder.station("quay", "Quay", Zone::utc(), false);
    let record = ItemRecord {
        tag: "C-1",
        kind: "stopper chain",
        station: Some("quay"),
        manufactured_on: Some(date(2024, 1, 1)),
        ..ItemRecord::default()
    };
    assert!(builder.item(&record));
    add(&mut builder);
    builder.finish().0
}

fn shut(set: &PolicySet, fleet: &Fleet, on: &str) -> Option<Shut> {
    let on: Date = on.parse().unwrap();
    Evaluator::without_forecasts(set, fleet, on).shut(fleet.find("C-1").unwrap())
}

/// No sequence of passes clears it: not better readings, not examinations, not a quarantine word; a release after it
/// does, and one before it or at its moment does not.
#[test]
fn only_a_release_clears_a_condemned_item() {
    let set = set();
    let later = |add: &dyn Fn(&mut FleetBuilder)| {
        fleet(&set, |b| {
            b.work("C-1", "stopper-gauging", day("2026-03-01"), Outcome::Passed);
            b.condemn("C-1", "stopper-gauging", day("2026-03-01"));
            add(b);
        })
    };
    let rules = ["stopper-gauging", "stopper-thorough-examination", "stopper-magnetic-particle-test"];
    let passes = later(&|b| {
        for (number, month) in (4..=12).enumerate() {
            b.work("C-1", rules[number % 3], day(&format!("2026-{month:02}-01")), Outcome::Passed);
        }
        b.state("C-1", day("2026-02-01"), State::Released);
        b.state("C-1", day("2026-03-01"), State::Released);
    });
    for on in ["2026-03-01", "2026-06-30", "2027-12-31"] {
        assert!(matches!(shut(&set, &passes, on), Some(Shut::Condemned(_))), "{on}");
    }
    assert_eq!(shut(&set, &passes, "2026-02-28"), None);
    let released = later(&|b| b.state("C-1", day("2026-03-02"), State::Released));
    assert!(shut(&set, &released, "2026-03-01").is_some());
    assert_eq!(shut(&set, &released, "2026-03-02"), None);
    let again = later(&|b| {
        b.state("C-1", day("2026-03-02"), State::Released);
        b.condemn("C-1", "stopper-gauging", day("2026-04-01"));
    });
    assert!(shut(&set, &again, "2026-04-01").is_some());
}

/// Domain brief 4.10, chain A: a mean of 11.66 mm on 13 mm is below 90 % (EN 818-6); at 11.70 it is still allowed.
#[test]
fn recorded_readings_come_to_the_criteria() {
    let set = set();
    let rule = set.rule(set.find_rule("stopper-gauging").unwrap());
    let attributes = [("nominal_diameter_mm", "13"), ("pitch_mm", "39"), ("grade", "8")];
    let verdict =
        |readings: &[(&str, &str)]| judge("stopper chain", rule, &attributes, readings).map(|j| j.verdict());
    assert_eq!(verdict(&[("link diameter", "11.66")]), Some(Some(Verdict::Discard)));
    assert_eq!(verdict(&[("link diameter", "11.70")]), Some(Some(Verdict::Watch)));
    assert_eq!(verdict(&[("link diameter", "12.90")]), Some(Some(Verdict::Accept)));
    // The same twice over is judged one by one, and the worst counts.
    let twice = [("link diameter", "11.98"), ("length over 11 links", "437.0"), ("stretch", "3.2")];
    assert_eq!(verdict(&twice), Some(Some(Verdict::Discard)));
    assert_eq!(verdict(&[("severity", "40")]), None, "no criterion of its own");
}

/// Domain brief 4.10, wire A: 16 mm fall, reference 16.45 mm, now 15.85 mm, 4 broken wires in 6d of 9 allowed: 64.4 %.
#[test]
fn severity_is_reckoned_from_the_readings() {
    let set = set();
    let rule = set.rule(set.find_rule("fall-measurement").unwrap());
    let attributes = [
        ("nominal_diameter_mm", "16"),
        ("reference_diameter_mm", "16.45"),
        ("rope_category", "09"),
        ("core", "steel"),
        ("lay", "ordinary"),
    ];
    let readings = [("diameter", "15.85"), ("broken wires in 6d", "4"), ("corrosion", "0")];
    let judged = judge("launching fall", rule, &attributes, &readings).unwrap();
    assert_eq!(judged.verdict(), Some(Verdict::Watch), "{judged:?}");
    let severity = judged.severity().unwrap().to_f64();
    assert!(severity > 60.0 && severity < 80.0, "{severity}");
}
