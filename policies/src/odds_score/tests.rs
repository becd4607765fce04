use super::*;
use crate::facts::{FleetBuilder, ItemRecord, Quantity};
use crate::load::{PolicyFile, load};
use crate::zone::When;
use jiff::ToSpan;
use jiff::civil::date;

fn day(n: i8) -> Date {
    date(2026, 10, n)
}

#[test]
fn a_date_is_judged_only_once_it_is_over() {
    let mut score = Score::default();
    let dates = [Some(day(10)), Some(day(15)), Some(day(20))];
    // Crossed early, but on the 12th nobody knows yet how the 50 and 90 % dates end for those that are open.
    score.add(dates, Some(day(9)), day(12));
    score.add(dates, None, day(12));
    assert_eq!((score.forecasts, score.crossed, score.open()), (2, 1, 1));
    assert_eq!(score.before, [Share { of: 2, crossed: 1 }, Share::default(), Share::default()]);
    assert_eq!((score.inside.of, score.inside.percent()), (0, None));
    score.add(dates, Some(day(20)), day(20));
    assert_eq!(score.before[2], Share { of: 1, crossed: 0 });
    assert_eq!(score.inside, Share { of: 1, crossed: 1 });
    score.add(dates, None, day(25));
    assert_eq!(score.inside.percent(), Some(50.0));
    assert_eq!(score.before[0].percent(), Some(25.0));
}

#[test]
fn month_ends_go_back_two_years() {
    let ends = month_ends(date(2026, 10, 11));
    assert_eq!((ends.len(), ends[0], ends[23]), (24, date(2024, 10, 31), date(2026, 9, 30)));
    assert_eq!(month_ends(date(2026, 3, 31)).last(), Some(&date(2026, 2, 28)));
}

const KINDS: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches"]
positions = [{ name = "port fall", takes = "launching fall" }]
[[kind]]
name = "launching fall"
"#;
const RULES: &str = r#"
[[rule]]
id = "fall-renewal"
title = "Renewal"
applies_to = { kind = "launching fall" }
work = "renewal"
usage = [{ meter = "launches", every = 100 }]
overdue = "stops launch"
by = "station mechanic"
authority = "house"
"#;

fn set() -> PolicySet {
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    load(&[file("kinds.toml", KINDS), file("falls.toml", RULES)]).unwrap()
}

/// One carriage with a launch every fifth day at noon, from the start of 2024 to the end of 2026, and a fall.
fn fleet(set: &PolicySet, by_day: bool) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    builder.item(&ItemRecord { tag: "C", kind: "carriage", ..ItemRecord::default() });
    builder.item(&ItemRecord { tag: "F", kind: "launching fall", ..ItemRecord::default() });
    let mut when = date(2024, 1, 1);
    builder.fitting("F", "C", "port fall", When::Day(when), None);
    while when <= date(2026, 12, 31) {
        let at = if by_day { When::Day(when) } else { When::At(Zone::utc().instant(when.at(12, 0, 0, 0))) };
        builder.used("C", "launches", at, Quantity::Count(Amount::whole(1)));
        when = when.checked_add(5.days()).unwrap();
    }
    builder.finish().0
}

#[test]
fn the_day_a_host_had_made_them_is_found_by_moment_and_by_day() {
    let set = set();
    let since = Zone::utc().end_of(date(2024, 1, 6));
    for by_day in [false, true] {
        let fleet = fleet(&set, by_day);
        let found = |left| crossing(&fleet, ItemId(0), MeterId(0), since, Amount::whole(left));
        assert_eq!(found(1), Some(date(2024, 1, 11)));
        assert_eq!(found(3), Some(date(2024, 1, 21)));
        assert_eq!(found(1000), None);
    }
}

/// 74 uses a year, 100 to the limit: foreseen at each month end from when the fall is fitted until it is worn
/// out in May 2025, and crossed from then on.
#[test]
fn a_fleet_is_scored_from_its_own_history() {
    let set = set();
    let fleet = fleet(&set, false);
    let scores = scores(&set, &fleet, date(2026, 1, 15));
    let fall = &scores[&set.kinds.find("launching fall").unwrap()];
    assert_eq!(scores.len(), 1);
    // 31 January 2024 to 30 April 2025.
    assert_eq!((fall.forecasts, fall.crossed, fall.hosts.len()), (16, 16, 1));
    assert!(fall.before[0].of >= fall.before[2].of);
    assert!(fall.inside.percent().unwrap() > 80.0, "{fall:?}");
}

/// Uses that come after a month end change nothing of what was foreseen there.
#[test]
fn the_future_is_not_looked_at() {
    let set = set();
    let fleet = fleet(&set, false);
    let early = scores(&set, &fleet, date(2024, 4, 30));
    let fall = &early[&set.kinds.find("launching fall").unwrap()];
    assert_eq!((fall.forecasts, fall.crossed, fall.open()), (3, 0, 3));
    assert_eq!(fall.before[2], Share::default());
}
