//! The files of the register, one a module.

mod certificates;
mod concessions;
mod defects;
mod doubts;
mod examinations;
mod fittings;
mod items;
mod loans;
mod orders;
mod parts;
mod people;
mod states;
mod stations;
mod stock;
mod substitutions;
mod usage;
mod work;

pub(crate) use items::attribute_columns;

use policies::amount::Amount;
use policies::zone::{Instant, Zone};

use super::cells::{Cells, Moment};
use super::places::Places;

/// `yes` for a void record.
fn void_text(void: bool) -> String {
    if void { "yes".to_owned() } else { String::new() }
}

/// A text, or an empty cell.
fn or_empty(text: Option<&String>) -> String {
    text.cloned().unwrap_or_default()
}

/// The shortest decimal, or an empty cell.
fn decimal(millionths: Option<i64>) -> String {
    millionths.map(|amount| Amount::from_millionths(amount).to_string()).unwrap_or_default()
}

/// A moment as an export writes it: the day where only that is known, else RFC 3339 in the zone.
pub(super) fn moment_text(at: i64, day: Option<&String>, zone: &Zone) -> String {
    if let Some(day) = day {
        return day.clone();
    }
    let local = Instant(at).timestamp().to_zoned_datetime(zone.time_zone().clone());
    local.strftime("%Y-%m-%dT%H:%M:%S%.f%:z").to_string()
}

/// The item of a row, which must be known after the import.
fn item(cells: &Cells, places: &Places, column: &str, stored: Option<&String>) -> Option<String> {
    let text = cells.needed(column, stored);
    cells.checked(column, text, |tag| {
        if places.has_item(tag) {
            return Ok(());
        }
        let near = places.nearest(tag).map(|near| format!("; did you mean {near}?"));
        Err(format!("is no item of the register{}", near.unwrap_or_default()))
    })
}

/// A station that must be known after the import.
fn station(cells: &Cells, places: &Places, column: &str, text: Option<String>) -> Option<String> {
    cells.checked(column, text, |slug| {
        if places.has_station(slug) {
            Ok(())
        } else {
            Err("is no station; add it to stations.csv".to_owned())
        }
    })
}

/// Notes a record dated after now; it counts all the same.
fn note_future(cells: &Cells, places: &Places, column: &str, moment: Option<&Moment>) {
    if moment.is_some_and(|moment| moment.at > places.now.0) {
        cells.note(column, "lies after now; it counts from then");
    }
}
