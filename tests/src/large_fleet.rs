//! A large fleet drawn from a seed, for the benches: 240 stations, 1,920 carriages, tractors and winches, 50,000
//! fitted items under 200,000 item-rules, 2,000,000 rows of use and 150,000 fittings. Everything in it is invented.
//!
//! The same rows come three ways: as a register with its policy set ([`write_register`]), straight into a
//! [`FleetBuilder`] ([`feed`]), and as plain tables for other engines ([`raw`]).

mod draw;
mod gear;
mod policy_text;
mod records;
mod sheets;
#[cfg(test)]
mod trials;

use jiff::civil::{Date, date};
use policies::amount::Amount;
use policies::facts::{FleetBuilder, ItemRecord, Outcome, Quantity};
use policies::rule::Value;
use policies::zone::{Instant, When, Zone};

pub use gear::{GEAR, GearKind, HOST_KINDS, HOSTS_PER_STATION, HostKind, ItemRow, METERS, StationRow};
pub use policy_text::{CalendarSpec, RULES, RuleSpec, UsageSpec, policy_files};
pub use records::{FittingRow, UseRow, WorkRow};

/// The day the fleet is judged at. Its last records lie on this day by UTC, so that some stand past it in zones east
/// of Greenwich.
pub const AS_OF: Date = date(2026, 6, 30);
/// Records begin here: 2016-01-01T00:00Z, in seconds since 1970.
pub const FIRST_SECOND: i64 = 1_451_606_400;
/// No record stands at or after this: 2026-07-01T00:00Z.
pub const END_SECOND: i64 = 1_782_864_000;

/// How large a fleet is. Fittings average three an item, and every item has four rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    /// Stations, with eight hosts each.
    pub stations: u32,
    /// Items that are fitted to hosts.
    pub items: u32,
    /// Rows of use.
    pub events: u32,
}

/// Fleet S.
pub const S: Size = Size { stations: 240, items: 50_000, events: 2_000_000 };
/// A tenth of it.
pub const TENTH: Size = Size { stations: 24, items: 5_000, events: 200_000 };

impl Size {
    /// Carriages, tractors and winches.
    pub const fn hosts(&self) -> u32 {
        self.stations * HOSTS_PER_STATION
    }

    /// Rows that the due table has.
    pub const fn item_rules(&self) -> u32 {
        self.items * 4
    }

    /// Every item: hosts come first, then what is fitted.
    pub const fn all_items(&self) -> u32 {
        self.hosts() + self.items
    }
}

/// The fleet as plain rows. Items are numbered by their place in `items`, hosts first; rules by their place in
/// [`RULES`], meters in [`METERS`].
pub struct RawTables {
    pub stations: Vec<StationRow>,
    pub items: Vec<ItemRow>,
    pub fittings: Vec<FittingRow>,
    pub uses: Vec<UseRow>,
    pub works: Vec<WorkRow>,
}

/// Every row of the fleet, in memory.
pub fn raw(size: &Size) -> RawTables {
    let items = gear::items(size);
    let mut uses = Vec::with_capacity(size.events as usize);
    records::each_use(size, |row| uses.push(row));
    RawTables {
        stations: gear::stations(size),
        fittings: records::fittings(size, &items),
        works: records::works(size, &items),
        items,
        uses,
    }
}

/// Writes the fleet as a register, with its policy set in `folder/policies`.
pub fn write_register(size: &Size, folder: &std::path::Path) -> std::io::Result<()> {
    sheets::write(size, folder)
}

/// Feeds the fleet to a builder that was made under [`policy_files`].
///
/// # Panics
/// When a zone of the fleet is unknown, which only a broken zone database can cause.
pub fn feed(size: &Size, builder: &mut FleetBuilder) {
    for station in gear::stations(size) {
        let zone = Zone::parse(station.zone).unwrap_or_else(|fault| panic!("{fault}"));
        builder.station(&station.slug, &station.name, zone, station.latitude.starts_with('-'));
    }
    let stations = gear::stations(size);
    let items = gear::items(size);
    for item in &items {
        builder.item(&item_record(item, &stations));
    }
    for row in records::fittings(size, &items) {
        let (item, host) = (&items[row.item as usize].tag, &items[row.host as usize].tag);
        builder.fitting(item, host, row.position, moment(row.fitted), row.removed.map(moment));
    }
    records::each_use(size, |row| {
        let quantity = match row.reading {
            Some(reading) => Quantity::Reading(Amount::from_millionths(reading), false),
            None => Quantity::Count(Amount::from_millionths(row.amount)),
        };
        builder.used(&items[row.host as usize].tag, METERS[row.meter], moment(row.at), quantity);
    });
    for row in records::works(size, &items) {
        let outcome = if row.passed { Outcome::Done } else { Outcome::Failed };
        builder.work(&items[row.item as usize].tag, RULES[row.rule].id, row.when, outcome);
    }
}

fn item_record<'a>(item: &'a ItemRow, stations: &'a [StationRow]) -> ItemRecord<'a> {
    let load =
        item.wll_tenths.map(|tenths| ("wll_t", Value::Number(Amount::from_millionths(tenths * 100_000))));
    ItemRecord {
        tag: &item.tag,
        kind: item.kind,
        station: Some(&stations[item.station as usize].slug),
        manufactured_on: Some(item.made),
        entered_service_on: Some(item.entered),
        attributes: load.into_iter().collect(),
        ..ItemRecord::default()
    }
}

/// A moment given in seconds since 1970.
pub fn moment(second: i64) -> When {
    When::At(Instant(second * 1_000_000))
}
