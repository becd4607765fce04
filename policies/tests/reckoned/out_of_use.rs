//! Gear that must not be used stops its station wherever it bears load, and so does a station's only gear of a kind
//! that is withdrawn.

use policies::due::Evaluator;
use policies::facts::{FleetBuilder, Outcome, State, StationId};
use policies::load::PolicySet;
use policies::quarantine::Shut;
use policies::readiness::{Papers, Readiness, Reason};

use crate::gear::{at, fit, fleet, id, launches, on, rule, set_of, when};

/// No position is a required one; a winch bears load, a fall none.
const KINDS: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches"]
positions = [{ name = "stopper", takes = "fall", count = 2 }, { name = "winch", takes = "winch" }]
[[kind]]
name = "winch"
load_path = ["recovery"]
[[kind]]
name = "fall"
"#;

fn set() -> PolicySet {
    set_of(KINDS, &rule("weekly", "usage = { meter = \"launches\", every = 100 }"), "")
}

/// What the station lacks with W-1 and F-1 on C-1, and C-2 out of service.
fn lacks(change: impl FnOnce(&mut FleetBuilder)) -> (Readiness, Vec<(String, Option<Shut>)>) {
    let set = set();
    let fleet = fleet(&set, |b| {
        fit(b, "W-1", "C-1", "2026-01-01", None);
        fit(b, "F-1", "C-1", "2026-01-01", None);
        b.state("C-2", when("2026-01-01"), State::Withdrawn);
        launches(b, "C-1", &[("2026-10-10T12:00:00", 1)]);
        change(b);
    });
    let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-10-11"));
    let all = evaluator.readiness(&Papers::default());
    for found in &all {
        assert_eq!(
            evaluator.readiness_of(found.station, &Papers::default()).as_ref(),
            Some(found),
            "judged alone"
        );
    }
    assert_eq!(evaluator.readiness_of(StationId(99), &Papers::default()), None);
    let found = all.into_iter().next().unwrap();
    let told = found.reasons.into_iter().map(|reason| match reason {
        Reason::OutOfUse { item, shut } => (fleet.item(item).tag.to_string(), Some(shut)),
        Reason::Withdrawn { item } => (fleet.item(item).tag.to_string(), None),
        other => panic!("{other:?}"),
    });
    assert_eq!(id(&fleet, "C-1"), fleet.find("C-1").unwrap());
    (found.readiness, told.collect())
}

fn shut(tag: &str, state: State) -> (Readiness, Vec<(String, Option<Shut>)>) {
    lacks(|b| b.state(tag, when("2026-10-11"), state))
}

#[test]
fn what_bears_load_stops_in_whatever_position() {
    let moment = at("2026-10-11T00:00:00");
    let of = |tag: &str, shut| (Readiness::NotReady, vec![(tag.to_owned(), Some(shut))]);
    assert_eq!(shut("W-1", State::Quarantined), of("W-1", Shut::Quarantined(moment)));
    assert_eq!(shut("W-1", State::Withdrawn), of("W-1", Shut::Withdrawn(moment)), "it still hangs there");
    assert_eq!(shut("F-1", State::Quarantined), (Readiness::Ready, vec![]), "it bears none");
    assert_eq!(shut("W-2", State::Quarantined), (Readiness::Ready, vec![]), "it is fitted nowhere");
}

#[test]
fn failed_work_on_the_outermost_host_stops() {
    let kinds = KINDS.to_owned();
    let rules = rule("frame", "calendar = { every = \"1 year\" }").replace("\"fall\"", "\"carriage\"");
    let set = set_of(&kinds, &rules, "");
    let fleet = fleet(&set, |b| {
        b.state("C-2", when("2026-01-01"), State::Withdrawn);
        b.work("C-1", "frame", when("2026-09-01"), Outcome::Passed);
        b.work("C-1", "frame", when("2026-10-09"), Outcome::Failed);
        launches(b, "C-1", &[("2026-10-10T12:00:00", 1)]);
    });
    let found = Evaluator::without_forecasts(&set, &fleet, on("2026-10-11"))
        .readiness(&Papers::default())
        .swap_remove(0);
    assert!(
        matches!(&found.reasons[..], [Reason::OutOfUse { item, shut: Shut::Failed(_) }] if *item == id(&fleet, "C-1")),
        "{found:?}"
    );
}

#[test]
fn the_outermost_host_itself_stops() {
    let moment = at("2026-10-11T00:00:00");
    let aside = vec![("C-1".to_owned(), Some(Shut::Quarantined(moment)))];
    assert_eq!(shut("C-1", State::Quarantined), (Readiness::NotReady, aside));
}

/// With its last carriage withdrawn a station has none to launch with; what was withdrawn last is named.
#[test]
fn a_station_without_its_carriage_is_told() {
    assert_eq!(shut("C-1", State::Withdrawn), (Readiness::NotReady, vec![("C-1".to_owned(), None)]));
    let other = lacks(|b| {
        b.state("C-1", when("2026-10-11"), State::Withdrawn);
        let record = policies::facts::ItemRecord {
            tag: "C-3",
            kind: "carriage",
            station: Some("quay"),
            ..policies::facts::ItemRecord::default()
        };
        assert!(b.item(&record));
    });
    assert_eq!(other, (Readiness::Ready, vec![]), "it has another");
}
