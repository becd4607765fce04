//! Work that waits for its certificate, and what a failed proof load asks of the gear in its path, by hand.
#![allow(clippy::unwrap_used)]

use jiff::civil::{Date, date};
use policies::due::Evaluator;
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome};
use policies::load::{PolicyFile, PolicySet, load};
use policies::proofs;
use policies::quarantine::Shut;
use policies::zone::{When, Zone};

const SET: &str = r#"
[[kind]]
name = "carriage"
positions = [{ name = "fall", takes = "fall", count = 2 }]
[[kind]]
name = "fall"
positions = [{ name = "shackle", takes = "shackle" }]
[[kind]]
name = "shackle"

[[rule]]
id = "fall-proof"
title = "p"
applies_to = { kind = "fall" }
work = "proof load test"
calendar = { every = "1 year" }
after = { event = "crop", within = "0 days" }
overdue = "stops launch"
authority = "house"
certificate = true
covers = ["fall-look"]
records = [{ name = "proof load", unit = "kN" }]

[[rule]]
id = "fall-look"
title = "l"
applies_to = { kind = "fall" }
work = "check"
calendar = { every = "1 month" }
overdue = "advisory"
authority = "house"

[[rule]]
id = "fall-survey"
title = "s"
applies_to = { kind = "fall" }
work = "overhaul"
calendar = { every = "2 years" }
overdue = "advisory"
authority = "house"
covers = ["fall-proof"]

[[rule]]
id = "fall-crop"
title = "c"
applies_to = { kind = "fall" }
work = "crop"
calendar = { every = "5 years" }
overdue = "advisory"
authority = "house"
certificate = true

[[rule]]
id = "fall-after"
title = "a"
applies_to = { kind = "fall" }
work = "thorough examination"
after = { event = "path proof load failed", within = "0 days" }
overdue = "stops launch"
authority = "house"

[[rule]]
id = "carriage-after"
title = "a"
applies_to = { kind = "carriage" }
work = "thorough examination"
after = { event = "path proof load failed", within = "0 days" }
overdue = "stops launch"
authority = "house"

[[rule]]
id = "shackle-after"
title = "a"
applies_to = { kind = "shackle" }
work = "thorough examination"
after = { event = "path proof load failed", within = "0 days" }
overdue = "stops launch"
authority = "house"
"#;

fn set() -> PolicySet {
    load(&[PolicyFile { name: "kinds.toml".to_owned(), text: SET.to_owned() }]).unwrap()
}

fn day(text: &str) -> When {
    When::Day(text.parse().unwrap())
}

/// Carriage C, falls F and G on it, shackle S on F; shackle T in store. All entered service on 1 Jan 2026.
fn fleet(set: &PolicySet, add: impl FnOnce(&mut FleetBuilder)) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    builder.station("quay", "Quay", Zone::utc(), false);
    for (tag, kind) in [("C", "carriage"), ("F", "fall"), ("G", "fall"), ("S", "shackle"), ("T", "shackle")] {
        let entered_service_on = Some(date(2026, 1, 1));
        assert!(builder.item(&ItemRecord { tag, kind, entered_service_on, ..ItemRecord::default() }));
    }
    builder.fitting("F", "C", "fall", day("2026-01-05"), Some(day("2026-06-10")));
    builder.fitting("G", "C", "fall", day("2026-01-05"), None);
    builder.fitting("S", "F", "shackle", day("2026-01-05"), None);
    add(&mut builder);
    builder.finish().0
}

fn due(set: &PolicySet, fleet: &Fleet, item: &str, rule: &str, as_of: Date) -> Option<Date> {
    let (item, rule) = (fleet.find(item).unwrap(), set.find_rule(rule).unwrap());
    Evaluator::without_forecasts(set, fleet, as_of).row(item, rule).due_on
}

const LATER: Date = date(2026, 9, 1);

/// Passed on 1 March: a year on from it with the certificate, from entry into service without.
#[test]
fn work_counts_once_its_certificate_is_in() {
    let set = set();
    let proved = |certified: bool| {
        fleet(&set, |b| b.work_with("F", "fall-proof", day("2026-03-01"), Outcome::Passed, certified))
    };
    assert_eq!(due(&set, &proved(true), "F", "fall-proof", LATER), Some(date(2027, 3, 1)));
    assert_eq!(due(&set, &proved(false), "F", "fall-proof", LATER), Some(date(2027, 1, 1)));
    // What it covers waits with it.
    assert_eq!(due(&set, &proved(true), "F", "fall-look", LATER), Some(date(2026, 4, 1)));
    assert_eq!(due(&set, &proved(false), "F", "fall-look", LATER), Some(date(2026, 2, 1)));
    let fleet = proved(false);
    let found = Evaluator::without_forecasts(&set, &fleet, LATER)
        .derive(fleet.find("F").unwrap(), set.find_rule("fall-proof").unwrap());
    assert_eq!(found.last, None);
    assert_eq!(found.not_proved.iter().map(|done| done.date).collect::<Vec<_>>(), [date(2026, 3, 1)]);
}

/// Of everything done on F only the proof load of 1 May waits: that of February failed, March has its certificate, the
/// crop of April is other work, and that of 2 September begins as the as-of date ends. The look asks for no certificate,
/// but the proof load that covers it does.
#[test]
fn only_sound_work_without_its_certificate_waits() {
    let set = set();
    let fleet = fleet(&set, |b| {
        b.work_with("F", "fall-proof", day("2026-02-01"), Outcome::Failed, false);
        b.work_with("F", "fall-proof", day("2026-03-01"), Outcome::Passed, true);
        b.work_with("F", "fall-crop", day("2026-04-01"), Outcome::Done, false);
        b.work_with("F", "fall-proof", day("2026-05-01"), Outcome::Passed, false);
        b.work_with("F", "fall-look", day("2026-06-01"), Outcome::Done, false);
        b.work_with("F", "fall-proof", day("2026-09-02"), Outcome::Passed, false);
    });
    let evaluator = Evaluator::without_forecasts(&set, &fleet, LATER);
    let waiting = |rule: &str| {
        let item = fleet.item(fleet.find("F").unwrap());
        let found = evaluator.not_proved(item, set.find_rule(rule).unwrap());
        found.map(|done| done.date).collect::<Vec<_>>()
    };
    assert_eq!(waiting("fall-proof"), [date(2026, 5, 1)]);
    assert_eq!(waiting("fall-look"), [date(2026, 5, 1)]);
}

/// The survey asks for no certificate itself, but the proof load that it covers does.
#[test]
fn work_that_covers_a_proof_needs_the_certificate_too() {
    let set = set();
    let surveyed = |certified: bool| {
        fleet(&set, |b| b.work_with("F", "fall-survey", day("2026-03-01"), Outcome::Done, certified))
    };
    assert_eq!(due(&set, &surveyed(false), "F", "fall-survey", LATER), Some(date(2028, 3, 1)));
    assert_eq!(due(&set, &surveyed(false), "F", "fall-proof", LATER), Some(date(2027, 1, 1)));
    assert_eq!(due(&set, &surveyed(true), "F", "fall-proof", LATER), Some(date(2027, 3, 1)));
}

#[test]
fn a_crop_without_its_certificate_still_asks_for_the_proof() {
    let set = set();
    let fleet = fleet(&set, |b| b.work("F", "fall-crop", day("2026-03-01"), Outcome::Done));
    assert_eq!(due(&set, &fleet, "F", "fall-proof", LATER), Some(date(2026, 3, 1)));
}

/// Failed work quarantines whether or not its certificate is in; only proved work clears it.
#[test]
fn failed_work_quarantines_at_once_and_is_cleared_by_proved_work() {
    let set = set();
    let shut = |certified: Option<bool>| {
        let fleet = fleet(&set, |b| {
            b.work("F", "fall-proof", day("2026-03-01"), Outcome::Failed);
            if let Some(certified) = certified {
                b.work_with("F", "fall-proof", day("2026-03-05"), Outcome::Passed, certified);
            }
        });
        Evaluator::without_forecasts(&set, &fleet, LATER).shut(fleet.find("F").unwrap())
    };
    assert!(matches!(shut(None), Some(Shut::Failed(_))));
    assert!(matches!(shut(Some(false)), Some(Shut::Failed(_))));
    assert_eq!(shut(Some(true)), None);
}

/// F failed on 1 March, when S hung on it and it hung on C: both are examined, F itself by this event is not, nor is
/// G beside it. By 1 July it was off C, so only S is.
#[test]
fn a_failed_proof_load_asks_for_all_that_was_in_its_path_then() {
    let set = set();
    let failed = |on: &str| fleet(&set, |b| b.work("F", "fall-proof", day(on), Outcome::Failed));
    let all = |on: &str| {
        let fleet = failed(on);
        [
            ("C", "carriage-after"),
            ("F", "fall-after"),
            ("G", "fall-after"),
            ("S", "shackle-after"),
            ("T", "shackle-after"),
        ]
        .map(|(item, rule)| due(&set, &fleet, item, rule, LATER).is_some())
    };
    assert_eq!(all("2026-03-01"), [true, false, false, true, false]);
    assert_eq!(all("2026-07-01"), [false, false, false, true, false]);
    // Two links up, and one down.
    let shackle = fleet(&set, |b| b.work("G", "fall-proof", day("2026-03-01"), Outcome::Passed));
    assert_eq!(due(&set, &shackle, "C", "carriage-after", LATER), None);
}

/// Removed at 24:00 of 10 June: at 00:00 of the 11th it is in nobody's path.
#[test]
fn the_path_is_that_of_the_instant() {
    let set = set();
    let on = |day_: &str| {
        let fleet = fleet(&set, |b| b.work("F", "fall-proof", day(day_), Outcome::Failed));
        due(&set, &fleet, "C", "carriage-after", LATER)
    };
    assert_eq!(on("2026-06-10"), Some(date(2026, 6, 10)));
    assert_eq!(on("2026-06-11"), None);
    assert_eq!(on("2026-01-04"), None);
    assert_eq!(on("2026-01-05"), Some(date(2026, 1, 5)));
}

/// Every pull wears the gear: those that failed, and those whose report is not in, are counted too.
#[test]
fn every_proof_load_borne_is_listed_with_its_load() {
    let set = set();
    let fleet = fleet(&set, |b| {
        for (on, load, outcome) in
            [("2026-02-01", Some("62.8"), Outcome::Passed), ("2026-03-01", None, Outcome::Failed)]
        {
            b.work("F", "fall-proof", day(on), outcome);
            if let Some(load) = load {
                b.reading("F", "fall-proof", day(on), "proof load", load.parse().unwrap());
            }
        }
        b.work("F", "fall-look", day("2026-04-01"), Outcome::Passed);
    });
    let id = fleet.find("F").unwrap();
    let cutoff = Zone::utc().end_of(LATER);
    let borne = proofs::borne(&set, &fleet, id, cutoff);
    let said: Vec<_> =
        borne.iter().map(|proof| (proof.done.date, proof.load.map(|l| l.to_string()))).collect();
    assert_eq!(said, [(date(2026, 2, 1), Some("62.8".to_owned())), (date(2026, 3, 1), None)]);
    assert_eq!(proofs::borne(&set, &fleet, id, Zone::utc().start_of(date(2026, 3, 1))).len(), 1);
}
