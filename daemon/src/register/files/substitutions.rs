//! `substitutions.csv`: gear that may stand in a position although it differs from what belongs there.

use super::{item, or_empty, void_text};
use crate::records::Substitution;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for Substitution {
    const NAME: &'static str = "substitutions";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("item"),
        needed("host"),
        needed("position"),
        needed("by"),
        needed("reason"),
        optional("until"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Substitution>) -> Option<Substitution> {
        let until = cells.may("until", stored.map(|s| &s.until_date));
        let row = Substitution {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            item: item(cells, places, "item", stored.map(|s| &s.item)).unwrap_or_default(),
            host: item(cells, places, "host", stored.map(|s| &s.host)).unwrap_or_default(),
            position: cells.needed("position", stored.map(|s| &s.position)).unwrap_or_default(),
            by: cells.needed("by", stored.map(|s| &s.by)).unwrap_or_default(),
            reason: cells.needed("reason", stored.map(|s| &s.reason)).unwrap_or_default(),
            until_date: cells.date("until", until),
        };
        // A row that says nothing new may name a position that a later policy dropped.
        if !cells.is_bad() && stored != Some(&row) {
            super::fittings::check_position(cells, places, [&row.item, &row.host, &row.position]);
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, _: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.item.clone(),
            self.host.clone(),
            self.position.clone(),
            self.by.clone(),
            self.reason.clone(),
            or_empty(self.until_date.as_ref()),
            void_text(self.void),
        ]
    }
}
