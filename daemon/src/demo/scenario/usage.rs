//! The log: what each launch, recovery, immersion and pull adds on its host.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::{Weekday, time};

use super::chance::Chance;
use super::coast::{LAST_DAY, STATIONS, Station, days_after, local};
use super::engine;
use super::outings::{Outing, outings};
use super::shocks;

#[derive(Clone, Debug)]
pub struct Use {
    pub key: String,
    pub host: String,
    pub at: Timestamp,
    pub meter: &'static str,
    /// What the row adds; for a dial, what the reading adds to the one before.
    pub count: f64,
    pub reading: Option<String>,
    pub note: String,
    pub station: &'static Station,
}

pub struct Log {
    pub uses: Vec<Use>,
    pub outings: BTreeMap<&'static str, Vec<Outing>>,
}

impl Log {
    pub fn of_coast() -> Self {
        let mut log = Self { uses: Vec::new(), outings: BTreeMap::new() };
        for station in &STATIONS {
            let outings = outings(station);
            log.uses.extend(station_log(station, &outings));
            log.outings.insert(station.code, outings);
        }
        log.uses.sort_by(|a, b| (a.at, &a.key).cmp(&(b.at, &b.key)));
        log
    }

    pub fn outings(&self, code: &str) -> &[Outing] {
        self.outings.get(code).map_or(&[], Vec::as_slice)
    }

    /// A day on or after `from` with no launch, nor one on the day before or after.
    pub fn quiet_day(&self, station: &Station, from: jiff::civil::Date) -> jiff::civil::Date {
        let zone = station.zone();
        let days: Vec<_> =
            self.outings(station.code).iter().map(|outing| local(&zone, outing.launch).date()).collect();
        let busy = |day: jiff::civil::Date| (-1..=1).any(|step| days.contains(&days_after(day, step)));
        let open = |day: &jiff::civil::Date| {
            !busy(*day) && !matches!(day.weekday(), Weekday::Saturday | Weekday::Sunday)
        };
        (0..90).map(|step| days_after(from, step)).find(open).unwrap_or(from)
    }

    /// An instant just after the `count`-th last launch but one, so that `count` launches follow it.
    pub fn before_last(&self, code: &str, count: usize) -> Timestamp {
        let outings = self.outings(code);
        let before = outings.len().saturating_sub(count + 1);
        between(super::coast::by_code(code), outings, before)
    }

    /// An instant with exactly `count` launches of the log before it.
    pub fn after_first(&self, code: &str, count: usize) -> Timestamp {
        between(super::coast::by_code(code), self.outings(code), count.saturating_sub(1))
    }
}

/// The morning after the outing at `index`, or midway to the next one where that comes sooner.
pub fn between(station: &Station, outings: &[Outing], index: usize) -> Timestamp {
    let Some(this) = outings.get(index) else { return Timestamp::UNIX_EPOCH };
    let done = this.recovery.unwrap_or(this.launch);
    let next = outings.get(index + 1).map_or(Timestamp::MAX, |next| next.launch);
    let tomorrow = days_after(local(&station.zone(), done).date(), 1);
    let morning = station.at(tomorrow.to_datetime(time(9, 30, 0, 0)));
    if morning < next {
        return morning;
    }
    let middle = done.as_second() + (next.as_second() - done.as_second()) / 2;
    Timestamp::from_second(middle / 600 * 600).unwrap_or(done)
}

fn station_log(station: &'static Station, outings: &[Outing]) -> Vec<Use> {
    let mut uses: Vec<Use> = outings
        .iter()
        .enumerate()
        .flat_map(|(index, outing)| outing_rows(station, index + 1, outing))
        .collect();
    uses.extend(wade_tests(station, outings));
    uses.extend(engine::readings(station, outings));
    uses.extend(shocks::rows(station, outings));
    uses
}

pub fn counted(
    station: &'static Station,
    key: String,
    host: String,
    at: Timestamp,
    meter: &'static str,
    count: u32,
) -> Use {
    Use { key, host, at, meter, count: f64::from(count), reading: None, note: String::new(), station }
}

/// One launch wets carriage and tractor once, a recovery once more; a recovery counts on the carriage, on the
/// station set and, by its pulls, on the winch.
fn outing_rows(station: &'static Station, number: usize, outing: &Outing) -> Vec<Use> {
    let key = |letter: &str| format!("{}-{number:04}-{letter}", station.code);
    let row =
        |letter: &str, host: String, at, meter, count| counted(station, key(letter), host, at, meter, count);
    let mut launch = row("L", station.carriage(), outing.launch, "launches", 1);
    outing.purpose.word().clone_into(&mut launch.note);
    let mut rows = vec![launch];
    let (wet_at, wet) = outing.recovery.map_or((outing.launch, 1), |at| (at, 2));
    rows.push(row("IC", station.carriage(), wet_at, "immersions", wet));
    rows.push(row("IT", station.tractor(), wet_at, "immersions", wet));
    if let Some(at) = outing.recovery {
        rows.push(row("R", station.carriage(), at, "recoveries", 1));
        rows.push(row("RS", station.station_set(), at, "recoveries", 1));
        rows.push(row("P", station.winch(), at, "pulls", outing.pulls));
    }
    rows
}

fn wade_tests(station: &'static Station, outings: &[Outing]) -> Vec<Use> {
    let mut chance = Chance::of(&format!("wade tests {}", station.code));
    let zone = station.zone();
    let busy: Vec<_> = outings.iter().map(|outing| local(&zone, outing.launch).date()).collect();
    let totals = &station.totals;
    let extra = totals.immersions - totals.launches - totals.recoveries;
    let mut rows = Vec::new();
    for number in 1..=extra {
        let start = days_after(LAST_DAY, -200 * i64::from(number) - chance.between(0, 60));
        let day = (0..60)
            .map(|step| days_after(start, step))
            .find(|day| day.weekday() == Weekday::Wednesday && !busy.contains(day))
            .unwrap_or(start);
        let at = station.at(day.to_datetime(time(14, 0, 0, 0)));
        for (letter, host) in [("C", station.carriage()), ("T", station.tractor())] {
            let key = format!("{}-W{number}-{letter}", station.code);
            let mut row = counted(station, key, host, at, "immersions", 1);
            "wade test".clone_into(&mut row.note);
            rows.push(row);
        }
    }
    rows
}
