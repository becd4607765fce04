//! `states.csv`.

use super::{item, moment_text, note_future, or_empty, void_text};
use crate::records::State;
use crate::register::cells::{Cells, Moment};
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

const STATES: &[&str] = &["quarantined", "released", "withdrawn", "laid up", "returned"];

impl RegisterFile for State {
    const NAME: &'static str = "states";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("item"),
        needed("at"),
        needed("state"),
        optional("by"),
        optional("reason"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&State>) -> Option<State> {
        let tag = item(cells, places, "item", stored.map(|s| &s.item))?;
        let before = stored.map(|s| Moment { at: s.at, day: s.day.clone() });
        let at = cells.needed_moment("at", places.zone_of(&tag), before);
        let state = cells.needed("state", stored.map(|s| &s.state));
        note_future(cells, places, "at", at.as_ref());
        let row = State {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            at: at.as_ref().map(|at| at.at).unwrap_or_default(),
            day: at.and_then(|at| at.day),
            state: cells.word("state", state, STATES).unwrap_or_default(),
            by: cells.may("by", stored.map(|s| &s.by)),
            reason: cells.may("reason", stored.map(|s| &s.reason)),
            item: tag,
        };
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, places: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.item.clone(),
            moment_text(self.at, self.day.as_ref(), places.zone_of(&self.item)),
            self.state.clone(),
            or_empty(self.by.as_ref()),
            or_empty(self.reason.as_ref()),
            void_text(self.void),
        ]
    }
}
