//! Without a day that is asked for, every item is judged on the day that it is in its own zone.

use policies::as_of::AsOf;
use policies::due::{DueRow, Evaluator};
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome, Quantity};
use policies::load::PolicySet;
use policies::standing::Standing;
use policies::zone::{Instant, When, Zone};

use crate::gear::{at, on, rule, set, whole};

/// Home keeps UTC; ten hours east of it, and three hours west.
fn two_stations(set: &PolicySet, add: impl FnOnce(&mut FleetBuilder)) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    for (slug, zone) in [("east", "<+10>-10"), ("west", "<-03>3")] {
        builder.station(slug, slug, Zone::parse(zone).unwrap(), false);
        for (tag, kind) in [("C", "carriage"), ("F", "fall")] {
            let tag = format!("{tag}-{slug}");
            let record = ItemRecord { tag: &tag, kind, station: Some(slug), ..ItemRecord::default() };
            assert!(builder.item(&record));
        }
        let (item, host) = (format!("F-{slug}"), format!("C-{slug}"));
        builder.fitting(&item, &host, "stopper", When::Day(on("2026-01-01")), None);
    }
    add(&mut builder);
    builder.finish().0
}

fn row(set: &PolicySet, fleet: &Fleet, tag: &str, rule: &str, as_of: impl Into<AsOf>) -> DueRow {
    let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
    evaluator.row(fleet.find(tag).unwrap(), set.find_rule(rule).unwrap())
}

/// A shock at 00:30 of 12 October in the east, where home has 14:30 of the 11th: it holds at once, not from home's
/// midnight.
#[test]
fn what_happened_after_midnight_in_the_east_counts_at_once() {
    let set = set(&rule("shock", "after = { event = \"launches\", within = \"0 days\" }"));
    let happened = at("2026-10-11T14:30:00");
    let fleet = two_stations(&set, |b| {
        b.used("C-east", "launches", When::At(happened), Quantity::Count(whole(1)));
    });
    let now = at("2026-10-11T14:40:00");
    let live = row(&set, &fleet, "F-east", "shock", now);
    assert!(live.held && live.after_due == Some(on("2026-10-12")));
    assert!(
        !row(&set, &fleet, "F-east", "shock", on("2026-10-11")).held,
        "a day that is asked for ends with it"
    );
}

/// At 14:30 of the 11th at home the east has the 12th; a station's day and its end are its own.
#[test]
fn a_station_has_its_own_day() {
    let set = set("");
    let fleet = two_stations(&set, |_| {});
    let of = |as_of: AsOf| {
        let evaluator = Evaluator::without_forecasts(&set, &fleet, as_of);
        fleet.stations.iter().map(|s| (evaluator.day_at(s), evaluator.end_at(s))).collect::<Vec<_>>()
    };
    let (eleventh, twelfth) = (on("2026-10-11"), on("2026-10-12"));
    let (east, west) = (at("2026-10-11T14:00:00"), at("2026-10-12T03:00:00"));
    assert_eq!(
        of(at("2026-10-11T14:30:00").into()),
        [(twelfth, at("2026-10-12T14:00:00")), (eleventh, west)]
    );
    assert_eq!(of(eleventh.into()), [(eleventh, east), (eleventh, west)], "a day that is asked for");
}

/// Due on 12 October: at 01:00 of that day at home it is still the 11th in the west.
#[test]
fn a_date_in_the_west_comes_with_its_own_midnight() {
    let set = set(&rule("date", "calendar = { every = \"1 month\" }"));
    let fleet = two_stations(&set, |b| {
        for tag in ["F-east", "F-west"] {
            b.work(tag, "date", When::Day(on("2026-09-12")), Outcome::Passed);
        }
    });
    let standing = |tag, now: &str| row(&set, &fleet, tag, "date", at(now)).standing;
    assert_eq!(standing("F-west", "2026-10-12T01:00:00"), Standing::InDate);
    assert_eq!(standing("F-east", "2026-10-12T01:00:00"), Standing::Due);
    assert_eq!(standing("F-west", "2026-10-12T03:00:00"), Standing::Due);
    assert_eq!(standing("F-east", "2026-10-12T14:00:00"), Standing::Overdue);
    assert_eq!(standing("F-west", "2026-10-13T02:59:59"), Standing::Due);
}

/// Forecasts lie after the day that it is where the host is.
#[test]
fn forecasts_begin_with_the_next_day_of_the_host() {
    let set = set(&rule("use", "usage = { meter = \"launches\", every = 3 }"));
    let fleet = two_stations(&set, |b| {
        for (tag, day) in [("C-east", 1..12_i64), ("C-west", 1..12)] {
            for day in day {
                let moment = Instant(at("2026-09-30T12:00:00").0 + day * 86_400_000_000);
                b.used(tag, "launches", When::At(moment), Quantity::Count(whole(1)));
            }
        }
        for tag in ["F-east", "F-west"] {
            b.work(tag, "use", When::At(at("2026-10-10T13:00:00")), Outcome::Done);
        }
    });
    let now = at("2026-10-11T20:00:00");
    let evaluator = Evaluator::new(&set, &fleet, now);
    let first = |tag: &str, home: bool| {
        let rule = set.find_rule("use").unwrap();
        let day = if home {
            Evaluator::new(&set, &fleet, on("2026-10-11"))
        } else {
            Evaluator::new(&set, &fleet, now)
        };
        day.row(fleet.find(tag).unwrap(), rule).forecast[0].unwrap()
    };
    assert_eq!(first("F-west", false), first("F-west", true), "the 11th there as at home");
    assert!(first("F-east", false) > on("2026-10-12"), "it is the 12th there");
    assert_eq!(evaluator.day(fleet.item(fleet.find("F-east").unwrap())), on("2026-10-12"));
}
