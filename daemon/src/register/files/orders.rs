//! `orders.csv`: parts that are ordered, and their receipt.

use super::stock::known_place;
use super::{decimal, or_empty, void_text};
use crate::records::Order;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for Order {
    const NAME: &'static str = "orders";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("part"),
        needed("quantity"),
        needed("place"),
        needed("ordered_on"),
        needed("needed_by"),
        optional("received_on"),
        optional("certificate"),
        needed("by"),
        optional("signed_by"),
        optional("signed_on"),
        optional("for_whom"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Order>) -> Option<Order> {
        let place = cells.needed("place", stored.map(|s| &s.place));
        let ordered = cells.needed("ordered_on", stored.map(|s| &s.ordered_on));
        let needed_by = cells.needed("needed_by", stored.map(|s| &s.needed_by));
        let received = cells.may("received_on", stored.map(|s| &s.received_on));
        let signed = cells.may("signed_on", stored.map(|s| &s.signed_on));
        let quantity = cells.amount("quantity", stored.map(|s| s.quantity));
        if quantity.is_none_or(|quantity| quantity <= 0) && !cells.is_bad() {
            cells.fault("quantity", "is no number above nought");
        }
        let row = Order {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            part: cells.needed("part", stored.map(|s| &s.part)).unwrap_or_default(),
            quantity: quantity.unwrap_or_default(),
            place: cells.checked("place", place, |slug| known_place(places, slug)).unwrap_or_default(),
            ordered_on: cells.date("ordered_on", ordered).unwrap_or_default(),
            needed_by: cells.date("needed_by", needed_by).unwrap_or_default(),
            received_on: cells.date("received_on", received),
            certificate: cells.may("certificate", stored.map(|s| &s.certificate)),
            by: cells.needed("by", stored.map(|s| &s.by)).unwrap_or_default(),
            signed_by: cells.may("signed_by", stored.map(|s| &s.signed_by)),
            signed_on: cells.date("signed_on", signed),
            for_whom: cells.may("for_whom", stored.map(|s| &s.for_whom)),
        };
        let early =
            row.received_on.as_ref().filter(|received| **received < row.ordered_on && !cells.is_bad());
        if let Some(received) = early {
            cells.fault("received_on", format!("{received} lies before ordered_on {}", row.ordered_on));
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, _: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.part.clone(),
            decimal(Some(self.quantity)),
            self.place.clone(),
            self.ordered_on.clone(),
            self.needed_by.clone(),
            or_empty(self.received_on.as_ref()),
            or_empty(self.certificate.as_ref()),
            self.by.clone(),
            or_empty(self.signed_by.as_ref()),
            or_empty(self.signed_on.as_ref()),
            or_empty(self.for_whom.as_ref()),
            void_text(self.void),
        ]
    }
}
