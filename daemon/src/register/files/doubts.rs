//! `doubts.csv`: answers to doubts in the logs.

use policies::doubts::Answer;

use super::{item, or_empty, void_text};
use crate::doubts::{entries_key, reading_key};
use crate::records::DoubtAnswer;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

impl RegisterFile for DoubtAnswer {
    const NAME: &'static str = "doubts";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("item"),
        needed("answer"),
        needed("by"),
        optional("first"),
        optional("second"),
        optional("read_on"),
        optional("voided"),
        optional("note"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&DoubtAnswer>) -> Option<DoubtAnswer> {
        let answer = cells.needed("answer", stored.map(|s| &s.answer));
        let read_on = cells.may("read_on", stored.map(|s| &s.read_on));
        let row = DoubtAnswer {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            item: item(cells, places, "item", stored.map(|s| &s.item)).unwrap_or_default(),
            answer: cells.word("answer", answer, Answer::WORDS).unwrap_or_default(),
            by: cells.needed("by", stored.map(|s| &s.by)).unwrap_or_default(),
            first: cells.may("first", stored.map(|s| &s.first)),
            second: cells.may("second", stored.map(|s| &s.second)),
            read_on: cells.date("read_on", read_on),
            voided: cells.may("voided", stored.map(|s| &s.voided)),
            note: cells.may("note", stored.map(|s| &s.note)),
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
            self.answer.clone(),
            self.by.clone(),
            or_empty(self.first.as_ref()),
            or_empty(self.second.as_ref()),
            or_empty(self.read_on.as_ref()),
            or_empty(self.voided.as_ref()),
            or_empty(self.note.as_ref()),
            void_text(self.void),
        ]
    }
}

/// What an answer speaks of must be what its key is made of.
fn check(cells: &Cells, row: &DoubtAnswer) {
    let of_entries = Answer::from_word(&row.answer).is_some_and(Answer::is_of_entries);
    let right = match (&row.first, &row.second, &row.read_on) {
        (Some(first), Some(second), None) if of_entries => entries_key(first, second),
        (None, None, Some(read_on)) if !of_entries => reading_key(&row.item, read_on),
        _ => {
            let message = format!(
                "\"{}\" needs {}",
                row.answer,
                if of_entries { "first and second, and no read_on" } else { "read_on, and no entries" }
            );
            cells.fault("answer", message);
            return;
        }
    };
    if row.key != right {
        cells.fault("key", format!("\"{}\" is not the key of this doubt, which is {right}", row.key));
    }
    let named = [&row.first, &row.second].into_iter().any(|key| *key == row.voided);
    let right = if row.answer == Answer::Twin.word() { named } else { row.voided.is_none() };
    if !right {
        cells.fault("voided", "names the entry that a twin made void, and is empty otherwise");
    }
}
