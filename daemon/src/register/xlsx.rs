//! Workbooks: read cell by cell within bounds, and written as typed text.

use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::Path;

use anyhow::Context;
use calamine::{DataRef, Reader, Xlsx};

use super::export::Table;
use super::fault::Faults;
use super::sheet::{FolderError, Sheet, check_name, check_twice};

/// Most entries of the archive, and bytes once inflated: a small file may hold a flood.
const MOST_ENTRIES: usize = 1_000;
const MOST_BYTES: u64 = 256 * 1024 * 1024;
/// Columns beyond this are strays, not a register.
const MOST_COLUMNS: u32 = 256;
const MOST_CELLS: usize = 20_000_000;

/// Reads the sheets of a workbook. Formulas are faults: their values may be stale.
pub(super) fn read(path: &Path, faults: &Faults) -> Result<Vec<Sheet>, FolderError> {
    let wrong = |reason: String| FolderError::Workbook { path: path.display().to_string(), reason };
    check_archive(path).map_err(wrong)?;
    let file = File::open(path).map_err(|error| wrong(error.to_string()))?;
    let mut book: Xlsx<_> = Xlsx::new(BufReader::new(file)).map_err(|error| wrong(error.to_string()))?;
    let names = book.sheet_names();
    let mut sheets = Vec::with_capacity(names.len());
    for name in names {
        let plain = name.trim().trim_end_matches(".csv").to_owned();
        let file = format!("{}[{name}]", path.file_name().unwrap_or_default().to_string_lossy());
        let mut sheet = Sheet { name: plain, file, ..Sheet::default() };
        check_name(&sheet, faults);
        let rows = cells(&mut book, &name).map_err(&wrong)?;
        formulas(&mut book, &name, &sheet, faults).map_err(&wrong)?;
        fill(&mut sheet, rows, faults);
        sheets.push(sheet);
    }
    check_twice(&sheets, faults);
    Ok(sheets)
}

/// Counts what the archive inflates to, without keeping it.
fn check_archive(path: &Path) -> Result<(), String> {
    let file = File::open(path).map_err(|error| error.to_string())?;
    let mut archive =
        zip::ZipArchive::new(BufReader::new(file)).map_err(|error| format!("is no workbook ({error})"))?;
    if archive.len() > MOST_ENTRIES {
        return Err(format!(
            "holds {} parts; a workbook of a register has fewer than {MOST_ENTRIES}",
            archive.len()
        ));
    }
    let mut total = 0;
    for index in 0..archive.len() {
        let entry = archive.by_index(index).map_err(|error| format!("is no workbook ({error})"))?;
        let mut bounded = entry.take(MOST_BYTES + 1 - total);
        total += io::copy(&mut bounded, &mut io::sink()).map_err(|error| format!("is damaged ({error})"))?;
        if total > MOST_BYTES {
            return Err(format!("inflates to more than {} MiB; use CSV files", MOST_BYTES / 1024 / 1024));
        }
    }
    Ok(())
}

type Row = (usize, Vec<(u32, String)>);

fn cells(book: &mut Xlsx<BufReader<File>>, name: &str) -> Result<Vec<Row>, String> {
    let text = |error: calamine::XlsxError| format!("sheet {name}: {error}");
    let mut reader = book.worksheet_cells_reader(name).map_err(text)?;
    let mut rows: Vec<Row> = Vec::new();
    let mut count = 0;
    while let Some(cell) = reader.next_cell().map_err(text)? {
        let (row, column) = cell.get_position();
        let value = value_text(cell.get_value());
        if value.is_empty() {
            continue;
        }
        count += 1;
        if column >= MOST_COLUMNS || count > MOST_CELLS {
            return Err(format!(
                "sheet {name} has a cell in row {}, column {}: too far out",
                row + 1,
                column + 1
            ));
        }
        let line = row as usize + 1;
        match rows.last_mut() {
            Some((last, cells)) if *last == line => cells.push((column, value)),
            _ => rows.push((line, vec![(column, value)])),
        }
    }
    Ok(rows)
}

fn formulas(
    book: &mut Xlsx<BufReader<File>>,
    name: &str,
    sheet: &Sheet,
    faults: &Faults,
) -> Result<(), String> {
    let text = |error: calamine::XlsxError| format!("sheet {name}: {error}");
    let mut reader = book.worksheet_cells_reader(name).map_err(text)?;
    while let Some(cell) = reader.next_formula().map_err(text)? {
        let (row, column) = cell.get_position();
        if !cell.get_value().is_empty() {
            let column = format!("column {}", column + 1);
            sheet.fault(faults, row as usize + 1, &column, "holds a formula; paste its value instead");
        }
    }
    Ok(())
}

/// A cell as the register would have it in CSV.
fn value_text(value: &DataRef) -> String {
    match value {
        DataRef::Empty => String::new(),
        DataRef::String(text) => text.trim().to_owned(),
        DataRef::SharedString(text) => text.trim().to_owned(),
        DataRef::Int(number) => number.to_string(),
        DataRef::Float(number) => number.to_string(),
        DataRef::Bool(flag) => if *flag { "yes" } else { "no" }.to_owned(),
        DataRef::DateTime(moment) if moment.is_datetime() => {
            let (year, month, day, hour, minute, second, _) = moment.to_ymd_hms_milli();
            let date = format!("{year:04}-{month:02}-{day:02}");
            if (hour, minute, second) == (0, 0, 0) {
                date
            } else {
                format!("{date}T{hour:02}:{minute:02}:{second:02}")
            }
        }
        DataRef::DateTime(moment) => moment.as_f64().to_string(),
        DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => text.clone(),
        DataRef::Error(error) => error.to_string(),
    }
}

fn fill(sheet: &mut Sheet, rows: Vec<Row>, faults: &Faults) {
    for (line, cells) in rows {
        let width = cells.last().map_or(0, |(column, _)| *column as usize + 1);
        let mut row = vec![String::new(); width.max(sheet.header.len())];
        for (column, value) in cells {
            if value.contains('\0') {
                sheet.fault(faults, line, &format!("column {}", column + 1), "holds a NUL; take it out");
            }
            row[column as usize] = value;
        }
        if sheet.header.is_empty() {
            sheet.header = row;
        } else if row.len() > sheet.header.len() {
            sheet.fault(faults, line, "row", "has cells to the right of the header; clear them");
        } else {
            sheet.rows.push((line, row));
        }
    }
}

/// Writes every table as a sheet of text cells, so that nothing in it can be a formula.
pub(super) fn write(path: &Path, tables: &[Table]) -> anyhow::Result<()> {
    let context = || format!("writing {}", path.display());
    let mut book = rust_xlsxwriter::Workbook::new();
    for table in tables {
        let sheet = book.add_worksheet();
        sheet.set_name(table.name).with_context(context)?;
        for (row, cells) in (0u32..).zip(std::iter::once(&table.header).chain(&table.rows)) {
            for (column, cell) in (0u16..).zip(cells).filter(|(_, cell)| !cell.is_empty()) {
                sheet.write_string(row, column, cell).with_context(context)?;
            }
        }
    }
    book.save(path).with_context(context)
}
