use std::collections::BTreeMap;

use super::coast::{STATIONS, home_zone, instant};
use super::register;

type Row = BTreeMap<String, String>;

/// Enough of CSV for what the scenario writes.
fn rows(text: &str) -> Vec<Row> {
    let mut lines = text.lines().map(cells);
    let header = lines.next().unwrap();
    lines.map(|cells| header.iter().cloned().zip(cells).collect()).collect()
}

fn cells(line: &str) -> Vec<String> {
    let (mut cells, mut cell, mut quoted) = (Vec::new(), String::new(), false);
    for letter in line.chars() {
        match letter {
            '"' => quoted = !quoted,
            ',' if !quoted => cells.push(std::mem::take(&mut cell)),
            _ => cell.push(letter),
        }
    }
    cells.push(cell);
    cells
}

fn sum(usage: &[Row], host: &str, meter: &str) -> u32 {
    usage
        .iter()
        .filter(|row| row["host"] == host && row["meter"] == meter)
        .map(|row| row["count"].parse::<u32>().unwrap())
        .sum()
}

#[test]
fn the_home_rule_has_summer_time() {
    let zone = home_zone();
    let noon = |text: &str| instant(&zone, text.parse().unwrap()).to_string();
    assert_eq!(noon("2026-07-01T12:00:00"), "2026-07-01T11:00:00Z");
    assert_eq!(noon("2026-12-01T12:00:00"), "2026-12-01T12:00:00Z");
}

#[test]
fn each_station_logs_its_totals() {
    let usage = rows(&register()["usage.csv"]);
    for station in &STATIONS {
        let totals = &station.totals;
        assert_eq!(sum(&usage, &station.carriage(), "launches"), totals.launches, "{}", station.code);
        assert_eq!(sum(&usage, &station.carriage(), "recoveries"), totals.recoveries, "{}", station.code);
        assert_eq!(sum(&usage, &station.station_set(), "recoveries"), totals.recoveries, "{}", station.code);
        assert_eq!(sum(&usage, &station.winch(), "pulls"), totals.pulls, "{}", station.code);
        assert_eq!(sum(&usage, &station.tractor(), "immersions"), totals.immersions, "{}", station.code);
    }
}

#[test]
fn each_log_runs_from_the_first_day() {
    let usage = rows(&register()["usage.csv"]);
    for station in &STATIONS {
        for host in [station.carriage(), station.station_set(), station.winch(), station.tractor()] {
            let first = usage.iter().filter(|row| row["host"] == host).map(|row| &row["at"][..10]).min();
            assert_eq!(first, Some("2023-10-01"), "{host}");
        }
    }
}

#[test]
fn the_twice_moved_wire_has_61_and_84_and_97_launches() {
    let register = register();
    let usage = rows(&register["usage.csv"]);
    let fittings = rows(&register["fittings.csv"]);
    let counts: Vec<usize> = fittings
        .iter()
        .filter(|row| row["item"] == "F-0417")
        .map(|fitting| {
            let at = |column: &str| fitting[column].parse::<jiff::Timestamp>();
            let (from, to) = (at("fitted_at").unwrap(), at("removed_at").unwrap_or(jiff::Timestamp::MAX));
            usage
                .iter()
                .filter(|row| row["host"] == fitting["host"] && row["meter"] == "launches")
                .filter(|row| {
                    let launch = row["at"].parse::<jiff::Timestamp>().unwrap();
                    from <= launch && launch < to
                })
                .count()
        })
        .collect();
    assert_eq!(counts, [61, 84, 97]);
}

#[test]
fn two_calls_tell_one_story() {
    assert_eq!(register(), register());
}
