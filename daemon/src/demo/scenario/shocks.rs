//! Shock loads. One in recovery is logged on tractor, station set and boat, and so reaches winch, wire, load pin,
//! drawbar pin, hauling chain, shackle batch and hauling eye; one in launching is logged on the carriage.

use jiff::Timestamp;
use jiff::civil::{Date, date};

use super::coast::{Station, local};
use super::outings::Outing;
use super::usage::{Use, counted};

struct Shock {
    from: Date,
    launching: bool,
    note: &'static str,
}

fn shocks(code: &str) -> Vec<Shock> {
    let shock = |from, launching, note| Shock { from, launching, note };
    match code {
        "ULL" => vec![shock(date(2025, 3, 1), true, "stern preventer let go late; crew report")],
        "ORR" => vec![shock(date(2024, 11, 4), false, "peak 81 kN on the load pin; keel caught a skid")],
        "SEN" => vec![shock(date(2025, 8, 11), false, "peak 79 kN on the load pin; sea took the stern")],
        "BRA" => vec![
            shock(date(2025, 2, 3), false, "load not known; crew report of a snatch"),
            shock(date(2026, 9, 27), false, "peak 96 kN on the load pin against 60 kN rated"),
        ],
        _ => Vec::new(),
    }
}

/// The winch took 96 kN, more than the 74.8 kN of its own proof load.
pub const OVERLOAD_NOTE: &str = "96 kN, above its proof load of 74.8 kN";

pub fn rows(station: &'static Station, outings: &[Outing]) -> Vec<Use> {
    shocks(station.code)
        .iter()
        .enumerate()
        .flat_map(|(index, shock)| one(station, outings, index + 1, shock))
        .collect()
}

fn one(station: &'static Station, outings: &[Outing], number: usize, shock: &Shock) -> Vec<Use> {
    let Some(at) = moment(station, outings, shock) else { return Vec::new() };
    let hosts = if shock.launching {
        vec![("C", station.carriage())]
    } else {
        vec![("T", station.tractor()), ("S", station.station_set()), ("B", station.boat())]
    };
    let row = |letter: &str, host, meter, note: &str| {
        let key = format!("{}-X{number}-{letter}", station.code);
        Use { note: note.to_owned(), ..counted(station, key, host, at, meter, 1) }
    };
    let mut rows: Vec<Use> =
        hosts.into_iter().map(|(letter, host)| row(letter, host, "shock loads", shock.note)).collect();
    if shock.from == date(2026, 9, 27) {
        rows.push(row("O", station.winch(), "overloads", OVERLOAD_NOTE));
    }
    rows
}

fn moment(station: &Station, outings: &[Outing], shock: &Shock) -> Option<Timestamp> {
    let zone = station.zone();
    outings
        .iter()
        .filter(|outing| local(&zone, outing.launch).date() >= shock.from)
        .find_map(|outing| if shock.launching { Some(outing.launch) } else { outing.recovery })
}
