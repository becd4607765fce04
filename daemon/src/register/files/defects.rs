//! `defects.csv`: what examinations found wrong, and what cleared it.

use super::{item, or_empty, void_text};
use crate::records::Defect;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

/// Whether a defect is a danger, could become one by a day, or is none.
const DANGERS: &[&str] = &["now", "by", "none"];

impl RegisterFile for Defect {
    const NAME: &'static str = "defects";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("item"),
        needed("report"),
        needed("found_on"),
        needed("part"),
        needed("what"),
        needed("danger"),
        optional("by_date"),
        optional("remedy"),
        optional("cleared_by"),
        optional("cleared_on"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Defect>) -> Option<Defect> {
        let found_on = cells.needed("found_on", stored.map(|s| &s.found_on));
        let danger = cells.needed("danger", stored.map(|s| &s.danger));
        let row = Defect {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            item: item(cells, places, "item", stored.map(|s| &s.item)).unwrap_or_default(),
            report: cells.needed("report", stored.map(|s| &s.report)).unwrap_or_default(),
            found_on: cells.date("found_on", found_on).unwrap_or_default(),
            part: cells.needed("part", stored.map(|s| &s.part)).unwrap_or_default(),
            what: cells.needed("what", stored.map(|s| &s.what)).unwrap_or_default(),
            danger: cells.word("danger", danger, DANGERS).unwrap_or_default(),
            by_date: cells.date("by_date", cells.may("by_date", stored.map(|s| &s.by_date))),
            remedy: cells.may("remedy", stored.map(|s| &s.remedy)),
            cleared_by: cells.may("cleared_by", stored.map(|s| &s.cleared_by)),
            cleared_on: cells.date("cleared_on", cells.may("cleared_on", stored.map(|s| &s.cleared_on))),
        };
        if !cells.is_bad() {
            check(cells, &row);
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, _: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.item.clone(),
            self.report.clone(),
            self.found_on.clone(),
            self.part.clone(),
            self.what.clone(),
            self.danger.clone(),
            or_empty(self.by_date.as_ref()),
            or_empty(self.remedy.as_ref()),
            or_empty(self.cleared_by.as_ref()),
            or_empty(self.cleared_on.as_ref()),
            void_text(self.void),
        ]
    }
}

fn check(cells: &Cells, row: &Defect) {
    match (row.danger.as_str(), &row.by_date) {
        ("by", None) => {
            cells.fault("by_date", "is empty; danger = by needs the day by which it could be one");
        }
        ("by", Some(by)) if *by < row.found_on => {
            cells.fault(
                "by_date",
                format!("{by} lies before found_on {}; a danger then is one now", row.found_on),
            );
        }
        ("by", Some(_)) | (_, None) => {}
        (_, Some(_)) => {
            cells.fault("by_date", "belongs to danger = by alone; clear it, or write danger = by");
        }
    }
    match (&row.cleared_by, &row.cleared_on) {
        (Some(_), None) => cells.fault("cleared_on", "is empty; say when it was cleared"),
        (None, Some(_)) => {
            cells.fault("cleared_by", "is empty; say by whom, or by which work, it was cleared");
        }
        (Some(_), Some(on)) if *on < row.found_on => {
            cells.fault("cleared_on", format!("{on} lies before found_on {}", row.found_on));
        }
        _ => {}
    }
}
