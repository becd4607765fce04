//! `items.csv`, with the attribute columns that the kinds declare.

use std::collections::BTreeMap;

use policies::amount::Amount;
use policies::kinds::{Attribute, AttributeType, Kind};
use policies::load::PolicySet;
use policies::zone::Zone;

use super::{moment_text, or_empty, station};
use crate::records::{Item, attributes};
use crate::register::cells::{Cells, Moment};
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

/// Every attribute column of the policy set, sorted.
pub(crate) fn attribute_columns(set: &PolicySet) -> Vec<String> {
    let mut columns: Vec<String> =
        set.kinds.kinds.iter().flat_map(|kind| kind.attributes.iter().map(Attribute::column)).collect();
    columns.sort();
    columns.dedup();
    columns
}

impl RegisterFile for Item {
    const NAME: &'static str = "items";
    const COLUMNS: &'static [Column] = &[
        needed("item"),
        needed("kind"),
        optional("station"),
        optional("set"),
        optional("manufactured_on"),
        optional("entered_service_on"),
        optional("serial"),
        optional("certificate"),
        optional("part"),
        optional("cut_from"),
        optional("quantity"),
        optional("opening_use"),
        optional("taken_from"),
        optional("taken_at"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("item")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Item>) -> Option<Item> {
        let kind = cells.needed("kind", stored.map(|s| &s.kind));
        let kind = cells.checked("kind", kind, |name| known_kind(places, name));
        let station_text = cells.may("station", stored.map(|s| &s.station));
        let made = cells.may("manufactured_on", stored.map(|s| &s.manufactured_on));
        let entered = cells.may("entered_service_on", stored.map(|s| &s.entered_service_on));
        let opening = cells.may("opening_use", stored.map(|s| &s.opening_use));
        let station = station(cells, places, "station", station_text);
        let taken = taken_at(cells, places.zone_at(station.as_deref()), stored);
        let row = Item {
            key: cells.key("item")?,
            void: false,
            attributes: kind.as_ref().and_then(|kind| read_attributes(cells, places, kind, stored)),
            kind: kind.unwrap_or_default(),
            station,
            set_name: cells.may("set", stored.map(|s| &s.set_name)),
            manufactured_on: cells.date("manufactured_on", made),
            entered_service_on: cells.date("entered_service_on", entered),
            serial: cells.may("serial", stored.map(|s| &s.serial)),
            certificate: cells.may("certificate", stored.map(|s| &s.certificate)),
            part: cells.may("part", stored.map(|s| &s.part)),
            cut_from: cells.may("cut_from", stored.map(|s| &s.cut_from)),
            quantity: quantity(cells, stored),
            opening_use: cells.checked("opening_use", opening, |text| opening_use(places, text)),
            taken_from: cells.may("taken_from", stored.map(|s| &s.taken_from)),
            taken_at: taken.as_ref().map(|moment| moment.at),
            taken_day: taken.and_then(|moment| moment.day),
        };
        check_dates(cells, &row);
        check_origin(cells, &row);
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, places: &Places) -> Vec<String> {
        let own = [
            Some(&self.key),
            Some(&self.kind),
            self.station.as_ref(),
            self.set_name.as_ref(),
            self.manufactured_on.as_ref(),
            self.entered_service_on.as_ref(),
            self.serial.as_ref(),
            self.certificate.as_ref(),
            self.part.as_ref(),
            self.cut_from.as_ref(),
        ];
        let mut cells: Vec<String> = own.into_iter().map(or_empty).collect();
        cells.push(self.quantity.map(|n| n.to_string()).unwrap_or_default());
        cells.push(or_empty(self.opening_use.as_ref()));
        cells.push(or_empty(self.taken_from.as_ref()));
        let zone = places.zone_at(self.station.as_deref());
        let taken = self.taken_at.map(|at| moment_text(at, self.taken_day.as_ref(), zone));
        cells.push(taken.unwrap_or_default());
        let have: BTreeMap<&str, &str> = attributes(self.attributes.as_deref()).collect();
        let columns = attribute_columns(places.set);
        cells.extend(
            columns.iter().map(|column| have.get(column.as_str()).copied().unwrap_or_default().to_owned()),
        );
        cells
    }
}

fn known_kind(places: &Places, name: &str) -> Result<(), String> {
    if places.set.kinds.find(name).is_some() {
        return Ok(());
    }
    let known: Vec<&str> = places.set.kinds.kinds.iter().map(|kind| kind.name.as_str()).collect();
    Err(format!("is no kind; the kinds are {}", known.join(", ")))
}

fn quantity(cells: &Cells, stored: Option<&Item>) -> Option<i64> {
    match cells.raw("quantity") {
        None => stored.and_then(|s| s.quantity),
        Some("") => None,
        Some(text) => {
            let number = text.parse().ok().filter(|number| (1..=1_000_000).contains(number));
            if number.is_none() {
                cells.fault("quantity", format!("\"{text}\" is no whole number from 1 to 1000000"));
            }
            number
        }
    }
}

fn opening_use(places: &Places, text: &str) -> Result<(), String> {
    let help = "is not use before the records; write launches=73;pulls=12.5";
    for pair in text.split(';') {
        let (meter, value) = pair.split_once('=').ok_or_else(|| help.to_owned())?;
        if places.set.kinds.find_meter(meter.trim()).is_none() {
            return Err(format!("names no meter; the meters are {}", places.set.kinds.meters.join(", ")));
        }
        let amount: Amount = value.trim().parse().map_err(|_| help.to_owned())?;
        if amount.is_negative() || pair.contains(' ') && pair.trim() != pair {
            return Err(help.to_owned());
        }
    }
    Ok(())
}

fn taken_at(cells: &Cells, zone: &Zone, stored: Option<&Item>) -> Option<Moment> {
    match cells.raw("taken_at") {
        None => stored.and_then(|s| Some(Moment { at: s.taken_at?, day: s.taken_day.clone() })),
        Some("") => None,
        Some(_) => cells.moment("taken_at", zone),
    }
}

/// What an item came out of, and until when it bore its use.
fn check_origin(cells: &Cells, row: &Item) {
    if cells.is_bad() {
        return;
    }
    match (&row.taken_from, row.taken_at) {
        (Some(_), None) => {
            cells.fault("taken_at", "is needed where taken_from is given: use up to then is inherited");
        }
        (None, Some(_)) => {
            cells.fault("taken_from", "is needed where taken_at is given: it names the batch or wire");
        }
        _ => {}
    }
    if let (Some(wire), Some(parent)) = (&row.cut_from, &row.taken_from)
        && wire != parent
    {
        cells.fault("taken_from", format!("\"{parent}\" is not {wire}, as cut_from says; name one of them"));
    }
}

fn check_dates(cells: &Cells, row: &Item) {
    if row.cut_from.is_some() && row.entered_service_on.is_none() {
        cells.fault(
            "entered_service_on",
            "is needed where cut_from is given: use up to that day is inherited",
        );
    }
    if let (Some(made), Some(entered)) = (&row.manufactured_on, &row.entered_service_on)
        && entered < made
    {
        cells.note(
            "entered_service_on",
            format!("{entered} lies before manufactured_on {made}; both count as they stand"),
        );
    }
}

/// The item's attributes, a `column=value` line each, sorted. A column that the item's kind does not declare
/// must be empty.
fn read_attributes(cells: &Cells, places: &Places, kind: &str, stored: Option<&Item>) -> Option<String> {
    let kind = places.set.kinds.kind(places.set.kinds.find(kind)?);
    let same_kind = stored.filter(|s| s.kind == kind.name);
    let mut have: BTreeMap<String, String> = attributes(same_kind.and_then(|s| s.attributes.as_deref()))
        .map(|(column, value)| (column.to_owned(), value.to_owned()))
        .collect();
    for column in attribute_columns(places.set) {
        match cells.raw(&column) {
            None => {}
            Some("") => drop(have.remove(&column)),
            Some(text) => {
                if let Some(value) = attribute_value(cells, kind, &column, text) {
                    have.insert(column, value);
                }
            }
        }
    }
    let lines: Vec<String> = have.into_iter().map(|(column, value)| format!("{column}={value}")).collect();
    (!lines.is_empty()).then(|| lines.join("\n"))
}

fn attribute_value(cells: &Cells, kind: &Kind, column: &str, text: &str) -> Option<String> {
    let Some(attribute) = kind.attribute(column) else {
        cells.fault(column, format!("is no attribute of a {}; leave it empty", kind.name));
        return None;
    };
    let checked = match &attribute.holds {
        AttributeType::Number { min, max } => number(text, *min, *max),
        AttributeType::Text { values } if !values.is_empty() && !values.iter().any(|v| v == text) => {
            Err(format!("is not one of: {}", values.join(", ")))
        }
        AttributeType::Text { .. } if text.chars().any(char::is_control) => Err("is not one line".to_owned()),
        AttributeType::Text { .. } => Ok(text.to_owned()),
    };
    checked.map_err(|message| cells.fault(column, format!("\"{text}\" {message}"))).ok()
}

fn number(text: &str, min: Option<Amount>, max: Option<Amount>) -> Result<String, String> {
    let amount: Amount = text.parse().map_err(|error: policies::amount::AmountError| error.to_string())?;
    let low = min.is_some_and(|min| amount < min);
    let high = max.is_some_and(|max| amount > max);
    if low || high {
        let end = |end: Option<Amount>| end.map_or_else(|| "…".to_owned(), |end| end.to_string());
        return Err(format!("is outside the plausible {} to {}; check the unit", end(min), end(max)));
    }
    Ok(amount.to_string())
}
