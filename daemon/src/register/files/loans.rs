//! `loans.csv`: until when a station has gear of another.

use super::{item, or_empty, station, void_text};
use crate::records::Loan;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for Loan {
    const NAME: &'static str = "loans";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("item"),
        needed("station"),
        needed("from"),
        needed("until"),
        needed("by"),
        optional("note"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Loan>) -> Option<Loan> {
        let borrower = cells.needed("station", stored.map(|s| &s.station));
        let from = cells.needed("from", stored.map(|s| &s.from_date));
        let until = cells.needed("until", stored.map(|s| &s.until_date));
        let row = Loan {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            item: item(cells, places, "item", stored.map(|s| &s.item)).unwrap_or_default(),
            station: station(cells, places, "station", borrower).unwrap_or_default(),
            from_date: cells.date("from", from).unwrap_or_default(),
            until_date: cells.date("until", until).unwrap_or_default(),
            by: cells.needed("by", stored.map(|s| &s.by)).unwrap_or_default(),
            note: cells.may("note", stored.map(|s| &s.note)),
        };
        if !cells.is_bad() && row.until_date < row.from_date {
            cells.fault("until", format!("{} lies before from {}", row.until_date, row.from_date));
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, _: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.item.clone(),
            self.station.clone(),
            self.from_date.clone(),
            self.until_date.clone(),
            self.by.clone(),
            or_empty(self.note.as_ref()),
            void_text(self.void),
        ]
    }
}
