//! Tables of text: a CSV file, or a sheet of a workbook.

use std::fs;
use std::io::{BufReader, Read};
use std::path::Path;

use super::fault::{Faults, RowFault};
use super::xlsx;

/// One file of the register as text.
#[derive(Clone, Debug, Default)]
pub struct Sheet {
    /// File name without its ending, such as `items`.
    pub name: String,
    /// File as faults name it, such as `items.csv`.
    pub file: String,
    /// Header.
    pub header: Vec<String>,
    /// Rows with their line numbers.
    pub rows: Vec<(usize, Vec<String>)>,
}

/// The files of a register.
pub const FILES: &[&str] = &[
    "stations",
    "people",
    "items",
    "fittings",
    "usage",
    "work",
    "states",
    "concessions",
    "certificates",
    "parts",
    "stock",
];

/// Longest cell: a note of several pages. Longer ones are a slip, or meant to hurt.
const LONGEST_CELL: usize = 64 * 1024;
/// Longest file.
const LARGEST_FILE: u64 = 2 * 1024 * 1024 * 1024;

/// What a folder is that is no register.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// It cannot be read.
    #[error("reading {path}")]
    Unreadable {
        /// Which path.
        path: String,
        /// The system's own words.
        #[source]
        source: std::io::Error,
    },
    /// It holds none of the files.
    #[error(
        "{0} holds no register: give a folder with stations.csv, items.csv …, or with one .xlsx workbook"
    )]
    Empty(String),
    /// It holds files and a workbook, or several.
    #[error("{0} holds CSV files and a workbook, or several workbooks; keep one register")]
    Ambiguous(String),
    /// The workbook is no workbook, or too large.
    #[error("{path}: {reason}")]
    Workbook {
        /// Which file.
        path: String,
        /// Why.
        reason: String,
    },
}

/// Reads a register: a folder of CSV files or of one workbook, or the workbook itself. Faults inside the files
/// are collected; unknown files are faults too, since a misspelt name would silently be left out.
///
/// # Errors
/// A folder that is no register.
pub fn read_folder(folder: &Path, faults: &Faults) -> Result<Vec<Sheet>, FolderError> {
    if folder.extension().is_some_and(|ending| ending == "xlsx") && folder.is_file() {
        return xlsx::read(folder, faults);
    }
    let unreadable = |source| FolderError::Unreadable { path: folder.display().to_string(), source };
    let (mut tables, mut books) = (Vec::new(), Vec::new());
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        match path.extension().and_then(|ending| ending.to_str()) {
            Some("csv") => tables.push(path),
            Some("xlsx") => books.push(path),
            _ => {}
        }
    }
    tables.sort();
    match (&tables[..], &books[..]) {
        ([], []) => Err(FolderError::Empty(folder.display().to_string())),
        ([], [book]) => xlsx::read(book, faults),
        (_, []) => tables.iter().map(|path| read_csv(path, faults)).collect(),
        _ => Err(FolderError::Ambiguous(folder.display().to_string())),
    }
}

fn read_csv(path: &Path, faults: &Faults) -> Result<Sheet, FolderError> {
    let unreadable = |source| FolderError::Unreadable { path: path.display().to_string(), source };
    let file = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let mut sheet = Sheet { name, file, ..Sheet::default() };
    check_name(&sheet, faults);
    let opened = fs::File::open(path).map_err(unreadable)?;
    let size = opened.metadata().map_err(unreadable)?.len();
    if size > LARGEST_FILE {
        sheet.fault(faults, 1, "file", "is larger than 2 GiB; split it");
        return Ok(sheet);
    }
    read_rows(&mut sheet, BufReader::with_capacity(1 << 20, opened), faults);
    Ok(sheet)
}

/// A file the register does not know is most likely misspelt.
pub(super) fn check_name(sheet: &Sheet, faults: &Faults) {
    if !FILES.contains(&sheet.name.as_str()) {
        let message = format!("is no file of the register; the files are {}", FILES.join(", "));
        sheet.fault(faults, 1, "file", &message);
    }
}

fn read_rows(sheet: &mut Sheet, reader: impl Read, faults: &Faults) {
    let mut csv =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(SkipBom::new(reader));
    let mut record = csv::ByteRecord::new();
    loop {
        let line = usize::try_from(csv.position().line()).unwrap_or(usize::MAX);
        match csv.read_byte_record(&mut record) {
            Ok(false) => return,
            Ok(true) => {
                let line = record.position().map_or(line, |at| usize::try_from(at.line()).unwrap_or(line));
                if !take_row(sheet, line, &record, faults) {
                    return;
                }
            }
            Err(error) => {
                sheet.fault(faults, line, "row", &format!("cannot be read: {error}"));
                return;
            }
        }
    }
}

/// Takes one row over; false where reading on makes no sense.
fn take_row(sheet: &mut Sheet, line: usize, record: &csv::ByteRecord, faults: &Faults) -> bool {
    let mut cells = Vec::with_capacity(record.len());
    for (at, cell) in record.iter().enumerate() {
        match text_of(cell) {
            Ok(text) => cells.push(text),
            Err(wrong) => {
                let column = sheet.header.get(at).cloned().unwrap_or_else(|| format!("column {}", at + 1));
                sheet.fault(faults, line, &column, wrong);
                return !sheet.header.is_empty();
            }
        }
    }
    if cells.iter().all(String::is_empty) {
        return true;
    }
    if sheet.header.is_empty() {
        sheet.header = cells;
    } else if cells.len() != sheet.header.len() {
        let wanted = sheet.header.len();
        let message =
            format!("has {} cells, but the header has {wanted}; check the commas and quotes", cells.len());
        sheet.fault(faults, line, "row", &message);
    } else {
        sheet.rows.push((line, cells));
    }
    true
}

fn text_of(cell: &[u8]) -> Result<String, &'static str> {
    if cell.len() > LONGEST_CELL {
        return Err("is longer than 64 KiB; check for a quote that is not closed");
    }
    if cell.contains(&0) {
        return Err("holds a NUL byte; save the file as UTF-8 text");
    }
    let text = std::str::from_utf8(cell).map_err(|_| "is not UTF-8; save the file as UTF-8")?;
    Ok(text.trim_matches([' ', '\t']).to_owned())
}

impl Sheet {
    pub(super) fn fault(&self, faults: &Faults, row: usize, column: &str, message: &str) {
        let (file, column, message) = (self.file.clone(), column.to_owned(), message.to_owned());
        faults.add(RowFault { file, row, column, message });
    }
}

/// Leaves a byte order mark out.
struct SkipBom<R> {
    inner: R,
    started: bool,
    held: Vec<u8>,
}

impl<R: Read> SkipBom<R> {
    fn new(inner: R) -> SkipBom<R> {
        SkipBom { inner, started: false, held: Vec::new() }
    }

    fn start(&mut self) -> std::io::Result<()> {
        let mut first = [0u8; 3];
        let mut have = 0;
        while have < 3 {
            match self.inner.read(&mut first[have..])? {
                0 => break,
                n => have += n,
            }
        }
        if first[..have] != *b"\xEF\xBB\xBF" {
            self.held = first[..have].iter().rev().copied().collect();
        }
        self.started = true;
        Ok(())
    }
}

impl<R: Read> Read for SkipBom<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        if !self.started {
            self.start()?;
        }
        if self.held.is_empty() {
            return self.inner.read(buffer);
        }
        let mut given = 0;
        while given < buffer.len()
            && let Some(byte) = self.held.pop()
        {
            buffer[given] = byte;
            given += 1;
        }
        Ok(given)
    }
}
