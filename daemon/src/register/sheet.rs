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
    "orders",
    "doubts",
    "substitutions",
    "loans",
    "examinations",
    "defects",
];

/// Longest cell: a note of several pages. Longer ones are a slip, or meant to hurt.
const LONGEST_CELL: usize = 64 * 1024;
/// Longest row: every cell of the widest file at its longest. No more of a file is held at a time.
const LONGEST_ROW: u64 = 8 * 1024 * 1024;
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
        let ending = path.extension().map(std::ffi::OsStr::to_ascii_lowercase);
        match ending.as_ref().and_then(|ending| ending.to_str()) {
            Some("csv") => tables.push(path),
            Some("xlsx") => books.push(path),
            _ => {}
        }
    }
    tables.sort();
    match (&tables[..], &books[..]) {
        ([], []) => Err(FolderError::Empty(folder.display().to_string())),
        ([], [book]) => xlsx::read(book, faults),
        (_, []) => {
            let sheets: Vec<Sheet> =
                tables.iter().map(|path| read_csv(path, faults)).collect::<Result<_, _>>()?;
            check_twice(&sheets, faults);
            Ok(sheets)
        }
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

/// Of two sheets for one file only the first would be read.
pub(super) fn check_twice(sheets: &[Sheet], faults: &Faults) {
    for (at, sheet) in sheets.iter().enumerate() {
        if let Some(first) = sheets[..at].iter().find(|first| first.name == sheet.name) {
            sheet.fault(
                faults,
                1,
                "file",
                &format!("is {} again, beside {}; keep one of them", sheet.name, first.file),
            );
        }
    }
}

fn read_rows(sheet: &mut Sheet, reader: impl Read, faults: &Faults) {
    let mut csv = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(Input::new(reader));
    let mut record = csv::ByteRecord::new();
    loop {
        csv.get_mut().start_row();
        let before = csv.position().line();
        match csv.read_byte_record(&mut record) {
            Ok(false) => return,
            Ok(true) => {
                let unclosed = is_unclosed(&csv, &record);
                let line = usize::try_from(start_line(&csv, &record, unclosed)).unwrap_or(usize::MAX);
                if unclosed {
                    sheet.fault(
                        faults,
                        line,
                        "row",
                        "opens a quote that is never closed; close or double it",
                    );
                    return;
                }
                if !take_row(sheet, line, &record, faults) {
                    return;
                }
            }
            Err(error) => {
                let line = usize::try_from(before).unwrap_or(usize::MAX);
                let wrong = match error.into_kind() {
                    csv::ErrorKind::Io(error) => error.to_string(),
                    other => format!("{other:?}"),
                };
                sheet.fault(faults, line, "row", &format!("cannot be read: {wrong}"));
                return;
            }
        }
    }
}

/// Whether a row runs to the end of the file within a quote, with the rows after it.
fn is_unclosed<R: Read>(csv: &csv::Reader<Input<R>>, record: &csv::ByteRecord) -> bool {
    let input = csv.get_ref();
    let runs_on = record.iter().next_back().is_some_and(|cell| cell.contains(&b'\n'));
    input.ended && input.quotes % 2 == 1 && runs_on
}

/// Line a row starts on. The reader tells where it began to look, which may be at blank lines before it.
fn start_line<R: Read>(csv: &csv::Reader<Input<R>>, record: &csv::ByteRecord, unclosed: bool) -> u64 {
    let within = record.as_slice().iter().fold(0, |lines, byte| lines + u64::from(*byte == b'\n'));
    let after = csv.position();
    let closed = !unclosed && csv.get_ref().byte_before(after.byte()) == Some(b'\n');
    after.line().saturating_sub(within + u64::from(closed))
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

/// The bytes of a file as the CSV reader gets them: without a byte order mark, and never an endless row.
struct Input<R> {
    inner: R,
    started: bool,
    held: Vec<u8>,
    /// What was handed out last, and how much in all.
    last: Vec<u8>,
    given: u64,
    row_start: u64,
    quotes: u64,
    ended: bool,
}

impl<R: Read> Input<R> {
    fn new(inner: R) -> Input<R> {
        let (held, last) = (Vec::new(), Vec::new());
        Input { inner, started: false, held, last, given: 0, row_start: 0, quotes: 0, ended: false }
    }

    fn start_row(&mut self) {
        self.row_start = self.given;
    }

    /// The byte before a place in what was handed out last.
    fn byte_before(&self, place: u64) -> Option<u8> {
        let first = self.given - self.last.len() as u64;
        let at = place.checked_sub(first + 1)?;
        self.last.get(usize::try_from(at).ok()?).copied()
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

    fn fill(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
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

impl<R: Read> Read for Input<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        if self.given - self.row_start > LONGEST_ROW {
            return Err(std::io::Error::other(
                "the row is longer than 8 MiB; check for a quote that is not closed",
            ));
        }
        let n = self.fill(buffer)?;
        let handed = &buffer[..n];
        self.ended |= n == 0;
        self.given += n as u64;
        self.quotes += handed.iter().fold(0, |quotes, byte| quotes + u64::from(*byte == b'"'));
        if n > 0 {
            self.last.clear();
            self.last.extend_from_slice(handed);
        }
        Ok(n)
    }
}
