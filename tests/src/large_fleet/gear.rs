//! Stations, hosts and what is fitted to them.

use super::Size;
use super::draw::Draw;
use jiff::ToSpan;
use jiff::civil::{Date, date};

/// Meters, by the number that rows of use name them with.
pub const METERS: [&str; 6] =
    ["engine hours", "immersions", "launches", "recoveries", "shock loads", "winch pulls"];

/// The one meter that is read off a dial.
pub const ENGINE_HOURS: usize = 0;
/// The one meter that counts several at once.
pub const WINCH_PULLS: usize = 5;

/// A kind of gear that carries meters.
pub struct HostKind {
    pub name: &'static str,
    pub prefix: &'static str,
    /// Meters, and how many of a hundred rows of use are theirs.
    pub meters: &'static [(usize, i64)],
}

pub const HOST_KINDS: [HostKind; 3] = [
    HostKind { name: "carriage", prefix: "CA", meters: &[(2, 48), (3, 48), (4, 4)] },
    HostKind { name: "tractor", prefix: "TR", meters: &[(ENGINE_HOURS, 40), (1, 25), (3, 35)] },
    HostKind { name: "winch", prefix: "WI", meters: &[(WINCH_PULLS, 95), (4, 5)] },
];

/// Kinds of the eight hosts of every station.
const STATION_HOSTS: [usize; 8] = [0, 0, 0, 0, 1, 1, 2, 2];
pub const HOSTS_PER_STATION: u32 = 8;

/// What a kind of gear is fitted to.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum On {
    /// Hosts of the station, by their places in `STATION_HOSTS`.
    Hosts(u32, u32),
    /// Items of the station of an earlier kind, by its place in [`GEAR`].
    Gear(usize),
}

/// A kind of gear that is fitted.
pub struct GearKind {
    pub name: &'static str,
    pub prefix: &'static str,
    pub on: On,
    pub position: &'static str,
}

const CARRIAGES: On = On::Hosts(0, 4);
const TRACTORS: On = On::Hosts(4, 6);
const WINCHES: On = On::Hosts(6, 8);

pub const GEAR: [GearKind; 10] = [
    GearKind { name: "launching fall", prefix: "LF", on: CARRIAGES, position: "fall" },
    GearKind { name: "shackle", prefix: "SH", on: On::Gear(0), position: "end shackle" },
    GearKind { name: "stopper chain", prefix: "SC", on: CARRIAGES, position: "stopper" },
    GearKind { name: "sheave block", prefix: "SB", on: CARRIAGES, position: "block" },
    GearKind { name: "release hook", prefix: "RH", on: CARRIAGES, position: "hook" },
    GearKind { name: "preventer chain", prefix: "PC", on: CARRIAGES, position: "preventer" },
    GearKind { name: "winch wire", prefix: "WW", on: WINCHES, position: "wire" },
    GearKind { name: "fairlead", prefix: "FL", on: WINCHES, position: "fairlead" },
    GearKind { name: "track", prefix: "TK", on: TRACTORS, position: "track" },
    GearKind { name: "door seal", prefix: "DS", on: TRACTORS, position: "door" },
];

/// A station.
pub struct StationRow {
    pub slug: String,
    pub name: String,
    pub zone: &'static str,
    pub latitude: &'static str,
}

/// An item; `gear` is its place in [`GEAR`], none for hosts.
pub struct ItemRow {
    pub tag: String,
    pub kind: &'static str,
    pub gear: Option<usize>,
    pub station: u32,
    pub made: Date,
    pub entered: Date,
    pub wll_tenths: Option<i64>,
}

/// Zones on both sides of Greenwich and the equator; the last one's rule is invented.
const ZONES: [(&str, &str); 4] = [
    ("Europe/London", "52.5"),
    ("America/Halifax", "44.6"),
    ("Pacific/Auckland", "-41.3"),
    ("TVT0TVST,M3.5.0/1,M10.5.0/2", "49.5"),
];

/// Every station.
pub fn stations(size: &Size) -> Vec<StationRow> {
    let station = |(number, (zone, latitude)): (u32, &(&'static str, &'static str))| StationRow {
        slug: format!("beach-{number:03}"),
        name: format!("Beach {number:03}"),
        zone,
        latitude,
    };
    (0..size.stations).zip(ZONES.iter().cycle()).map(station).collect()
}

/// Every item: hosts station by station, then the fitted gear station by station, its kinds in turn.
pub fn items(size: &Size) -> Vec<ItemRow> {
    let hosts = (0..size.hosts()).map(host);
    hosts.chain((0..size.items).map(|number| gear(size, number))).collect()
}

/// The kind of a host.
pub fn host_kind(host: u32) -> &'static HostKind {
    &HOST_KINDS[STATION_HOSTS[(host % HOSTS_PER_STATION) as usize]]
}

fn host(number: u32) -> ItemRow {
    let kind = host_kind(number);
    let station = number / HOSTS_PER_STATION;
    ItemRow {
        tag: format!("{station:03}-{}-{}", kind.prefix, number % HOSTS_PER_STATION),
        kind: kind.name,
        gear: None,
        station,
        made: date(2014, 5, 1),
        entered: date(2015, 6, 1),
        wll_tenths: None,
    }
}

fn gear(size: &Size, number: u32) -> ItemRow {
    let mut draw = Draw::new(1, number);
    let place = number as usize % GEAR.len();
    let station = station_of(size, number);
    let made = date(2008, 1, 1).saturating_add(draw.range(0, 6_574).days());
    let entered = made.saturating_add(draw.range(5, 400).days()).min(date(2026, 5, 31));
    ItemRow {
        tag: format!("{station:03}-{}-{number:06}", GEAR[place].prefix),
        kind: GEAR[place].name,
        gear: Some(place),
        station,
        made,
        entered,
        wll_tenths: Some(draw.range(10, 120)),
    }
}

/// The owner of the gear of that number: stations share it out evenly, one after the other.
fn station_of(size: &Size, number: u32) -> u32 {
    let share = u64::from(number) * u64::from(size.stations) / u64::from(size.items);
    u32::try_from(share).unwrap_or_default()
}

/// Numbers of a station's gear.
pub fn numbers_at(size: &Size, station: u32) -> std::ops::Range<u32> {
    let first = |station: u32| {
        let number = (u64::from(station) * u64::from(size.items)).div_ceil(u64::from(size.stations));
        u32::try_from(number).unwrap_or_default()
    };
    first(station)..first(station + 1)
}
