//! Which use an item bears, through which fittings, and what it amounts to.

use jiff::civil::Date;
use policies::facts::{DayReach, Fleet, FleetBuilder, ItemRecord, Reach};
use policies::load::PolicySet;
use policies::usage::{self, Period};
use policies::zone::{Instant, Zone};

use crate::gear::{at, fall, fit, fleet, id, launches, meter, on, set, until, whole};

fn none() -> PolicySet {
    set("")
}

fn used(fleet: &Fleet, tag: &str, period: Period) -> i64 {
    let meter = meter(&none(), "launches");
    usage::used(fleet, id(fleet, tag), meter, period).millionths() / 1_000_000
}

fn always(fleet: &Fleet, tag: &str) -> Reach {
    Reach { host: id(fleet, tag), from: Instant::MIN, to: Instant::MAX }
}

/// domain brief 4.1 A: 61 launches on one carriage, in store, 84 on another, 97 on the first again: 242 of 250.
#[test]
fn use_follows_an_item_from_host_to_host() {
    let fleet = fleet(&none(), |b| {
        fit(b, "F-1", "C-1", "2024-03-11", Some("2025-02-03"));
        fit(b, "F-1", "C-2", "2025-02-20", Some("2026-01-15"));
        fit(b, "F-1", "C-1", "2026-01-19", None);
        let c1 = [("2024-03-10T12:00:00", 500), ("2024-03-11T12:00:00", 61), ("2025-02-04T12:00:00", 500)];
        launches(b, "C-1", &c1);
        launches(b, "C-2", &[("2025-02-19T12:00:00", 500), ("2025-02-20T12:00:00", 84)]);
        launches(b, "C-2", &[("2026-01-16T12:00:00", 500)]);
        launches(b, "C-1", &[("2026-01-18T12:00:00", 500), ("2026-10-11T12:00:00", 97)]);
    });
    assert_eq!(used(&fleet, "F-1", until("2026-10-12T00:00:00")), 242);
    assert_eq!(used(&fleet, "F-1", until("2026-10-11T12:00:00")), 145, "strictly before");
    let since = |after: &str| Period { after: Some(at(after)), before: at("2026-10-12T00:00:00") };
    assert_eq!(used(&fleet, "F-1", since("2025-02-20T11:59:59")), 181);
    assert_eq!(used(&fleet, "F-1", since("2025-02-20T12:00:00")), 97, "strictly after");
}

/// domain brief 4.1 B: launches at 09:40 and 14:20; one stopper off at 11:05, another on at 11:40: one each.
/// Known to the day only, each counts both.
#[test]
fn a_swap_in_the_day_is_split_where_moments_are_known() {
    let swap = |b: &mut FleetBuilder| {
        fit(b, "F-1", "C-1", "2026-01-01", Some("2026-09-14T11:05:00"));
        fit(b, "F-2", "C-1", "2026-09-14T11:40:00", None);
    };
    let dated = fleet(&none(), |b| {
        swap(b);
        launches(b, "C-1", &[("2026-09-14T09:40:00", 1), ("2026-09-14T14:20:00", 1)]);
    });
    let undated = fleet(&none(), |b| {
        swap(b);
        launches(b, "C-1", &[("2026-09-13", 8), ("2026-09-14", 2), ("2026-09-15", 16)]);
    });
    let evening = until("2026-09-16T00:00:00");
    assert_eq!((used(&dated, "F-1", evening), used(&dated, "F-2", evening)), (1, 1));
    assert_eq!((used(&undated, "F-1", evening), used(&undated, "F-2", evening)), (10, 18));
    // It counts at 23:59:59 of its day.
    assert_eq!(used(&undated, "F-2", until("2026-09-14T23:59:59")), 0);
    let after = Period { after: Some(at("2026-09-14T23:59:58")), before: at("2026-09-15T00:00:00") };
    assert_eq!(used(&undated, "F-2", after), 2);
    assert_eq!(used(&undated, "F-2", Period { after: Some(at("2026-09-14T23:59:59")), ..after }), 0);
}

/// A removal known to the day stands at its end: that day's use is borne, the next day's is not.
#[test]
fn a_day_of_removal_is_the_last_one_borne() {
    let fleet = fleet(&none(), |b| {
        fit(b, "F-1", "C-1", "2026-01-01", Some("2026-09-13"));
        launches(b, "C-1", &[("2026-09-13", 1), ("2026-09-14", 2)]);
    });
    assert_eq!(used(&fleet, "F-1", until("2026-12-31T00:00:00")), 1);
}

/// A fall on a winch on a carriage: only while both links stood, moment by moment; for use known to the day, link by
/// link, even where the links never met.
#[test]
fn use_comes_down_through_every_link() {
    let build = |fitted: &str, use_: &[(&str, i64)]| {
        fleet(&none(), |b| {
            fit(b, "F-1", "W-1", "2026-03-01", Some("2026-03-10T10:00:00"));
            fit(b, "W-1", "C-1", fitted, None);
            launches(b, "C-1", use_);
        })
    };
    let evening = until("2026-12-31T00:00:00");
    let dated = [("2026-03-10T08:59:59", 1), ("2026-03-10T09:30:00", 2), ("2026-03-10T10:00:00", 4)];
    assert_eq!(used(&build("2026-03-10T09:00:00", &dated), "F-1", evening), 2);
    assert_eq!(used(&build("2026-03-10T10:00:00", &dated), "F-1", evening), 0);
    let undated = [("2026-03-09", 1), ("2026-03-10", 2), ("2026-03-11", 4)];
    assert_eq!(used(&build("2026-03-10T15:00:00", &undated), "F-1", evening), 2);
    assert_eq!(used(&build("2026-03-11T00:00:00", &undated), "F-1", evening), 0);
    // Off at 10:00 on the 10th, so that its last day here is the 10th whatever the link above says.
    assert_eq!(used(&build("2026-01-01", &undated), "F-1", evening), 3);
}

/// The day on which the clocks go back has 25 hours: off its winch in the first minutes, the winch fitted in the last.
#[test]
fn a_day_of_25_hours_is_one_day() {
    let fleet = fleet(&none(), |b| {
        b.station("west", "West", Zone::parse("Europe/London").unwrap(), false);
        let record =
            ItemRecord { tag: "C-9", kind: "carriage", station: Some("west"), ..ItemRecord::default() };
        assert!(b.item(&record));
        fit(b, "F-1", "W-1", "2026-03-01", Some("2026-10-24T23:10:00"));
        fit(b, "W-1", "C-9", "2026-10-25T23:50:00", None);
        launches(b, "C-9", &[("2026-10-25", 3)]);
    });
    assert_eq!(used(&fleet, "F-1", until("2026-12-31T00:00:00")), 3);
}

/// However many ways lead to a host, its use counts once.
#[test]
fn stretches_on_one_host_are_merged() {
    let fleet = fleet(&none(), |b| {
        fit(b, "F-1", "W-1", "2026-03-01", Some("2026-03-20"));
        fit(b, "W-1", "C-1", "2026-01-01", None);
        // The same fall on the carriage itself, over part of that time and after it.
        fit(b, "F-1", "C-1", "2026-03-10", Some("2026-03-31"));
        fit(b, "F-1", "C-1", "2026-04-01", Some("2026-04-02"));
        fit(b, "F-1", "C-1", "2026-04-10", None);
        launches(b, "C-1", &[("2026-03-15T12:00:00", 1), ("2026-03-15", 2), ("2026-04-05T12:00:00", 4)]);
        launches(b, "C-1", &[("2026-04-05", 8), ("2026-04-01T12:00:00", 16), ("2026-04-01", 32)]);
    });
    assert_eq!(used(&fleet, "F-1", until("2026-12-31T00:00:00")), 1 + 2 + 16 + 32);
    let carriage = id(&fleet, "C-1");
    let (first, second) = ((at("2026-03-01T00:00:00"), at("2026-04-03T00:00:00")), at("2026-04-10T00:00:00"));
    let item = fleet.item(id(&fleet, "F-1"));
    let expected = [
        always(&fleet, "F-1"),
        Reach { host: id(&fleet, "W-1"), from: first.0, to: at("2026-03-21T00:00:00") },
        Reach { host: carriage, from: first.0, to: first.1 },
        Reach { host: carriage, from: second, to: Instant::MAX },
    ];
    let mut reach = item.reach.clone();
    reach.sort_by_key(|part| (part.from, part.to));
    assert_eq!(reach, expected);
    assert!(item.reach.is_sorted_by_key(|part| part.from));
}

/// Removed and refitted on one day, both stays hold that day, whose use counts once all the same.
#[test]
fn days_on_one_host_are_merged() {
    let fleet = fleet(&none(), |b| {
        fit(b, "F-1", "C-1", "2026-03-01", Some("2026-03-10T10:00:00"));
        fit(b, "F-1", "C-1", "2026-03-10T15:00:00", Some("2026-03-20T10:00:00"));
        fit(b, "F-1", "C-2", "2026-03-20T15:00:00", None);
        launches(b, "C-1", &[("2026-03-10", 1), ("2026-03-20", 2), ("2026-03-21", 4)]);
        launches(b, "C-2", &[("2026-03-19", 8), ("2026-03-20", 16)]);
    });
    assert_eq!(used(&fleet, "F-1", until("2026-12-31T00:00:00")), 1 + 2 + 16);
    let days = |host, first, last| DayReach { host: id(&fleet, host), first, last };
    let expected =
        [days("C-1", on("2026-03-01"), on("2026-03-20")), days("C-2", on("2026-03-20"), Date::MAX)];
    assert_eq!(fleet.item(id(&fleet, "F-1")).day_reach, expected);
    assert_eq!(fleet.item(id(&fleet, "C-1")).day_reach, [days("C-1", Date::MIN, Date::MAX)]);
}

#[test]
fn stays_that_only_touch_bear_nothing() {
    let fleet = fleet(&none(), |b| {
        fit(b, "F-1", "W-1", "2026-03-01", Some("2026-03-09"));
        fit(b, "W-1", "C-1", "2026-03-10", None);
        launches(b, "C-1", &[("2026-03-10T00:00:00", 1)]);
    });
    let item = fleet.item(id(&fleet, "F-1"));
    let winch =
        Reach { host: id(&fleet, "W-1"), from: at("2026-03-01T00:00:00"), to: at("2026-03-10T00:00:00") };
    assert_eq!(item.reach, [always(&fleet, "F-1"), winch]);
    assert!(item.day_reach.is_empty(), "no use is known to the day only");
}

/// Bearers of a host's use are looked for two days about, so that no zone's day is missed, and no further.
#[test]
fn a_host_knows_its_bearers() {
    let bearers = |fitted: &str| {
        let fleet = fleet(&none(), |b| {
            fit(b, "F-1", "W-1", "2026-03-01", Some("2026-03-10T00:00:00"));
            fit(b, "F-2", "W-1", "2026-03-01", Some("2026-03-02"));
            fit(b, "F-2", "W-1", "2026-03-20", None);
            fit(b, "F-2", "W-1", "2026-03-22", None);
            fit(b, "W-1", "C-1", fitted, None);
        });
        let tags: Vec<String> = fleet
            .bearers(id(&fleet, "C-1"))
            .into_iter()
            .map(|bearer| fleet.item(bearer).tag.to_string())
            .collect();
        tags
    };
    assert_eq!(bearers("2026-03-05"), ["C-1", "W-1", "F-1", "F-2"]);
    assert_eq!(bearers("2026-03-11T23:59:59"), ["C-1", "W-1", "F-1", "F-2"]);
    assert_eq!(bearers("2026-03-12T00:00:00"), ["C-1", "W-1", "F-2"]);
}

/// A loop in the records ends, and what lies on it still counts once.
#[test]
fn a_loop_ends() {
    let fleet = fleet(&none(), |b| {
        fit(b, "W-1", "W-2", "2026-03-01", None);
        fit(b, "W-2", "W-1", "2026-03-01", None);
        launches(b, "W-2", &[("2026-03-02T12:00:00", 1)]);
    });
    assert_eq!(used(&fleet, "W-1", until("2026-12-31T00:00:00")), 1);
}

/// A wire cut from another begins with what that one bore until the cut, its own opening included.
#[test]
fn a_cut_wire_inherits_use() {
    let cut = |entered: Option<&str>| {
        fleet(&none(), |b| {
            fall(b, "F-10", None, Some("2025-01-01"), 20);
            let record = ItemRecord {
                tag: "F-11",
                kind: "fall",
                station: Some("quay"),
                entered_service_on: entered.map(on),
                cut_from: Some("F-10"),
                opening: vec![("launches", whole(1)), ("pulls", whole(500))],
                ..ItemRecord::default()
            };
            assert!(b.item(&record));
            fit(b, "F-10", "C-1", "2026-01-01", None);
            fit(b, "F-11", "C-2", "2026-03-01", None);
            launches(
                b,
                "C-1",
                &[("2026-02-28T23:59:59", 3), ("2026-02-27", 40), ("2026-03-01T00:00:00", 100)],
            );
            launches(b, "C-2", &[("2026-03-01T00:00:00", 7)]);
        })
    };
    let launches = meter(&none(), "launches");
    let known = cut(Some("2026-03-01"));
    assert_eq!(usage::opening(&known, id(&known, "F-11"), launches), whole(1 + 20 + 3 + 40));
    assert_eq!(used(&known, "F-11", until("2026-12-31T00:00:00")), 64 + 7);
    let since = Period { after: Some(at("2026-01-01T00:00:00")), before: at("2026-12-31T00:00:00") };
    assert_eq!(used(&known, "F-11", since), 7, "work ends what came before the records");
    let unknown = cut(None);
    assert_eq!(usage::opening(&unknown, id(&unknown, "F-11"), launches), whole(1));
}

#[test]
fn the_first_use_of_a_period_is_dated_or_not() {
    let fleet = fleet(&none(), |b| {
        fit(b, "F-1", "C-1", "2026-03-01", None);
        launches(b, "C-1", &[("2026-02-01T12:00:00", 1), ("2026-03-05T12:00:00", 1), ("2026-03-04", 1)]);
    });
    let first = |after: Option<&str>, before: &str| {
        let period = Period { after: after.map(at), before: at(before) };
        usage::first_use(&fleet, id(&fleet, "F-1"), meter(&none(), "launches"), period)
    };
    assert_eq!(first(None, "2026-12-31T00:00:00"), Some(at("2026-03-04T23:59:59")));
    assert_eq!(first(Some("2026-03-04T23:59:59"), "2026-12-31T00:00:00"), Some(at("2026-03-05T12:00:00")));
    assert_eq!(first(Some("2026-03-05T12:00:00"), "2026-12-31T00:00:00"), None);
    assert_eq!(first(None, "2026-03-04T23:59:59"), None);
}

/// The stretches that are shown: nothing of an empty period, each cut to the period.
#[test]
fn stretches_are_cut_to_the_period() {
    let fleet = fleet(&none(), |b| {
        fit(b, "F-1", "C-1", "2026-03-01", Some("2026-03-10"));
        fit(b, "F-1", "C-2", "2026-03-20", None);
        for host in ["C-1", "C-2"] {
            launches(b, host, &[("2026-03-05T12:00:00", 1)]);
        }
    });
    let parts = |after: &str, before: &str| {
        let period = Period { after: Some(at(after)), before: at(before) };
        let parts = usage::stretches(&fleet, id(&fleet, "F-1"), meter(&none(), "launches"), period);
        parts.map(|(host, _, from, to)| (fleet.item(host).tag.to_string(), from, to)).collect::<Vec<_>>()
    };
    let (cut, left) = (at("2026-03-04T00:00:00"), at("2026-03-11T00:00:00"));
    let (second, end) = (at("2026-03-20T00:00:00"), at("2026-03-25T00:00:00"));
    let both = [("C-1".to_owned(), cut.next(), left), ("C-2".to_owned(), second, end)];
    assert_eq!(parts("2026-03-04T00:00:00", "2026-03-25T00:00:00"), both);
    assert_eq!(parts("2026-03-04T00:00:00", "2026-03-20T00:00:00"), both[..1], "it ends as the other begins");
    assert_eq!(parts("2026-03-12T00:00:00", "2026-03-15T00:00:00"), []);
}
