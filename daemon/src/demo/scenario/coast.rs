//! The Marlowen Coast: its twelve stations, their totals over three years, and the two local times.

use jiff::civil::{Date, DateTime, date};
use jiff::tz::{TimeZone, offset};
use jiff::{Span, Timestamp};

pub const FIRST_DAY: Date = date(2023, 10, 1);
pub const LAST_DAY: Date = date(2026, 10, 11);

const COAST_RULE: &str = "TVT0TVST,M3.5.0/1,M10.5.0/2";
const QUENNA_RULE: &str = "<-03>3";

/// What a station logged between the first and the last day (invented, like all of the demo).
#[derive(Debug)]
pub struct Totals {
    pub launches: u32,
    pub recoveries: u32,
    pub pulls: u32,
    pub immersions: u32,
    pub engine_hours: u32,
}

#[derive(Debug)]
pub struct Station {
    pub code: &'static str,
    pub name: &'static str,
    pub large: bool,
    pub carriage_number: u8,
    pub flanks: &'static [&'static str],
    pub latitude: f64,
    pub longitude: f64,
    pub totals: Totals,
    pub southern: bool,
}

impl Station {
    pub fn slug(&self) -> String {
        self.code.to_lowercase()
    }

    pub fn carriage(&self) -> String {
        let class = if self.large { 2 } else { 1 };
        format!("LC-{class}/{:02}", self.carriage_number)
    }

    pub fn tractor(&self) -> String {
        format!("ST-4/{:02}", self.carriage_number)
    }

    pub fn station_set(&self) -> String {
        format!("SET-{}", self.code)
    }

    pub fn winch(&self) -> String {
        format!("WN-{:02}", self.carriage_number)
    }

    pub fn boat(&self) -> String {
        let class = if self.large { 11 } else { 9 };
        format!("KB-{class}/{:02}", self.carriage_number)
    }

    pub fn mechanic(&self) -> String {
        format!("mechanic.{}@mcbs.example", self.slug())
    }

    pub fn zone_rule(&self) -> &'static str {
        if self.southern { QUENNA_RULE } else { COAST_RULE }
    }

    pub fn zone(&self) -> TimeZone {
        if self.southern { TimeZone::fixed(offset(-3)) } else { home_zone() }
    }

    pub fn at(&self, local: DateTime) -> Timestamp {
        instant(&self.zone(), local)
    }

    /// Share of a mean month that one day of `month` carries: the busy months of the north are the quiet ones of the south.
    pub fn season(&self, month: i8) -> f64 {
        const NORTH: [f64; 12] = [0.70, 0.65, 0.80, 0.95, 1.15, 1.25, 1.50, 1.55, 1.10, 0.90, 0.75, 0.70];
        let shift = if self.southern { 6 } else { 0 };
        let index = usize::try_from(month - 1).unwrap_or(0);
        NORTH[(index + shift) % 12]
    }
}

/// The coast's own time; a rule that could not be read would leave UTC, which the tests refuse.
pub fn home_zone() -> TimeZone {
    TimeZone::posix(COAST_RULE).unwrap_or(TimeZone::UTC)
}

pub fn instant(zone: &TimeZone, local: DateTime) -> Timestamp {
    zone.to_ambiguous_timestamp(local).compatible().unwrap_or(Timestamp::UNIX_EPOCH)
}

pub fn local(zone: &TimeZone, at: Timestamp) -> DateTime {
    zone.to_datetime(at)
}

pub fn days_after(day: Date, days: i64) -> Date {
    day.checked_add(Span::new().days(days)).unwrap_or(day)
}

pub fn minutes_after(at: Timestamp, minutes: i64) -> Timestamp {
    Timestamp::from_second(at.as_second() + minutes * 60).unwrap_or(at)
}

pub fn by_code(code: &str) -> &'static Station {
    STATIONS.iter().find(|station| station.code == code).unwrap_or(&STATIONS[0])
}

const fn totals(launches: u32, recoveries: u32, pulls: u32, immersions: u32, engine_hours: u32) -> Totals {
    Totals { launches, recoveries, pulls, immersions, engine_hours }
}

/// The coast runs due south, so that sixty nautical miles are one degree of latitude; the isle lies west of it.
#[rustfmt::skip]
pub static STATIONS: [Station; 12] = [
    Station { code: "TAN", name: "Tannock Strand", large: true, carriage_number: 1, flanks: &["ull"], latitude: 49.5000, longitude: -21.3000, totals: totals(203, 196, 231, 402, 168), southern: false },
    Station { code: "ULL", name: "Ullery Bar", large: true, carriage_number: 2, flanks: &["tan", "pel"], latitude: 49.3167, longitude: -21.2900, totals: totals(229, 171, 198, 402, 182), southern: false },
    Station { code: "PEL", name: "Pellan Sands", large: true, carriage_number: 3, flanks: &["ull", "orr"], latitude: 49.1000, longitude: -21.3000, totals: totals(291, 284, 322, 579, 247), southern: false },
    Station { code: "ORR", name: "Orrabel Gap", large: false, carriage_number: 4, flanks: &["pel", "caw"], latitude: 48.9000, longitude: -21.2900, totals: totals(178, 173, 330, 354, 151), southern: false },
    Station { code: "CAW", name: "Cawdle Bay", large: true, carriage_number: 6, flanks: &["orr", "net", "bra"], latitude: 48.6667, longitude: -21.3000, totals: totals(258, 249, 281, 511, 262), southern: false },
    Station { code: "NET", name: "Nethery Ness", large: true, carriage_number: 5, flanks: &["caw", "bra", "qua"], latitude: 48.4500, longitude: -21.3000, totals: totals(167, 161, 190, 331, 142), southern: false },
    Station { code: "QUA", name: "Quarle Beach", large: true, carriage_number: 7, flanks: &["net", "sen"], latitude: 48.2000, longitude: -21.2900, totals: totals(358, 350, 388, 712, 304), southern: false },
    Station { code: "SEN", name: "Senloe Flats", large: true, carriage_number: 8, flanks: &["qua", "dun"], latitude: 48.0000, longitude: -21.3000, totals: totals(251, 243, 262, 496, 213), southern: false },
    Station { code: "DUN", name: "Dunvarrow Sands", large: false, carriage_number: 9, flanks: &["sen", "fal"], latitude: 47.7667, longitude: -21.2900, totals: totals(189, 184, 205, 375, 160), southern: false },
    Station { code: "FAL", name: "Falhollow Sands", large: false, carriage_number: 10, flanks: &["dun"], latitude: 47.5500, longitude: -21.3000, totals: totals(138, 134, 149, 274, 117), southern: false },
    Station { code: "BRA", name: "Bravell Isle", large: false, carriage_number: 11, flanks: &["caw", "net"], latitude: 48.5475, longitude: -21.4373, totals: totals(105, 101, 139, 208, 90), southern: false },
    Station { code: "QNR", name: "Quenna Roads", large: false, carriage_number: 12, flanks: &[], latitude: -33.2000, longitude: -41.5000, totals: totals(58, 57, 63, 115, 50), southern: true },
];
