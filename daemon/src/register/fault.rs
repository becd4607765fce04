//! Bad rows, all at once.

use std::fmt;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

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
    found: Mutex<Vec<RowFault>>,
    notes: Mutex<Vec<RowFault>>,
    beyond: AtomicUsize,
}

/// Whoever held it before and panicked left whole rows.
fn held(rows: &Mutex<Vec<RowFault>>) -> MutexGuard<'_, Vec<RowFault>> {
    rows.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Faults {
    /// Adds a fault.
    pub fn add(&self, fault: RowFault) {
        let mut found = held(&self.found);
        if found.len() < MOST {
            found.push(fault);
        } else {
            self.beyond.fetch_add(1, Ordering::Relaxed);
        }
    }

    /// Adds a note: the row counts, but a person should know.
    pub fn note(&self, note: RowFault) {
        held(&self.notes).push(note);
    }

    /// Whether there is any fault.
    pub fn any(&self) -> bool {
        !held(&self.found).is_empty()
    }

    /// How many faults there are in all.
    pub fn count(&self) -> usize {
        held(&self.found).len() + self.beyond.load(Ordering::Relaxed)
    }

    /// The faults that are told, in the order of files and rows, and how many more there are.
    pub fn take(&self) -> (Vec<RowFault>, usize) {
        let mut found = std::mem::take(&mut *held(&self.found));
        found.sort();
        (found, self.beyond.load(Ordering::Relaxed))
    }

    /// The notes, in the order of files and rows.
    pub fn take_notes(&self) -> Vec<RowFault> {
        let mut notes = std::mem::take(&mut *held(&self.notes));
        notes.sort();
        notes
    }
}
