//! The three ways of handing out the fleet say the same, and the fleet is one that a register accepts.

use super::{AS_OF, RULES, Size, feed, policy_files, raw, write_register};
use csv::StringRecord;
use jiff::Timestamp;
use jiff::civil::Date;
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome, Quantity};
use policies::fitting::{Stay, check};
use policies::load::{PolicyFile, PolicySet, load};
use policies::rule::Value;
use policies::zone::{When, Zone};
use std::path::Path;

const SMALL: Size = Size { stations: 7, items: 1_000, events: 9_000 };

fn policy_set() -> PolicySet {
    let files = policy_files(&SMALL).into_iter().map(|(name, text)| PolicyFile { name, text });
    load(&files.collect::<Vec<_>>()).unwrap()
}

fn fed(set: &PolicySet) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    feed(&SMALL, &mut builder);
    let (fleet, falls) = builder.finish();
    assert!(falls.is_empty());
    fleet
}

fn rows(folder: &Path, name: &str) -> Vec<StringRecord> {
    csv::Reader::from_path(folder.join(name)).unwrap().records().map(Result::unwrap).collect()
}

fn when(cell: &str) -> When {
    match cell.parse::<Date>() {
        Ok(day) if cell.len() == 10 => When::Day(day),
        _ => When::At(cell.parse::<Timestamp>().unwrap().into()),
    }
}

fn read_back(set: &PolicySet, folder: &Path) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    for row in rows(folder, "stations.csv") {
        builder.station(&row[0], &row[1], Zone::parse(&row[2]).unwrap(), row[3].starts_with('-'));
    }
    for row in rows(folder, "items.csv") {
        read_item(&mut builder, &row);
    }
    for row in rows(folder, "fittings.csv") {
        let removed = (!row[4].is_empty()).then(|| when(&row[4]));
        builder.fitting(&row[0], &row[2], &row[3], when(&row[1]), removed);
    }
    for row in rows(folder, "usage.csv") {
        let quantity = match row[4].parse::<Amount>() {
            Ok(count) => Quantity::Count(count),
            Err(_) => Quantity::Reading(row[5].parse().unwrap(), false),
        };
        builder.used(&row[1], &row[3], when(&row[2]), quantity);
    }
    for row in rows(folder, "work.csv") {
        builder.work(&row[1], &row[2], when(&row[3]), Outcome::from_word(&row[4]).unwrap());
    }
    builder.finish().0
}

fn read_item(builder: &mut FleetBuilder, row: &StringRecord) {
    let load = (!row[5].is_empty()).then(|| ("wll_t", Value::Number(row[5].parse().unwrap())));
    let known = builder.item(&ItemRecord {
        tag: &row[0],
        kind: &row[1],
        station: Some(&row[2]),
        manufactured_on: Some(row[3].parse().unwrap()),
        entered_service_on: Some(row[4].parse().unwrap()),
        attributes: load.into_iter().collect(),
        ..ItemRecord::default()
    });
    assert!(known, "{row:?}");
}

#[test]
fn the_register_holds_what_is_fed() {
    let folder = std::env::temp_dir().join(format!("large-fleet-{}", std::process::id()));
    write_register(&SMALL, &folder).unwrap();
    let set = policy_set();
    let same = read_back(&set, &folder) == fed(&set);
    let policies = std::fs::read_to_string(folder.join("policies/rules.toml")).unwrap();
    std::fs::remove_dir_all(&folder).unwrap();
    assert!(same);
    assert_eq!(policies, policy_files(&SMALL)[1].1);
}

#[test]
fn it_has_the_rows_that_its_size_says() {
    let raw = raw(&SMALL);
    assert_eq!(raw.items.len(), SMALL.all_items() as usize);
    assert_eq!(raw.fittings.len(), SMALL.items as usize * 3);
    assert_eq!(raw.uses.len(), SMALL.events as usize);
    let set = policy_set();
    let fleet = fed(&set);
    let table = Evaluator::without_forecasts(&set, &fleet, AS_OF).table();
    assert_eq!(table.len(), SMALL.item_rules() as usize);
    assert!(RULES.iter().zip(&set.rules).all(|(spec, rule)| spec.id == rule.id));
    assert!(
        table.iter().any(|row| row.usage_due.is_some()) && table.iter().any(|row| row.after_due.is_some())
    );
}

#[test]
fn a_quarter_of_the_last_works_or_more_fall_on_a_months_end() {
    let works = raw(&SMALL).works;
    let days = works.iter().filter_map(|work| match work.when {
        When::Day(day) if work.passed => Some(day),
        _ => None,
    });
    assert!(days.filter(|day| *day == day.last_of_month()).count() * 6 > works.len());
}

#[test]
fn its_fittings_can_all_be_true() {
    let raw = raw(&SMALL);
    let zone = Zone::utc();
    let stays = raw.fittings.iter().map(|row| Stay {
        item: &raw.items[row.item as usize].tag,
        host: &raw.items[row.host as usize].tag,
        position: row.position,
        capacity: 24,
        fitted: super::moment(row.fitted),
        removed: row.removed.map(super::moment),
        zone: &zone,
    });
    assert_eq!(check(&stays.collect::<Vec<_>>()), []);
}
