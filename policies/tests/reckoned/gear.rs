//! A little gear to reckon with: two carriages, two winches and three falls at a station that keeps UTC.

use jiff::civil::Date;
use policies::amount::Amount;
use policies::due::{DueRow, Evaluator};
use policies::facts::{Fleet, FleetBuilder, ItemId, ItemRecord, Quantity};
use policies::kinds::MeterId;
use policies::load::{PolicyFile, PolicySet, load};
use policies::usage::Period;
use policies::zone::{Instant, When, Zone};

/// What bears on a winch or a fall alone can be logged on it, though forecasts look for the host that carries a meter.
const KINDS: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches"]
positions = [{ name = "winch", takes = "winch", count = 2 }, { name = "stopper", takes = "fall", count = 4 }]
[[kind]]
name = "winch"
meters = ["pulls"]
positions = [{ name = "drum", takes = "fall", count = 2 }]
[[kind]]
name = "fall"
"#;

/// Kinds and rules, the odds as shipped but not learnt.
pub fn set(rules: &str) -> PolicySet {
    set_of(KINDS, rules, "")
}

/// The same with other kinds, and settings of the service before its odds.
pub fn set_of(kinds: &str, rules: &str, service: &str) -> PolicySet {
    let files = [
        ("kinds.toml", kinds.to_owned()),
        ("rules.toml", rules.to_owned()),
        ("service.toml", format!("home_zone = \"UTC\"\n{service}\n[odds]\nlearn = false\n")),
    ];
    load(&files.map(|(name, text)| PolicyFile { name: name.to_owned(), text })).unwrap()
}

/// A rule on falls that stops a launch.
pub fn rule(id: &str, clauses: &str) -> String {
    format!(
        "[[rule]]\nid = \"{id}\"\ntitle = \"t\"\napplies_to = {{ kind = \"fall\" }}\nwork = \"check\"\n\
         overdue = \"stops launch\"\nauthority = \"house\"\n{clauses}\n"
    )
}

pub fn fleet(set: &PolicySet, add: impl FnOnce(&mut FleetBuilder)) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    builder.station("quay", "Quay", Zone::utc(), false);
    for (tag, kind) in [
        ("C-1", "carriage"),
        ("C-2", "carriage"),
        ("W-1", "winch"),
        ("W-2", "winch"),
        ("F-1", "fall"),
        ("F-2", "fall"),
        ("F-3", "fall"),
    ] {
        let record = ItemRecord { tag, kind, station: Some("quay"), ..ItemRecord::default() };
        assert!(builder.item(&record));
    }
    add(&mut builder);
    builder.finish().0
}

/// A fall made and in service on days of its own, with launches before the records.
pub fn fall(builder: &mut FleetBuilder, tag: &str, made: Option<&str>, entered: Option<&str>, opening: i64) {
    let record = ItemRecord {
        tag,
        kind: "fall",
        station: Some("quay"),
        manufactured_on: made.map(on),
        entered_service_on: entered.map(on),
        opening: if opening == 0 { Vec::new() } else { vec![("launches", Amount::whole(opening))] },
        ..ItemRecord::default()
    };
    assert!(builder.item(&record));
}

/// `2026-03-01` is a day, `2026-03-01T10:00:00` a moment of it.
pub fn when(text: &str) -> When {
    if text.len() == 10 { When::Day(on(text)) } else { When::At(at(text)) }
}

pub fn on(text: &str) -> Date {
    text.parse().unwrap()
}

pub fn at(text: &str) -> Instant {
    Zone::utc().instant(text.parse().unwrap())
}

/// A stay on a host; the position is the one that fits the kinds.
pub fn fit(builder: &mut FleetBuilder, item: &str, host: &str, from: &str, to: Option<&str>) {
    let position = match (&host[..1], &item[..1]) {
        ("C", "W") => "winch",
        ("C", _) => "stopper",
        _ => "drum",
    };
    builder.fitting(item, host, position, when(from), to.map(when));
}

pub fn launches(builder: &mut FleetBuilder, host: &str, days: &[(&str, i64)]) {
    for (day, count) in days {
        builder.used(host, "launches", when(day), Quantity::Count(Amount::whole(*count)));
    }
}

pub fn id(fleet: &Fleet, tag: &str) -> ItemId {
    fleet.find(tag).unwrap()
}

pub fn meter(set: &PolicySet, name: &str) -> MeterId {
    set.kinds.find_meter(name).unwrap()
}

pub fn whole(count: i64) -> Amount {
    Amount::whole(count)
}

/// From the very beginning up to a moment.
pub fn until(text: &str) -> Period {
    Period { after: None, before: at(text) }
}

/// The row of a rule on an item, without forecasts.
pub fn row(set: &PolicySet, fleet: &Fleet, tag: &str, rule: &str, as_of: &str) -> DueRow {
    Evaluator::without_forecasts(set, fleet, on(as_of)).row(id(fleet, tag), set.find_rule(rule).unwrap())
}
