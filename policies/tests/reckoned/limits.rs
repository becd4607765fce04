//! At which use a limit is reached, and which of several a row shows.

use jiff::civil::{Date, date};
use policies::amount::Amount;
use policies::facts::{Fleet, FleetBuilder};
use policies::usage::{self, Period, Reached};

use crate::gear::{at, fall, fit, fleet, id, launches, meter, row, rule, set, until, when, whole};

fn of(build: impl FnOnce(&mut FleetBuilder)) -> Fleet {
    fleet(&set(""), build)
}

fn reach(fleet: &Fleet, tag: &str, period: Period, limit: i64) -> (Amount, Option<Reached>) {
    let launches = meter(&set(""), "launches");
    usage::used_and_reached(fleet, id(fleet, tag), launches, period, whole(limit))
}

fn by(moment: &str) -> Reached {
    Reached::At(at(moment))
}

const EVENING: &str = "2026-12-31T00:00:00";

/// Stretch after stretch: 3 on one host, 4 on the next.
#[test]
fn a_limit_is_reached_in_the_stretch_that_fills_it() {
    let fleet = of(|b| {
        fit(b, "F-1", "C-1", "2026-01-01", Some("2026-01-31"));
        fit(b, "F-1", "C-2", "2026-02-01", None);
        launches(b, "C-1", &[("2026-01-05T10:00:00", 1), ("2026-01-06T10:00:00", 2)]);
        launches(
            b,
            "C-2",
            &[("2026-01-20T10:00:00", 50), ("2026-02-05T10:00:00", 3), ("2026-02-06T10:00:00", 1)],
        );
    });
    for (limit, moment) in [
        (1, "2026-01-05T10:00:00"),
        (2, "2026-01-06T10:00:00"),
        (3, "2026-01-06T10:00:00"),
        (4, "2026-02-05T10:00:00"),
        (6, "2026-02-05T10:00:00"),
        (7, "2026-02-06T10:00:00"),
    ] {
        assert_eq!(reach(&fleet, "F-1", until(EVENING), limit), (whole(7), Some(by(moment))), "{limit}");
    }
    assert_eq!(reach(&fleet, "F-1", until(EVENING), 8), (whole(7), None));
    let since = Period { after: Some(at("2026-01-05T10:00:00")), before: at(EVENING) };
    assert_eq!(reach(&fleet, "F-1", since, 3), (whole(6), Some(by("2026-02-05T10:00:00"))));
}

/// 20 launches before the records; work ends them.
#[test]
fn use_before_the_records_reaches_a_limit_first() {
    let fleet = of(|b| {
        fall(b, "F-10", None, None, 20);
        fit(b, "F-10", "C-1", "2026-01-01", None);
        launches(b, "C-1", &[("2026-01-05T10:00:00", 1), ("2026-01-06T10:00:00", 2)]);
    });
    assert_eq!(reach(&fleet, "F-10", until(EVENING), 19), (whole(23), Some(Reached::Opening)));
    assert_eq!(reach(&fleet, "F-10", until(EVENING), 20), (whole(23), Some(Reached::Opening)));
    assert_eq!(reach(&fleet, "F-10", until(EVENING), 21), (whole(23), Some(by("2026-01-05T10:00:00"))));
    assert_eq!(reach(&fleet, "F-10", until(EVENING), 22), (whole(23), Some(by("2026-01-06T10:00:00"))));
    let since = Period { after: Some(at("2026-01-01T00:00:00")), before: at(EVENING) };
    assert_eq!(reach(&fleet, "F-10", since, 3), (whole(3), Some(by("2026-01-06T10:00:00"))));
    assert_eq!(reach(&fleet, "F-10", since, 20), (whole(3), None));
}

/// Its own launches and its host's in turn: 1 on the 1st, 2 on the 2nd (own), 4 on the 3rd, 8 on the 4th (own).
#[test]
fn stretches_that_overlap_are_counted_use_by_use() {
    let fleet = of(|b| {
        fall(b, "F-10", None, None, 100);
        fit(b, "F-10", "C-1", "2026-01-01", None);
        launches(b, "F-10", &[("2026-01-02T10:00:00", 2), ("2026-01-04T10:00:00", 8)]);
        launches(b, "C-1", &[("2026-01-01T10:00:00", 1), ("2026-01-03T10:00:00", 4)]);
    });
    for (limit, moment) in [
        (101, "2026-01-01T10:00:00"),
        (102, "2026-01-02T10:00:00"),
        (103, "2026-01-02T10:00:00"),
        (107, "2026-01-03T10:00:00"),
        (108, "2026-01-04T10:00:00"),
        (115, "2026-01-04T10:00:00"),
    ] {
        assert_eq!(reach(&fleet, "F-10", until(EVENING), limit), (whole(115), Some(by(moment))), "{limit}");
    }
    assert_eq!(reach(&fleet, "F-10", until(EVENING), 100), (whole(115), Some(Reached::Opening)));
    assert_eq!(reach(&fleet, "F-10", until(EVENING), 116), (whole(115), None));
}

/// Use known to the day counts at the end of that day, between what is dated.
#[test]
fn use_of_a_day_reaches_a_limit_at_its_end() {
    let fleet = of(|b| {
        fit(b, "F-1", "C-1", "2026-01-01", None);
        launches(b, "C-1", &[("2026-01-01T10:00:00", 1), ("2026-01-02", 2), ("2026-01-03T10:00:00", 4)]);
    });
    assert_eq!(reach(&fleet, "F-1", until(EVENING), 3), (whole(7), Some(by("2026-01-02T23:59:59"))));
    assert_eq!(reach(&fleet, "F-1", until(EVENING), 4), (whole(7), Some(by("2026-01-03T10:00:00"))));
    assert_eq!(reach(&fleet, "F-1", until(EVENING), 8), (whole(7), None));
    assert_eq!(
        reach(&fleet, "F-1", until("2026-01-03T00:00:00"), 3),
        (whole(3), Some(by("2026-01-02T23:59:59")))
    );
}

/// First on a carriage; then on a winch with launches of its own that comes onto another carriage later: the stretches
/// follow one another, then overlap.
#[test]
fn one_overlap_among_many_stretches_is_enough() {
    let fleet = of(|b| {
        fit(b, "F-1", "C-1", "2026-01-01", Some("2026-01-09"));
        fit(b, "F-1", "W-1", "2026-01-10", None);
        fit(b, "W-1", "C-2", "2026-01-12", None);
        launches(b, "C-1", &[("2026-01-05T10:00:00", 1)]);
        launches(b, "W-1", &[("2026-01-11T10:00:00", 1), ("2026-01-20T10:00:00", 1)]);
        launches(b, "C-2", &[("2026-01-15T10:00:00", 1)]);
    });
    assert_eq!(reach(&fleet, "F-1", until(EVENING), 3), (whole(4), Some(by("2026-01-15T10:00:00"))));
    assert_eq!(reach(&fleet, "F-1", until(EVENING), 4), (whole(4), Some(by("2026-01-20T10:00:00"))));
}

/// Two limits: reached before unreached, then the earlier, then the meter's name.
#[test]
fn of_two_limits_the_first_reached_is_shown() {
    let clauses = "usage = [{ meter = \"pulls\", every = 10 }, { meter = \"launches\", every = 20 }]";
    let set = set(&rule("two", clauses));
    let shown = |pulls: &[(&str, i64)], count: &[(&str, i64)]| {
        let fleet = fleet(&set, |b| {
            fit(b, "F-1", "W-1", "2026-01-01", None);
            fit(b, "W-1", "C-1", "2026-01-01", None);
            for (day, count) in pulls {
                b.used("W-1", "pulls", when(day), policies::facts::Quantity::Count(whole(*count)));
            }
            launches(b, "C-1", count);
        });
        let row = row(&set, &fleet, "F-1", "two", "2026-12-31");
        (set.kinds.meter_name(row.meter.unwrap()).to_owned(), row.used, row.limit, row.usage_due)
    };
    let launches = |used, due: Option<Date>| ("launches".to_owned(), whole(used), whole(20), due);
    let pulls = |used, due: Option<Date>| ("pulls".to_owned(), whole(used), whole(10), due);
    let (early, late) = ("2026-03-01T10:00:00", "2026-04-01T10:00:00");
    assert_eq!(shown(&[], &[]), launches(0, None), "neither: by name");
    assert_eq!(shown(&[(late, 10)], &[(early, 19)]), pulls(10, Some(date(2026, 4, 1))));
    assert_eq!(shown(&[(early, 9)], &[(late, 20)]), launches(20, Some(date(2026, 4, 1))));
    assert_eq!(shown(&[(early, 10)], &[(late, 20)]), pulls(10, Some(date(2026, 3, 1))));
    assert_eq!(shown(&[(late, 10)], &[(early, 20)]), launches(20, Some(date(2026, 3, 1))));
    assert_eq!(shown(&[(early, 10)], &[(early, 20)]), launches(20, Some(date(2026, 3, 1))), "by name");
}

/// Two limits on one meter that nothing tells apart yet: the first that is written.
#[test]
fn of_two_equal_limits_the_first_is_shown() {
    let set = set(&rule(
        "two",
        "usage = [{ meter = \"launches\", every = 20 }, { meter = \"launches\", every = 10 }]",
    ));
    let fleet = fleet(&set, |_| {});
    assert_eq!(row(&set, &fleet, "F-1", "two", "2026-03-01").limit, whole(20));
}

/// Use before the records reached it: on the day it came into service, else was made, else today.
#[test]
fn a_limit_reached_before_the_records_has_the_day_of_entry() {
    let set = set(&rule("limit", "usage = { meter = \"launches\", every = 10 }"));
    let fleet = fleet(&set, |b| {
        fall(b, "F-10", Some("2024-01-05"), Some("2025-06-01"), 10);
        fall(b, "F-11", Some("2024-01-05"), None, 10);
        fall(b, "F-12", None, None, 10);
        fall(b, "F-13", None, Some("2025-06-01"), 9);
    });
    let due = |tag: &str| row(&set, &fleet, tag, "limit", "2026-03-01").usage_due;
    assert_eq!(due("F-10"), Some(date(2025, 6, 1)));
    assert_eq!(due("F-11"), Some(date(2024, 1, 5)));
    assert_eq!(due("F-12"), Some(date(2026, 3, 1)));
    assert_eq!(due("F-13"), None);
}
