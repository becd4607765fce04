//! Every table as a file for spreadsheets. No cell of it is taken for a formula: what a spreadsheet would reckon gets a
//! quote before it in CSV, and is typed as text in a workbook.

use std::sync::Arc;

use anyhow::Context;
use axum::http::{HeaderValue, Method, header};
use axum::response::{IntoResponse, Response};
use axum::routing;

use super::call::Call;
use super::page::Placed;
use super::problem::Problem;
use super::reading::{Table, tables, text_of};
use crate::web::routes::{At, Row};

/// A workbook's cell holds no more.
const LONGEST: usize = 32_767;

/// What a table is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Format {
    Csv,
    Xlsx,
}

/// Their rows of the table of routes.
pub(super) fn rows() -> Vec<Row> {
    let each = |table: Table| [Format::Csv, Format::Xlsx].map(|format| row(table, format));
    tables().into_iter().flat_map(each).collect()
}

fn row(table: Table, format: Format) -> Row {
    let name = format!("{}.{}", table.name.replace('/', "-"), format.ending());
    let path: &'static str = Box::leak(format!("/table/{name}").into_boxed_str());
    let answers = routing::get(async move |call: Call| {
        let web = Arc::clone(call.web());
        let visit = Arc::new(call);
        match written(table, format, &name, &visit).await {
            Ok(answer) => answer,
            Err(problem) => problem.page(&web),
        }
    });
    Row { path, method: Method::GET, need: table.need, at: At::Region, answers }
}

impl Format {
    fn ending(self) -> &'static str {
        match self {
            Format::Csv => "csv",
            Format::Xlsx => "xlsx",
        }
    }

    fn media(self) -> &'static str {
        match self {
            Format::Csv => "text/csv; charset=utf-8",
            Format::Xlsx => "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        }
    }
}

async fn written(table: Table, format: Format, name: &str, call: &Arc<Call>) -> Result<Response, Problem> {
    let own = table.parameters();
    call.knows(&own.iter().map(|asked| asked.name).collect::<Vec<_>>())?;
    let mut rows = table.found(Arc::clone(call)).await?;
    rows.sort_by(|a, b| a.place.cmp(&b.place));
    let columns = columns(table, &rows);
    let cells: Vec<Vec<String>> = rows
        .iter()
        .map(|placed| columns.iter().map(|column| text_of(&placed.row[column.as_str()])).collect())
        .collect();
    let made = match format {
        Format::Csv => csv(&columns, &cells),
        Format::Xlsx => workbook(table.name, &columns, &cells),
    };
    let bytes = made.map_err(|error| {
        tracing::error!(error = format!("{error:#}"), "a table could not be written");
        Problem::new("failed", "The table could not be written.")
    })?;
    let mut answer = ([(header::CONTENT_TYPE, format.media())], bytes).into_response();
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
        answer.headers_mut().insert(header::CONTENT_DISPOSITION, value);
    }
    Ok(answer)
}

/// The table's own columns, and behind them those that only some rows have.
fn columns(table: Table, rows: &[Placed]) -> Vec<String> {
    let mut columns: Vec<String> = table.columns.iter().map(|column| (*column).to_owned()).collect();
    let own = columns.len();
    let more = rows.iter().filter_map(|placed| placed.row.as_object()).flat_map(serde_json::Map::keys);
    let mut seen: std::collections::BTreeSet<&String> = more.collect();
    seen.retain(|column| !columns[..own].contains(column));
    columns.extend(seen.into_iter().cloned());
    columns
}

/// A cell that no spreadsheet reckons: what begins like a formula, or like a cell guarded so, gets a quote before it.
/// A plain number is none.
pub(in crate::web) fn guarded(cell: &str) -> String {
    let begins = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0', '\'']);
    let plain = |digits: &str| {
        !digits.is_empty()
            && digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
            && digits != "."
    };
    if begins && !cell.strip_prefix('-').is_some_and(plain) { format!("'{cell}") } else { cell.to_owned() }
}

fn csv(columns: &[String], rows: &[Vec<String>]) -> anyhow::Result<Vec<u8>> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(columns)?;
    for row in rows {
        csv.write_record(row.iter().map(|cell| guarded(cell)))?;
    }
    Ok(csv.into_inner()?)
}

fn workbook(name: &str, columns: &[String], rows: &[Vec<String>]) -> anyhow::Result<Vec<u8>> {
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    sheet.set_name(name.replace('/', "-"))?;
    let header: Vec<String> = columns.to_vec();
    for (at, row) in (0u32..).zip(std::iter::once(&header).chain(rows)) {
        for (column, cell) in (0u16..).zip(row).filter(|(_, cell)| !cell.is_empty()) {
            let cell: String = cell.chars().take(LONGEST).collect();
            sheet.write_string(at, column, cell)?;
        }
    }
    book.save_to_buffer().context("writing a workbook")
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use calamine::{Data, Reader, Xlsx};

    use super::*;

    /// Without the quote that was put before it.
    fn restored(cell: &str) -> String {
        let behind = cell.strip_prefix('\'');
        let was = behind.filter(|cell| cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0', '\'']));
        was.unwrap_or(cell).to_owned()
    }

    /// Hostile cells, made the same way each time.
    fn hostile(count: usize) -> Vec<String> {
        let parts = [
            "=",
            "+",
            "-",
            "@",
            "\t",
            "\r",
            "\n",
            "'",
            "\"",
            ",",
            ";",
            "HYPERLINK(\"http://x.example\")",
            "1",
            "ø",
            " ",
            "|cmd",
            "\u{feff}",
        ];
        let mut state: u64 = 20_261_012;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            usize::try_from(state >> 33).unwrap()
        };
        (0..count)
            .map(|_| {
                let length = 1 + next() % 6;
                (0..length).map(|_| parts[next() % parts.len()]).collect()
            })
            .collect()
    }

    #[test]
    fn a_hundred_thousand_hostile_cells_are_no_formula_in_csv_and_come_back_whole() {
        let cells = hostile(100_000);
        let rows: Vec<Vec<String>> = cells.iter().map(|cell| vec![cell.clone(), "x".to_owned()]).collect();
        let bytes = csv(&["cell".to_owned(), "other".to_owned()], &rows).unwrap();
        let mut read = csv::Reader::from_reader(bytes.as_slice());
        let mut back = Vec::new();
        for record in read.records() {
            let record = record.unwrap();
            let number = record[0].strip_prefix('-').is_some_and(|rest| rest.parse::<f64>().is_ok());
            assert!(
                number || !record[0].starts_with(['=', '+', '-', '@', '\t', '\r', '\n']),
                "{:?}",
                &record[0]
            );
            back.push(restored(&record[0]));
        }
        assert_eq!(back, cells);
    }

    #[test]
    fn ten_thousand_hostile_cells_are_text_in_a_workbook() {
        let cells = hostile(10_000);
        let rows: Vec<Vec<String>> = cells.iter().map(|cell| vec![cell.clone()]).collect();
        let bytes = workbook("use", &["cell".to_owned()], &rows).unwrap();
        let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).unwrap();
        let formulas = book.worksheet_formula("use").unwrap();
        assert!(formulas.cells().all(|(_, _, formula)| formula.is_empty()));
        let sheet = book.worksheet_range("use").unwrap();
        let texts =
            (1..=10_000u32).filter(|row| matches!(sheet.get_value((*row, 0)), Some(Data::String(_)))).count();
        assert_eq!(texts, 10_000);
    }

    #[test]
    fn plain_numbers_stay_numbers() {
        for (cell, written) in
            [("-3", "-3"), ("-0.25", "-0.25"), ("-", "'-"), ("-1+1", "'-1+1"), ("+3", "'+3")]
        {
            assert_eq!(guarded(cell), written);
        }
    }
}
