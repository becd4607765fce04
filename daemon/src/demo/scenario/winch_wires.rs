//! Winch wires, 400 pulls or 60 months: Ullery's reaches its months first, Senloe's its pulls, and one is in store.

use jiff::civil::{Date, date, time};

use super::coast::{Station, by_code};
use super::gear::{Fleet, Item, months_before};
use super::usage::Log;

/// Station, tag, entered service, pulls before the records begin.
const WIRES: [(&str, &str, Date, u32); 11] = [
    ("TAN", "W-0441", date(2022, 2, 15), 143),
    ("ULL", "W-0438", date(2022, 1, 9), 88),
    ("PEL", "W-0449", date(2022, 11, 22), 48),
    ("ORR", "W-0471", date(2023, 9, 30), 0),
    ("CAW", "W-0443", date(2022, 4, 12), 94),
    ("NET", "W-0452", date(2022, 12, 6), 40),
    ("SEN", "W-0445", date(2022, 5, 9), 122),
    ("DUN", "W-0444", date(2022, 4, 26), 179),
    ("FAL", "W-0455", date(2023, 1, 17), 30),
    ("BRA", "W-0453", date(2022, 12, 13), 28),
    ("QNR", "W-0460", date(2023, 5, 16), 10),
];

pub fn add(fleet: &mut Fleet, log: &Log) {
    for (code, tag, entered, opening) in WIRES {
        let item = wire(tag, Some(code), entered, false).used_before("pulls", opening);
        fleet.add_fitted(item, &by_code(code).winch(), "winch wire");
    }
    add_quarle(fleet, log, by_code("QUA"));
    let relief = wire("W-0466", None, date(2023, 6, 6), false).used_before("pulls", 40);
    fleet.add_fitted(relief, "WN-21", "winch wire");
    fleet.add_fitted(
        wire("W-0467", None, date(2023, 6, 6), true).used_before("pulls", 12),
        "WN-22",
        "winch wire",
    );
    let mut stored = wire("W-0502", None, date(2026, 6, 30), false);
    stored.made = Some(date(2026, 4, 14));
    stored.entered = None;
    fleet.add(stored);
}

fn wire(tag: &str, owner: Option<&'static str>, entered: Date, heavy: bool) -> Item {
    let sizes: &[(&str, &str)] = if heavy {
        &[
            ("nominal_diameter_mm", "24"),
            ("reference_diameter_mm", "24.60"),
            ("length_m", "180"),
            ("minimum_breaking_force_kN", "362.9"),
            ("wll_t", "8.2"),
        ]
    } else {
        &[
            ("nominal_diameter_mm", "22"),
            ("reference_diameter_mm", "22.60"),
            ("length_m", "150"),
            ("minimum_breaking_force_kN", "305.0"),
            ("wll_t", "6.1"),
        ]
    };
    Item::new(tag, "winch wire", owner)
        .dated(months_before(entered, 7), entered)
        .of_part(if heavy { "WW-24" } else { "WW-22" })
        .with(sizes)
        .with(&[
            ("construction", "6x36WS"),
            ("core", "steel"),
            ("lay", "ordinary"),
            ("rope_category", "09"),
            ("load-bearing_wires", "216"),
            ("grade_MPa", "1770"),
            ("finish", "galvanised"),
            ("outer_termination", "thimble and ferrule"),
            ("termination_factor", "0.9"),
            ("spooling", "multi-layer"),
            ("dead_wraps", "5"),
        ])
}

/// Quarle's busy winch had a new wire early in the records; 360 pulls have gone over it.
fn add_quarle(fleet: &mut Fleet, log: &Log, station: &'static Station) {
    let Some(day) = changed_on(log, station) else { return };
    let off = station.at(day.to_datetime(time(9, 0, 0, 0)));
    let mut old = wire("W-0436", Some("QUA"), date(2021, 3, 9), false).used_before("pulls", 322);
    old.withdrawn = Some(off);
    fleet.fit(
        "W-0436",
        &station.winch(),
        "winch wire",
        station.at(date(2021, 3, 9).at(9, 0, 0, 0)),
        Some(off),
    );
    fleet.add(old);
    let new = wire("W-0479", Some("QUA"), day, false);
    fleet.fit("W-0479", &station.winch(), "winch wire", station.at(day.to_datetime(time(12, 0, 0, 0))), None);
    fleet.add(new);
}

/// The day after which 360 pulls follow, or the nearest that the log allows.
fn changed_on(log: &Log, station: &Station) -> Option<Date> {
    let outings = log.outings(station.code);
    let mut before = 0;
    for pair in outings.windows(2) {
        before += pair[0].pulls;
        let gap = (pair[1].launch.as_second() - pair[0].launch.as_second()) / 86_400;
        if before >= 28 && gap >= 3 {
            return Some(super::coast::days_after(
                super::coast::local(&station.zone(), pair[0].launch).date(),
                2,
            ));
        }
    }
    None
}
