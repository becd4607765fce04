//! The published limits, embedded as data with their sources.

use std::sync::LazyLock;

use super::fault::AssessFault;
use super::ratio::Ratio;
use super::{Regime, Sense, Sourced};
use crate::amount::Amount;
use crate::proof_load::Status;
use crate::rule::Authority;

/// An embedded table: its file name, text and header.
pub(super) struct Table {
    pub file: &'static str,
    pub text: &'static str,
    pub header: &'static str,
}

macro_rules! table {
    ($file:literal, $header:literal) => {
        $crate::assess::table::Table {
            file: $file,
            text: include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tables/", $file)),
            header: $header,
        }
    };
}
pub(super) use table;

/// The rows of a table, read once.
pub(super) type Kept<Row> = LazyLock<Result<Vec<Row>, AssessFault>>;

/// The rows, or the fault that the table has.
pub(super) fn kept<Row>(rows: &'static Kept<Row>) -> Result<&'static [Row], AssessFault> {
    rows.as_ref().map(Vec::as_slice).map_err(Clone::clone)
}

impl Table {
    /// Every row, read by `read`, which names the column at fault.
    pub fn rows<Row>(
        &self,
        read: impl Fn(&Cells) -> Result<Row, &'static str>,
    ) -> Result<Vec<Row>, AssessFault> {
        let broken = |line, column| AssessFault::Table { file: self.file, line, column };
        let mut lines = self.text.lines();
        if lines.next() != Some(self.header) {
            return Err(broken(1, "the header"));
        }
        let row = |(at, line): (usize, &'static str)| {
            let cells = Cells { header: self.header, cells: line.split(',').collect() };
            if cells.cells.len() != self.header.split(',').count() {
                return Err(broken(at + 2, "the number of cells"));
            }
            read(&cells).map_err(|column| broken(at + 2, column))
        };
        lines.enumerate().map(row).collect()
    }
}

/// One line; the tables hold no quotes, so a comma always parts two cells.
pub(super) struct Cells {
    header: &'static str,
    cells: Vec<&'static str>,
}

impl Cells {
    pub fn text(&self, column: &'static str) -> Result<&'static str, &'static str> {
        let at = self.header.split(',').position(|name| name == column).ok_or(column)?;
        Ok(self.cells[at])
    }

    pub fn number(&self, column: &'static str) -> Result<Ratio, &'static str> {
        self.optional(column)?.ok_or(column)
    }

    /// An empty cell is no number.
    pub fn optional(&self, column: &'static str) -> Result<Option<Ratio>, &'static str> {
        match self.text(column)? {
            "" => Ok(None),
            text => text.parse::<Amount>().map(|amount| Some(amount.into())).map_err(|_| column),
        }
    }

    pub fn whole(&self, column: &'static str) -> Result<i128, &'static str> {
        self.text(column)?.parse().map_err(|_| column)
    }

    pub fn regimes(&self) -> Result<Vec<Regime>, &'static str> {
        Regime::covered(self.text("regime")?).ok_or("regime")
    }

    pub fn sense(&self) -> Result<Sense, &'static str> {
        Sense::from_word(self.text("discard")?).ok_or("discard")
    }

    pub fn sourced(&self) -> Result<Sourced, &'static str> {
        let source = self.text("source")?;
        let status = match self.text("status")? {
            "seen" => Status::Seen,
            "memory" => Status::Memory,
            _ => return Err("status"),
        };
        if source.is_empty() {
            return Err("source");
        }
        let authority = Authority::from_word(self.text("authority")?).ok_or("authority")?;
        Ok(Sourced { source: source.to_owned(), authority, status })
    }
}
