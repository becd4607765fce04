//! Engine hours as read from the dial: monthly, with changed meters, one roll-over, and the Cawdle doubt.

use jiff::Timestamp;
use jiff::civil::{Date, date, time};

use super::coast::{FIRST_DAY, LAST_DAY, Station, minutes_after};
use super::outings::{Outing, rounded};
use super::usage::{Use, between, counted};

/// The dial has five figures before the point.
const MODULUS_TENTHS: u32 = 100_000;

/// A check of the dial: when, and how many tenths of an hour have run since the one before.
struct Check {
    at: Timestamp,
    tenths: u32,
}

/// Launches since the last check but one, and the hours run in them: Cawdle ran twice what it logged.
fn last_stretch(code: &str) -> Option<(usize, u32)> {
    match code {
        "CAW" => Some((9, 180)),
        "QUA" => Some((7, 90)),
        _ => None,
    }
}

fn replaced_on(code: &str) -> Option<Date> {
    match code {
        "TAN" => Some(date(2024, 6, 1)),
        "ORR" => Some(date(2024, 9, 1)),
        "NET" => Some(date(2025, 2, 1)),
        "DUN" => Some(date(2025, 6, 1)),
        "BRA" => Some(date(2025, 11, 1)),
        "SEN" => Some(date(2026, 3, 1)),
        _ => None,
    }
}

fn first_reading_tenths(station: &Station) -> u32 {
    if station.code == "PEL" { 98_615 } else { 12_340 + u32::from(station.carriage_number) * 3_717 }
}

pub fn readings(station: &'static Station, outings: &[Outing]) -> Vec<Use> {
    let replaced = replaced_on(station.code).map(|day| morning(station, day));
    let mut dial = first_reading_tenths(station);
    let mut rows = Vec::new();
    for (number, check) in checks(station, outings).into_iter().enumerate() {
        dial = (dial + check.tenths) % MODULUS_TENTHS;
        let note = lent(station, check.at);
        rows.push(reading(station, &format!("{number:02}"), check.at, dial, check.tenths, note));
        if replaced == Some(check.at) {
            dial = 30;
            let at = minutes_after(check.at, 90);
            rows.push(reading(station, &format!("{number:02}N"), at, dial, 0, "meter replaced"));
        }
    }
    rows
}

fn reading(station: &'static Station, number: &str, at: Timestamp, dial: u32, added: u32, note: &str) -> Use {
    let key = format!("{}-E{number}", station.code);
    Use {
        count: f64::from(added) / 10.0,
        reading: Some(tenths(dial)),
        note: note.to_owned(),
        ..counted(station, key, station.tractor(), at, "engine hours", 0)
    }
}

pub fn tenths(value: u32) -> String {
    if value.is_multiple_of(10) { (value / 10).to_string() } else { format!("{}.{}", value / 10, value % 10) }
}

fn morning(station: &Station, day: Date) -> Timestamp {
    station.at(day.to_datetime(time(8, 0, 0, 0)))
}

fn checks(station: &Station, outings: &[Outing]) -> Vec<Check> {
    let evening = station.at(LAST_DAY.to_datetime(time(18, 45, 0, 0)));
    let told = last_stretch(station.code);
    let cut = told.map(|(launches, _)| between(station, outings, outings.len() - launches - 1));
    let mut times: Vec<Timestamp> =
        months().map(|day| morning(station, day)).filter(|at| cut.is_none_or(|cut| *at < cut)).collect();
    times.extend(cut);
    let total = station.totals.engine_hours * 10;
    let last = told.map_or(0, |(_, tenths)| tenths);
    let mut checks = spread(station, outings, &times, total - last, told.is_none().then_some(evening));
    if told.is_some() {
        checks.push(Check { at: evening, tenths: last });
    }
    checks
}

fn months() -> impl Iterator<Item = Date> {
    (0..)
        .map(|month: i16| {
            let index = 9 + month;
            date(FIRST_DAY.year() + index / 12, i8::try_from(index % 12 + 1).unwrap_or(1), 1)
        })
        .take_while(|day| *day <= LAST_DAY)
}

/// Shares the hours over the checks by the launches between them, rounding the running sum so that nothing is lost.
fn spread(
    station: &Station,
    outings: &[Outing],
    times: &[Timestamp],
    total: u32,
    end: Option<Timestamp>,
) -> Vec<Check> {
    let times: Vec<Timestamp> = times.iter().copied().chain(end).collect();
    let until = times.last().copied().unwrap_or(Timestamp::UNIX_EPOCH);
    let launches = |until: Timestamp| outings.iter().filter(|outing| outing.launch < until).count();
    let all = whole(launches(until));
    let (per_launch, extra) = pace(station, total, all);
    let mut given = 0;
    times
        .iter()
        .map(|at| {
            let own = f64::from(whole(launches(*at))) * per_launch;
            let sum = if *at == until { total } else { rounded(own) + extra_by(station, *at, extra) };
            let tenths = sum - given;
            given = sum;
            Check { at: *at, tenths }
        })
        .collect()
}

/// Tenths of an hour a launch, and what ran beside launching. Cawdle lent its tractor for the sea wall once.
fn pace(station: &Station, total: u32, launches: u32) -> (f64, u32) {
    if station.code == "CAW" {
        return (8.0, total - launches * 8);
    }
    (f64::from(total) / f64::from(launches.max(1)), 0)
}

fn extra_by(station: &Station, at: Timestamp, extra: u32) -> u32 {
    if at >= morning(station, date(2025, 3, 1)) { extra } else { 0 }
}

fn lent(station: &Station, at: Timestamp) -> &'static str {
    let day = morning(station, date(2025, 3, 1));
    if station.code == "CAW" && at == day { "tractor lent for the sea wall in February" } else { "" }
}

fn whole(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}
