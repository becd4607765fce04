//! The demo scenario: three years of an invented beach-launch service, from its totals and its stories to a register.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::tz::TimeZone;

mod bravell;
mod carriage_gear;
mod chance;
mod coast;
mod engine;
mod examinations;
mod exposure;
mod falls;
mod gear;
mod lent;
mod measured;
mod moved_wire;
mod moves;
mod nethery;
mod orrabel;
mod outings;
mod papers;
mod people;
mod rules;
mod senloe;
mod sheet;
mod shocks;
mod shore_gear;
mod store_room;
mod stores_gear;
#[cfg(test)]
mod tests;
mod told;
mod tractor_gear;
mod usage;
mod visits;
mod winch_wires;
mod work;

use gear::{Fleet, Item};
use sheet::Sheet;
use usage::Log;
use work::Work;

/// The whole register as CSV text by file name. The same on every machine and on every call.
pub fn register() -> BTreeMap<&'static str, String> {
    let log = Log::of_coast();
    let fleet = fleet(&log);
    let exposure = exposure::Exposure::of(&fleet, &log);
    let told = told::Told::of(&fleet, &log);
    let mut works = work::lay_out(&fleet, &exposure, &told);
    papers::number_reports(&fleet, &mut works);
    papers::number_proofs(&mut works);
    [
        ("stations.csv", people::stations()),
        ("people.csv", people::people()),
        ("items.csv", items(&fleet)),
        ("fittings.csv", fittings(&fleet)),
        ("usage.csv", usage(&log)),
        ("work.csv", work_rows(&fleet, &works)),
        ("states.csv", papers::states(&fleet)),
        ("concessions.csv", papers::concessions()),
        ("certificates.csv", papers::certificates(&fleet, &works)),
        ("parts.csv", store_room::parts()),
        ("stock.csv", store_room::stock()),
        ("loans.csv", lent::loans()),
        ("examinations.csv", examinations::examinations()),
        ("defects.csv", examinations::defects()),
    ]
    .into_iter()
    .map(|(name, sheet)| (name, sheet.text()))
    .collect()
}

fn fleet(log: &Log) -> Fleet {
    let mut fleet = Fleet::default();
    for station in &coast::STATIONS {
        carriage_gear::add(&mut fleet, station);
        tractor_gear::add(&mut fleet, station);
        shore_gear::add(&mut fleet, station);
    }
    tractor_gear::add_relief(&mut fleet);
    let quarle = coast::by_code("QUA");
    tractor_gear::add_in_full(&mut fleet, quarle);
    shore_gear::add_in_full(&mut fleet, quarle);
    falls::add(&mut fleet, log);
    winch_wires::add(&mut fleet, log);
    stores_gear::add(&mut fleet);
    moves::add(&mut fleet, log);
    lent::add(&mut fleet);
    if let Some(chain) = fleet.item_mut("C-0221") {
        chain.withdrawn = Some(nethery::withdrawn_at());
    }
    fleet
}

/// RFC 3339 with the offset that the place's clocks showed.
fn stamp(zone: &TimeZone, at: Timestamp) -> String {
    at.to_zoned_datetime(zone.clone()).strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
}

fn zone_of(fleet: &Fleet, item: &str) -> TimeZone {
    fleet.item(item).map_or_else(coast::home_zone, Item::zone)
}

const ITEM_COLUMNS: [&str; 12] = [
    "item",
    "kind",
    "station",
    "set",
    "manufactured_on",
    "entered_service_on",
    "serial",
    "certificate",
    "part",
    "cut_from",
    "quantity",
    "opening_use",
];

fn items(fleet: &Fleet) -> Sheet {
    let attributes: BTreeSet<&str> =
        fleet.items.iter().flat_map(|item| item.attributes.iter().map(|(name, _)| *name)).collect();
    let header: Vec<&str> = ITEM_COLUMNS.into_iter().chain(attributes.iter().copied()).collect();
    let mut sheet = Sheet::new(&header);
    for item in &fleet.items {
        let mut cells = fixed_cells(item);
        cells.extend(attributes.iter().map(|name| item.attribute(name).unwrap_or("").to_owned()));
        sheet.row(cells);
    }
    sheet
}

fn fixed_cells(item: &Item) -> Vec<String> {
    let text = |value: Option<&str>| value.unwrap_or("").to_owned();
    let opening = item.opening.map_or_else(String::new, |(meter, count)| format!("{meter}={count}"));
    vec![
        item.tag.clone(),
        item.kind.to_owned(),
        item.station().map_or_else(String::new, coast::Station::slug),
        text(item.set.as_deref()),
        item.made.map_or_else(String::new, |day| day.to_string()),
        item.entered.map_or_else(String::new, |day| day.to_string()),
        text(item.serial.as_deref()),
        text(item.certificate.as_deref()),
        text(item.part),
        text(item.cut_from),
        item.quantity.map_or_else(String::new, |quantity| quantity.to_string()),
        opening,
    ]
}

fn fittings(fleet: &Fleet) -> Sheet {
    let mut sheet = Sheet::new(&["item", "fitted_at", "host", "position", "removed_at"]);
    for fitting in &fleet.fittings {
        let zone = zone_of(fleet, &fitting.item);
        sheet.row(vec![
            fitting.item.clone(),
            stamp(&zone, fitting.from),
            fitting.host.clone(),
            fitting.position.to_owned(),
            fitting.to.map_or_else(String::new, |to| stamp(&zone, to)),
        ]);
    }
    sheet
}

fn usage(log: &Log) -> Sheet {
    let mut sheet = Sheet::new(&["key", "host", "at", "meter", "count", "reading", "note"]);
    for row in &log.uses {
        let count = if row.reading.is_some() { String::new() } else { row.count.to_string() };
        sheet.row(vec![
            row.key.clone(),
            row.host.clone(),
            stamp(&row.station.zone(), row.at),
            row.meter.to_owned(),
            count,
            row.reading.clone().unwrap_or_default(),
            row.note.clone(),
        ]);
    }
    sheet
}

fn work_rows(fleet: &Fleet, works: &[Work]) -> Sheet {
    let mut sheet = Sheet::new(&[
        "key",
        "item",
        "rule",
        "done_at",
        "outcome",
        "by",
        "certificate",
        "measurements",
        "note",
    ]);
    for (number, work) in (1..).zip(works) {
        sheet.row(vec![
            format!("WK-{number:05}"),
            work.item.clone(),
            work.rule.to_owned(),
            stamp(&zone_of(fleet, &work.item), work.at),
            work.outcome.to_owned(),
            work.by.clone(),
            work.certificate.clone().unwrap_or_default(),
            work.measurements.clone(),
            work.note.to_owned(),
        ]);
    }
    sheet
}
