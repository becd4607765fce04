//! The fleets are valid, repeatable, and reach the edges that they are drawn for.

use super::{RandomFleet, random_fleet};
use crate::slow_checker::{Row, reckon_each};
use std::collections::{BTreeMap, BTreeSet};

const SEEDS: u64 = 60;

fn tables(fleet: &RandomFleet) -> Vec<Vec<Row>> {
    match reckon_each(&fleet.files, &fleet.policies, &fleet.as_of) {
        Ok(tables) => tables,
        Err(fault) => panic!("{fault}"),
    }
}

#[test]
fn one_seed_one_fleet() {
    let (one, other) = (random_fleet(7), random_fleet(7));
    assert_eq!(one.files, other.files);
    assert_eq!(one.policies, other.policies);
    assert_eq!(one.as_of, other.as_of);
    assert_ne!(one.files, random_fleet(8).files);
}

#[test]
fn every_fleet_is_valid_and_of_the_promised_size() {
    for seed in 0..SEEDS {
        let fleet = random_fleet(seed);
        let lines = |name: &str| fleet.files[name].trim_end().lines().count() - 1;
        assert!((2..=4).contains(&lines("stations.csv")), "{seed}");
        assert!((12..=26).contains(&lines("items.csv")), "{seed}");
        assert!(lines("usage.csv") > 30 && lines("work.csv") > 20, "{seed}");
        assert!(fleet.as_of.len() >= 3, "{seed}");
        tables(&fleet);
    }
}

#[test]
fn the_order_of_rows_changes_nothing() {
    for seed in 0..8 {
        let mut fleet = random_fleet(seed);
        let before = tables(&fleet);
        for text in fleet.files.values_mut() {
            let mut lines: Vec<&str> = text.lines().collect();
            lines[1..].reverse();
            *text = lines.join("\n");
        }
        assert_eq!(tables(&fleet), before, "{seed}");
    }
}

#[test]
fn void_rows_changed_nothing_by_being_there() {
    for seed in 0..8 {
        let mut fleet = random_fleet(seed);
        let before = tables(&fleet);
        let mut dropped = 0;
        for (name, text) in &mut fleet.files {
            let header = text.lines().next().unwrap().trim_start_matches('\u{feff}');
            let Some(place) = header.split(',').position(|column| column == "void") else {
                assert!(name == "items.csv" || name == "stations.csv");
                continue;
            };
            let live = |line: &&str| line.split(',').nth(place) != Some("yes");
            let kept: Vec<&str> = text.lines().filter(live).collect();
            dropped += text.lines().count() - kept.len();
            *text = kept.join("\n");
        }
        assert!(dropped > 0, "{seed}");
        assert_eq!(tables(&fleet), before, "{seed}");
    }
}

/// How often each edge was reached over all seeds, from the rows and from the texts.
#[test]
fn the_edges_are_reached() {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for seed in 0..SEEDS {
        let fleet = random_fleet(seed);
        for row in tables(&fleet).iter().flatten() {
            for edge in edges_of(row) {
                *seen.entry(edge).or_default() += 1;
            }
        }
        for edge in words_of(&fleet) {
            *seen.entry(edge).or_default() += 1;
        }
    }
    let wanted = [
        "no base",
        "calendar",
        "usage",
        "after",
        "part used",
        "in date",
        "falling due",
        "due",
        "in tolerance",
        "overdue",
        "meter replaced",
        "withdrawn",
        "failed",
        "grid = \"fixed\"",
        "authority = \"law\"",
        "\"pauses\"",
        "anchor",
        "\"manufacture\"",
        "entry into service",
        "event = \"proof load failed",
        "path proof load failed",
        "certificate = true",
        "set member renewed",
        "event = \"fitted\"",
        "event = \"removed\"",
        "event = \"crop\"",
        "covers",
        "home_zone",
        "<-03>3",
        "TVT0TVST",
        "Europe/London",
        "America/St_Johns",
        "Pacific/Auckland",
        "grade = \">",
        "station = \"!=",
        "before_use",
        "launches=",
        "set-1",
        "02-29",
        "cut",
        "nested use",
    ];
    for edge in wanted {
        assert!(seen.get(edge).is_some_and(|count| *count >= 3), "{edge}: {:?}", seen.get(edge));
    }
}

fn edges_of(row: &Row) -> BTreeSet<String> {
    let used = row.used.iter().any(|(_, used, _)| used != "0");
    let part = row.used.iter().any(|(_, used, _)| used.contains('.'));
    let mut edges = BTreeSet::from([row.standing_without_forecast.to_owned()]);
    let marks = [
        (row.no_base, "no base"),
        (row.calendar_due.is_some(), "calendar"),
        (row.usage_due.is_some(), "usage"),
        (row.after_due.is_some(), "after"),
        (part, "part used"),
        (used && row.item.starts_with("SH-"), "nested use"),
    ];
    edges.extend(marks.iter().filter(|(met, _)| *met).map(|(_, mark)| (*mark).to_owned()));
    edges
}

fn words_of(fleet: &RandomFleet) -> BTreeSet<String> {
    let words = [
        "meter replaced",
        "withdrawn",
        "failed",
        "grid = \"fixed\"",
        "authority = \"law\"",
        "\"pauses\"",
        "anchor",
        "\"manufacture\"",
        "entry into service",
        "event = \"proof load failed",
        "path proof load failed",
        "certificate = true",
        "set member renewed",
        "event = \"fitted\"",
        "event = \"removed\"",
        "event = \"crop\"",
        "covers",
        "home_zone",
        "<-03>3",
        "TVT0TVST",
        "Europe/London",
        "America/St_Johns",
        "Pacific/Auckland",
        "grade = \">",
        "station = \"!=",
        "before_use",
        "launches=",
        "set-1",
        "02-29",
    ];
    let texts: Vec<&String> = fleet.files.values().chain(fleet.policies.values()).collect();
    let found = words.iter().filter(|word| texts.iter().any(|text| text.contains(**word)));
    let mut found: BTreeSet<String> = found.map(|word| (*word).to_owned()).collect();
    let cut = |line: &str| line.matches("LF-").count() == 2;
    if fleet.files["items.csv"].lines().any(cut) {
        found.insert("cut".to_owned());
    }
    found
}
