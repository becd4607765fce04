//! The register: gear and its records as a folder of CSV files, or a workbook, in and out.

mod cells;
mod checks;
mod export;
mod fault;
mod files;
mod places;
mod plan;
mod proofs;
mod readings;
mod sheet;
mod xlsx;

pub(crate) use export::sheet_of;
pub use export::{Format, export, row_of};
pub use fault::{Faults, RowFault};
pub use places::Places;
pub use plan::{Change, Changes, Plan, plan};
pub use sheet::{FolderError, Sheet, read_folder};

use policies::load::PolicySet;
use policies::zone::{Instant, Zone};

use crate::records::{Certificate, Work};
use crate::store::Stored;
use crate::store::current::Register;
use cells::Cells;
use proofs::Found;
use readings::Live;

/// A time as the register reads it: its moment, and the day where only that is given.
pub fn moment(text: &str, zone: &Zone) -> Option<(i64, Option<String>)> {
    cells::moment(text, zone).map(|(moment, _)| (moment.at, moment.day))
}

/// Reads one row of work as an import would, and more strictly, since it can still be read again; faults and notes go
/// to `faults`. `confirmed` says that a reading which looks like a slip was read again.
pub fn read_one(
    set: &PolicySet,
    register: &Register,
    now: Instant,
    sheet: &Sheet,
    confirmed: bool,
    faults: &Faults,
) -> Option<Work> {
    let places = Places::of(set, now, register);
    let work = plan::single::<Work>(sheet, &places, faults)?;
    let here = |message: String| RowFault {
        file: sheet.file.clone(),
        row: 1,
        column: proofs::COLUMN.to_owned(),
        message,
    };
    let live = Live { places: &places, register, work: &work };
    match proofs::Tests::of(register, &places).fault(&work) {
        Some(Found::Wrong(message) | Found::Rounded(message)) => faults.add(here(message)),
        Some(Found::NotJudged(message)) => faults.note(here(message)),
        None => {}
    }
    live.wrong().into_iter().for_each(|message| faults.add(here(message)));
    for message in live.doubtful() {
        if confirmed {
            faults.note(here(format!("{message} (confirmed)")));
        } else {
            faults.add(here(format!("{message}; if it is so all the same, add --confirm-reading")));
        }
    }
    if let Some(message) = readings::understated(set, register, &work) {
        faults.note(here(message));
    }
    (!faults.any()).then_some(work)
}

/// Reads one row of certificates as an import would; faults go to `faults`.
pub fn read_certificate(
    set: &PolicySet,
    register: &Register,
    now: Instant,
    sheet: &Sheet,
    faults: &Faults,
) -> Option<Certificate> {
    plan::single::<Certificate>(sheet, &Places::of(set, now, register), faults)
}

/// Reads the rows of any file as an import would, as if nothing were stored; faults go to `faults`.
pub(crate) fn read_rows<R: RegisterFile>(places: &Places, sheet: &Sheet, faults: &Faults) -> Vec<R> {
    plan::alone(sheet, places, faults)
}

/// A column of a register file.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// Its name.
    pub name: &'static str,
    /// Whether it may be absent, and its cells empty.
    pub optional: bool,
}

const fn needed(name: &'static str) -> Column {
    Column { name, optional: false }
}

const fn optional(name: &'static str) -> Column {
    Column { name, optional: true }
}

/// A file of the register: how its rows become records, and records rows again.
pub(crate) trait RegisterFile: Stored {
    /// File name without its ending.
    const NAME: &'static str;
    /// Columns, in the order an export writes them.
    const COLUMNS: &'static [Column];

    /// The key of a row, where its cells allow one.
    fn key_of(cells: &Cells, places: &Places) -> Option<String>;

    /// The record of a row over what is stored under its key. Faults go to `cells`; then the record is not used.
    fn read(cells: &Cells, places: &Places, stored: Option<&Self>) -> Option<Self>;

    /// The cells of an export, in the order of [`Self::COLUMNS`].
    fn write(&self, places: &Places) -> Vec<String>;
}
