//! Wear: readings against the use they were taken at, the limit they move towards, and the uses left to it.

use jiff::civil::date;
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome};
use policies::load::PolicySet;
use policies::trend::{Limit, NoTrend};
use policies::wear::{Read, Wear};
use policies::zone::{Instant, Zone};

use crate::gear::{at, fall, fit, fleet, id, launches, meter, on, rule, set, set_of, when, whole};

fn amount(text: &str) -> Amount {
    text.parse().unwrap()
}

/// Readings of a rule, each at a moment.
fn reads(set: &PolicySet, of: &str, name: &str, values: &[(Instant, &str)]) -> Vec<Read> {
    let rule = set.find_rule(of).unwrap();
    let read = |(at, value): &(Instant, &str)| Read {
        rule,
        name: name.to_owned(),
        at: *at,
        on: Zone::utc().date_of(*at),
        value: amount(value),
    };
    values.iter().map(read).collect()
}

/// Renewed by launches; a check counts pulls, and what it records is bounded by nothing else.
fn sagging(bound: &str) -> PolicySet {
    let records = format!("records = [{{ name = \"sag\", unit = \"mm\"{bound} }}]");
    let check = rule("check", &format!("usage = {{ meter = \"pulls\", every = 9 }}\n{records}"));
    let renewal = rule("renewal", "usage = { meter = \"launches\", every = 250 }");
    set(&(check + &renewal.replace("\"check\"", "\"renewal\"")))
}

/// In service on 1 January 2025 with 100 launches before the records, which begin 100 days later.
fn worn(set: &PolicySet, more: &[(&str, i64)]) -> Fleet {
    fleet(set, |b| {
        fall(b, "F-10", None, Some("2025-01-01"), 100);
        fit(b, "F-10", "C-1", "2025-01-01", None);
        launches(b, "C-1", &[("2025-04-11T00:00:00", 10), ("2025-06-01T10:00:00", 10)]);
        launches(b, "C-1", more);
    })
}

const TAKEN: [(&str, &str); 3] =
    [("2025-02-20T00:00:00", "10"), ("2025-05-01T09:00:00", "22"), ("2025-06-01T10:00:00", "24")];

fn sag(set: &PolicySet, fleet: &Fleet, taken: &[(&str, &str)]) -> Wear {
    let taken: Vec<(Instant, &str)> = taken.iter().map(|(moment, value)| (at(moment), *value)).collect();
    let evaluator = Evaluator::new(set, fleet, on("2025-08-31"));
    let mut found = evaluator.wear(id(fleet, "F-10"), &reads(set, "check", "sag", &taken), &[]);
    assert_eq!(found.len(), 1);
    found.remove(0)
}

/// On 20 February, half-way to the records, 50 of the 100 launches before them had been made; on 1 May 110; at the
/// very moment of the second logging 120. The line is 0.2 mm a launch and meets 40.1 mm at 200.5: 80 whole launches
/// after the last reading. Four were made since: 76 are left.
#[test]
fn readings_stand_at_the_use_they_were_taken_at() {
    let set = sagging(", max = 40.1");
    let fleet = worn(&set, &[("2025-07-01T10:00:00", 4)]);
    let late = ("2025-09-01T00:00:00", "39");
    let mut mixed = vec![late, TAKEN[2], TAKEN[0], TAKEN[1]];
    let wear = sag(&set, &fleet, &mixed);
    let points: Vec<_> = wear.points.iter().map(|(day, point)| (*day, point.used, point.reading)).collect();
    assert_eq!(
        points,
        [
            (date(2025, 2, 20), whole(50), whole(10)),
            (date(2025, 5, 1), whole(110), whole(22)),
            (date(2025, 6, 1), whole(120), whole(24)),
        ]
    );
    assert_eq!((wear.meter, wear.used), (meter(&set, "launches"), whole(124)));
    assert_eq!((wear.name.as_str(), wear.unit.as_deref()), ("sag", Some("mm")));
    assert_eq!(wear.limit, Some(Limit::Most(amount("40.1"))));
    let trend = wear.trend.unwrap();
    assert!((trend.slope - 0.2).abs() < 1e-9 && trend.residual_sd < 1e-9, "{trend:?}");
    assert_eq!((wear.safe_uses, wear.jump), (Some(whole(76)), None));
    assert!(wear.dates[0].is_some_and(|soon| soon > on("2025-08-31")), "{:?}", wear.dates);
    mixed.truncate(3);
    let two = sag(&set, &fleet, &mixed);
    assert_eq!((two.trend, two.safe_uses, two.dates), (Err(NoTrend::TooFew(2)), None, [None; 3]));
}

/// 81 launches since the last reading, where 80 were safe: none is left, and no date is foreseen.
#[test]
fn no_use_is_left_past_the_bound() {
    let set = sagging(", max = 40.1");
    let wear = sag(&set, &worn(&set, &[("2025-07-01T10:00:00", 81)]), &TAKEN);
    assert_eq!((wear.safe_uses, wear.dates), (Some(Amount::ZERO), [None; 3]));
}

/// Without a date of entry into service all use before the records counts from the beginning; so it does for a
/// reading before that date by all of it that had not been made: none.
#[test]
fn use_before_the_records_is_spread_from_entry_into_service() {
    let set = sagging(", max = 40.1");
    let early = ("2024-12-31T00:00:00", "9");
    let wear = sag(&set, &worn(&set, &[]), &[early, TAKEN[1]]);
    let used = |wear: &Wear| wear.points.iter().map(|(_, point)| point.used).collect::<Vec<_>>();
    assert_eq!(used(&wear), [Amount::ZERO, whole(110)]);
    let undated = fleet(&set, |b| {
        fall(b, "F-10", Some("2024-01-01"), None, 100);
        fit(b, "F-10", "C-1", "2025-01-01", None);
        launches(b, "C-1", &[("2025-04-11T00:00:00", 10)]);
    });
    assert_eq!(used(&sag(&set, &undated, &[early, TAKEN[1]])), [whole(100), whole(110)]);
}

/// A rule's own least bound; and where nothing bounds a reading, nothing is foreseen.
#[test]
fn a_rule_may_bound_from_below_or_not_at_all() {
    let least = sagging(", min = 5");
    let wear = sag(&least, &worn(&least, &[]), &TAKEN);
    assert_eq!((wear.limit, wear.safe_uses), (Some(Limit::Least(whole(5))), None), "it moves away from it");
    let open = sagging("");
    let wear = sag(&open, &worn(&open, &[]), &TAKEN);
    assert_eq!((wear.limit, wear.safe_uses, wear.dates), (None, None, [None; 3]));
    assert!(wear.trend.is_ok());
}

/// Four readings on the line of 0.2 mm a launch, and a fifth that is 6 mm above it.
#[test]
fn a_reading_far_off_the_line_is_a_jump() {
    let set = sagging(", max = 40.1");
    let fleet = worn(&set, &[("2025-07-01T10:00:00", 10), ("2025-08-01T10:00:00", 10)]);
    let mut taken = TAKEN.to_vec();
    taken.extend([("2025-07-01T10:00:00", "26"), ("2025-08-01T10:00:00", "34")]);
    let jump = sag(&set, &fleet, &taken).jump.unwrap();
    assert!((jump.expected - 28.0).abs() < 1e-9 && (jump.off - 6.0).abs() < 1e-9, "{jump:?}");
    assert!(jump.towards_limit);
}

/// Gear of a kind that no rule counts the use of has no wear; nor has a reading that its rule does not record.
#[test]
fn wear_wants_a_meter_and_a_record() {
    let set = sagging(", max = 40.1");
    let fleet = worn(&set, &[]);
    let found = |of: &str, tag: &str| {
        let taken = reads(&set, of, "sag", &[(at("2025-05-01T09:00:00"), "22")]);
        Evaluator::without_forecasts(&set, &fleet, on("2025-08-31")).wear(id(&fleet, tag), &taken, &[]).len()
    };
    assert_eq!((found("check", "F-10"), found("renewal", "F-10"), found("check", "W-1")), (1, 0, 0));
}

const CHAINS: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches", "pulls"]
positions = [{ name = "stopper", takes = "stopper chain", count = 4 }]
[[kind]]
name = "winch"
[[kind]]
name = "fall"
[[kind]]
name = "stopper chain"
"#;

fn chain(name: &str, criterion: &str, last: &str) -> Option<Limit> {
    let gauging = rule(
        "gauging",
        &format!(
            "usage = {{ meter = \"launches\", every = 9 }}\nrecords = [{{ name = \"{name}\"{criterion} }}]"
        ),
    );
    let set = set_of(CHAINS, &gauging.replace("\"fall\"", "\"stopper chain\""), "");
    let add = |b: &mut FleetBuilder| {
        let record =
            ItemRecord { tag: "S-1", kind: "stopper chain", station: Some("quay"), ..ItemRecord::default() };
        assert!(b.item(&record));
    };
    let fleet = fleet(&set, add);
    let taken = reads(&set, "gauging", name, &[(at("2025-05-01T09:00:00"), last)]);
    let attributes = [("nominal_diameter_mm", "13"), ("grade", "8")];
    let mut found = Evaluator::without_forecasts(&set, &fleet, on("2025-08-31")).wear(
        id(&fleet, "S-1"),
        &taken,
        &attributes,
    );
    found.remove(0).limit
}

/// 90 % of 13 mm is 11.7 mm, itself still allowed (EN 818-6 Annex A); 3 % of stretch likewise (house figure). The
/// limit is the same for a reading far from it, close to it and beyond it.
#[test]
fn the_criteria_bound_what_the_rule_does_not() {
    for last in ["13", "12.5", "11.71", "11.6"] {
        let link = chain("link", ", criterion = \"link diameter\"", last);
        assert_eq!(link, Some(Limit::Least(amount("11.7"))), "{last}");
    }
    for last in ["0.2", "1", "2.5", "3.05"] {
        assert_eq!(chain("stretch", "", last), Some(Limit::Most(whole(3))), "{last}");
    }
    assert_eq!(chain("stretch", "", "0"), None, "which way it goes is not known");
    assert_eq!(chain("hauled length", "", "7"), None, "no criterion");
}

/// A part put in by an overhaul begins its readings anew: a brake lining of 8 mm that lost 0.1 mm a launch, and is
/// read as 8 mm again after the overhaul of 1 July, has lost 0.1 mm a launch since, to 4 mm at 40 launches after it.
/// An overhaul that renewed nothing leaves the one line.
#[test]
fn an_overhaul_that_renews_the_part_begins_its_readings_anew() {
    let check =
        rule("check", "usage = { meter = \"pulls\", every = 9 }\nrecords = [{ name = \"lining\", min = 4 }]");
    let strip = rule("strip", "calendar = { every = \"60 months\" }").replace("\"check\"", "\"overhaul\"");
    let renewal = rule("renewal", "usage = { meter = \"launches\", every = 250 }");
    let set = set(&(check + &strip + &renewal.replace("\"check\"", "\"renewal\"")));
    let launched: Vec<(String, i64)> =
        (1..=7).map(|month| (format!("2025-{month:02}-20T10:00:00"), 10)).collect();
    let launched: Vec<(&str, i64)> = launched.iter().map(|(at, count)| (&**at, *count)).collect();
    let found = |taken: &[(&str, &str)]| {
        let fleet = fleet(&set, |b| {
            fall(b, "F-10", None, Some("2025-01-01"), 0);
            fit(b, "F-10", "C-1", "2025-01-01", None);
            launches(b, "C-1", &launched);
            b.work("F-10", "strip", when("2025-05-01T09:00:00"), Outcome::Done);
        });
        let taken: Vec<(Instant, &str)> = taken.iter().map(|(moment, value)| (at(moment), *value)).collect();
        let evaluator = Evaluator::new(&set, &fleet, on("2025-08-31"));
        evaluator.wear(id(&fleet, "F-10"), &reads(&set, "check", "lining", &taken), &[]).remove(0)
    };
    let before = [
        ("2025-01-10T09:00:00", "8"),
        ("2025-01-21T09:00:00", "7"),
        ("2025-02-21T09:00:00", "6"),
        ("2025-03-21T09:00:00", "5.5"),
        ("2025-04-21T09:00:00", "4.5"),
    ];
    let renewed = [("2025-05-02T09:00:00", "8"), ("2025-06-21T09:00:00", "6"), ("2025-07-21T09:00:00", "5")];
    let wear = found(&[&before[..], &renewed[..]].concat());
    assert_eq!((wear.outlived, wear.points.len(), wear.jump), (5, 3, None));
    let trend = wear.trend.unwrap();
    assert!((trend.slope + 0.1).abs() < 1e-9, "{trend:?}");
    assert!((trend.crossing(wear.limit.unwrap()).unwrap() - 80.0).abs() < 1e-6);
    let kept =
        [("2025-05-02T09:00:00", "4.4"), ("2025-06-21T09:00:00", "4.3"), ("2025-07-21T09:00:00", "4.2")];
    let wear = found(&[&before[..], &kept[..]].concat());
    assert_eq!((wear.outlived, wear.points.len()), (0, 8));
    let wear = found(&[&before[1..3], &renewed[..]].concat());
    assert_eq!((wear.outlived, wear.points.len()), (2, 3), "too few for a line, and each is worse");
}
