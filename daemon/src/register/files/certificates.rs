//! `certificates.csv`.

use super::{item, or_empty, void_text};
use crate::records::Certificate;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for Certificate {
    const NAME: &'static str = "certificates";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("item"),
        needed("number"),
        needed("issuer"),
        needed("issued_on"),
        optional("valid_until"),
        optional("file"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Certificate>) -> Option<Certificate> {
        let issued = cells.needed("issued_on", stored.map(|s| &s.issued_on));
        let valid = cells.may("valid_until", stored.map(|s| &s.valid_until));
        let row = Certificate {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            item: item(cells, places, "item", stored.map(|s| &s.item)).unwrap_or_default(),
            number: cells.needed("number", stored.map(|s| &s.number)).unwrap_or_default(),
            issuer: cells.needed("issuer", stored.map(|s| &s.issuer)).unwrap_or_default(),
            issued_on: cells.date("issued_on", issued).unwrap_or_default(),
            valid_until: cells.date("valid_until", valid),
            file: cells.may("file", stored.map(|s| &s.file)),
        };
        if let Some(valid) =
            row.valid_until.as_ref().filter(|valid| **valid < row.issued_on && !cells.is_bad())
        {
            cells.fault("valid_until", format!("{valid} lies before issued_on {}", row.issued_on));
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, _: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.item.clone(),
            self.number.clone(),
            self.issuer.clone(),
            self.issued_on.clone(),
            or_empty(self.valid_until.as_ref()),
            or_empty(self.file.as_ref()),
            void_text(self.void),
        ]
    }
}
