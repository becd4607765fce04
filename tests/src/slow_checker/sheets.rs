//! One register file, read line by line.

use std::collections::{BTreeMap, BTreeSet};

pub struct Line {
    cells: BTreeMap<String, String>,
    place: String,
}

impl Line {
    /// The cell, or nothing where the column is absent or the cell empty.
    pub fn get(&self, column: &str) -> Option<&str> {
        self.cells.get(column).map(String::as_str).filter(|cell| !cell.is_empty())
    }

    pub fn need(&self, column: &str) -> Result<&str, String> {
        self.get(column).ok_or_else(|| self.wrong(column, "missing"))
    }

    pub fn text(&self, column: &str) -> Option<String> {
        self.get(column).map(str::to_owned)
    }

    pub fn void(&self) -> bool {
        self.get("void") == Some("yes")
    }

    pub fn wrong(&self, column: &str, what: impl std::fmt::Display) -> String {
        format!("{}: {column}: {what}", self.place)
    }

    pub fn cells(&self) -> impl Iterator<Item = (&str, &str)> {
        self.cells.iter().map(|(column, cell)| (column.as_str(), cell.as_str()))
    }
}

/// Every file is optional: a missing one has no lines.
pub fn lines(files: &BTreeMap<String, String>, name: &str) -> Result<Vec<Line>, String> {
    let Some(text) = files.get(name) else {
        return Ok(Vec::new());
    };
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let header = reader.headers().map_err(|e| format!("{name}: {e}"))?.clone();
    let mut lines = Vec::new();
    for (row, record) in reader.records().enumerate() {
        let record = record.map_err(|e| format!("{name}: {e}"))?;
        if record.iter().all(str::is_empty) {
            continue;
        }
        let place = format!("{name}:{}", row + 2);
        let cells = header.iter().zip(record.iter());
        let cells = cells.map(|(column, cell)| (column.to_owned(), cell.to_owned())).collect();
        lines.push(Line { cells, place });
    }
    Ok(lines)
}

/// The lines that were never declared void.
pub fn live(files: &BTreeMap<String, String>, name: &str) -> Result<Vec<Line>, String> {
    let mut kept = lines(files, name)?;
    kept.retain(|line| !line.void());
    Ok(kept)
}

/// A key may stand only once in a file, void or not.
pub fn no_key_twice(lines: &[Line], column: &str) -> Result<(), String> {
    let mut seen = BTreeSet::new();
    for line in lines {
        let key = line.need(column)?;
        if !seen.insert(key) {
            return Err(line.wrong(column, format!("{key:?} stands twice")));
        }
    }
    Ok(())
}
