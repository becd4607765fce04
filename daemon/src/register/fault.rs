//! Bad rows, all at once.

use std::cell::{Cell, RefCell};
use std::fmt;

/// How many bad rows are told.
const MOST: usize = 200;

/// A bad row: where, and what would be right.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct RowFault {
    /// File, such as `items.csv`.
    pub file: String,
    /// Line, the header being 1.
    pub row: usize,
    /// Column.
    pub column: String,
    /// What is wrong, and what would be right.
    pub message: String,
}

impl fmt::Display for RowFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: {}: {}", self.file, self.row, self.column, self.message)
    }
}

/// Collects faults, and notes on what was taken as it stands.
#[derive(Debug, Default)]
pub struct Faults {
    found: RefCell<Vec<RowFault>>,
    notes: RefCell<Vec<RowFault>>,
    beyond: Cell<usize>,
}

impl Faults {
    /// Adds a fault.
    pub fn add(&self, fault: RowFault) {
        let mut found = self.found.borrow_mut();
        if found.len() < MOST {
            found.push(fault);
        } else {
            self.beyond.set(self.beyond.get() + 1);
        }
    }

    /// Adds a note: the row counts, but a person should know.
    pub fn note(&self, note: RowFault) {
        self.notes.borrow_mut().push(note);
    }

    /// Whether there is any fault.
    pub fn any(&self) -> bool {
        !self.found.borrow().is_empty()
    }

    /// How many faults there are in all.
    pub fn count(&self) -> usize {
        self.found.borrow().len() + self.beyond.get()
    }

    /// The faults that are told, in the order of files and rows, and how many more there are.
    pub fn take(&self) -> (Vec<RowFault>, usize) {
        let mut found = self.found.take();
        found.sort();
        (found, self.beyond.get())
    }

    /// The notes, in the order of files and rows.
    pub fn take_notes(&self) -> Vec<RowFault> {
        let mut notes = self.notes.take();
        notes.sort();
        notes
    }
}
