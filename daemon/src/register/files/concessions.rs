//! `concessions.csv`.

use policies::rule::Authority;

use super::{item, or_empty, void_text};
use crate::records::Concession;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for Concession {
    const NAME: &'static str = "concessions";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("item"),
        needed("rule"),
        needed("from"),
        needed("until"),
        needed("conditions"),
        needed("by"),
        optional("second"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Concession>) -> Option<Concession> {
        let from = cells.needed("from", stored.map(|s| &s.from_date));
        let until = cells.needed("until", stored.map(|s| &s.until_date));
        let rule = cells.needed("rule", stored.map(|s| &s.rule));
        let row = Concession {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            item: item(cells, places, "item", stored.map(|s| &s.item)).unwrap_or_default(),
            rule: cells.checked("rule", rule, |id| conceded(places, id)).unwrap_or_default(),
            from_date: cells.date("from", from).unwrap_or_default(),
            until_date: cells.date("until", until).unwrap_or_default(),
            conditions: cells.needed("conditions", stored.map(|s| &s.conditions)).unwrap_or_default(),
            by: cells.needed("by", stored.map(|s| &s.by)).unwrap_or_default(),
            second: cells.may("second", stored.map(|s| &s.second)),
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
            self.rule.clone(),
            self.from_date.clone(),
            self.until_date.clone(),
            self.conditions.clone(),
            self.by.clone(),
            or_empty(self.second.as_ref()),
            void_text(self.void),
        ]
    }
}

/// What the law asks for cannot be conceded.
fn conceded(places: &Places, id: &str) -> Result<(), String> {
    let rule = places.set.find_rule(id).ok_or_else(|| "is no rule of the policy set".to_owned())?;
    match places.set.rule(rule).authority {
        Authority::Law => Err("is asked by law and cannot be conceded; quarantine the item".to_owned()),
        _ => Ok(()),
    }
}
