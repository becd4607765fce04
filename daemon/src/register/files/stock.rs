//! `stock.csv`.

use super::{decimal, moment_text, note_future, or_empty, void_text};
use crate::records::Stock;
use crate::register::cells::{Cells, Moment};
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

const REASONS: &[&str] = &["receipt", "issue", "count", "scrap"];

impl RegisterFile for Stock {
    const NAME: &'static str = "stock";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("part"),
        needed("place"),
        needed("at"),
        needed("quantity"),
        needed("reason"),
        optional("items"),
        optional("note"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Stock>) -> Option<Stock> {
        let place = cells.needed("place", stored.map(|s| &s.place));
        let place = cells.checked("place", place, |slug| known_place(places, slug)).unwrap_or_default();
        let before = stored.map(|s| Moment { at: s.at, day: s.day.clone() });
        let at = cells.needed_moment("at", places.zone_at(Some(&place)), before);
        let reason = cells.needed("reason", stored.map(|s| &s.reason));
        let quantity = cells.amount("quantity", stored.map(|s| s.quantity));
        if quantity.is_none() && !cells.is_bad() {
            cells.fault("quantity", "is empty; give a signed decimal number");
        }
        note_future(cells, places, "at", at.as_ref());
        let row = Stock {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            part: cells.needed("part", stored.map(|s| &s.part)).unwrap_or_default(),
            place,
            at: at.as_ref().map(|at| at.at).unwrap_or_default(),
            day: at.and_then(|at| at.day),
            quantity: quantity.unwrap_or_default(),
            reason: cells.word("reason", reason, REASONS).unwrap_or_default(),
            items: cells.may("items", stored.map(|s| &s.items)),
            note: cells.may("note", stored.map(|s| &s.note)),
        };
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, places: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.part.clone(),
            self.place.clone(),
            moment_text(self.at, self.day.as_ref(), places.zone_at(Some(&self.place))),
            decimal(Some(self.quantity)),
            self.reason.clone(),
            or_empty(self.items.as_ref()),
            or_empty(self.note.as_ref()),
            void_text(self.void),
        ]
    }
}

/// A place that holds stock: a station, stores or loft.
pub(super) fn known_place(places: &Places, place: &str) -> Result<(), String> {
    if ["stores", "loft"].contains(&place) || places.has_station(place) {
        return Ok(());
    }
    Err("is no place; give a station, stores or loft".to_owned())
}
