//! The order sheet: what goes to the supplier once an engineer has signed it. Text, CSV and a workbook say the same.

use std::path::Path;

use anyhow::Context;
use jiff::civil::Date;
use policies::amount::Amount;
use policies::stores::plan::{Line, Need};

use super::kept::{Kept, STORES};
use super::words::{cost, day_text};
use crate::desk::DeskError;
use crate::items::refused;
use crate::records::{Item, Order, Part, attributes};

/// Columns of the sheet.
pub const HEADER: [&str; 14] = [
    "order",
    "quantity",
    "unit",
    "part",
    "description",
    "size",
    "construction",
    "grade",
    "lay_and_finish",
    "length_m",
    "ends",
    "certificate",
    "deliver_by",
    "for",
];

/// One line of an order sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SheetLine {
    /// Cells in the order of [`HEADER`].
    pub cells: [String; 14],
    /// Where to.
    pub place: String,
    /// What it comes to, exact, with its currency; empty without a price.
    pub cost: String,
    /// Who signed it, and when.
    pub signed: Option<String>,
}

/// Lines of the sheet for orders by number, as they were ordered.
///
/// # Errors
/// No such order, or none.
pub fn lines(kept: &Kept, numbers: &[String]) -> Result<Vec<SheetLine>, DeskError> {
    let mut found = Vec::new();
    for number in numbers {
        let Some(order) = kept.orders.get(number) else {
            return refused(format!("no order is numbered \"{number}\"; see tallow order list"));
        };
        let Some(part) = kept.parts.get(&order.part) else {
            return refused(format!("{number} names \"{}\", which is no part", order.part));
        };
        found.push(line(kept, order, part));
    }
    if found.is_empty() {
        return refused("name an order, such as OS-2026-001; see tallow order list");
    }
    Ok(found)
}

fn line(kept: &Kept, order: &Order, part: &Part) -> SheetLine {
    let like = like(kept, part);
    let cell = |columns: &[&str]| {
        let found = columns.iter().filter_map(|column| {
            let own = attributes(like?.attributes.as_deref()).find(|(name, _)| name == column);
            own.map(|(name, value)| with_unit(name, value))
        });
        found.collect::<Vec<_>>().join(", ")
    };
    let quantity = Amount::from_millionths(order.quantity);
    let price = part.price.as_ref().and_then(|price| cost(price, quantity)).zip(part.currency.as_ref());
    SheetLine {
        cells: [
            order.key.clone(),
            quantity.to_string(),
            part.unit.clone(),
            part.key.clone(),
            part.description.clone(),
            cell(&["nominal_diameter_mm", "wll_t"]),
            cell(&["construction", "core"]),
            cell(&["grade_MPa", "grade"]),
            cell(&["lay", "finish"]),
            if part.unit == "m" {
                String::new()
            } else {
                cell(&["length_m"]).trim_end_matches(" m").to_owned()
            },
            cell(&["outer_termination", "inner_termination"]),
            "maker's certificate with each, with its minimum breaking force and rope category or grade"
                .to_owned(),
            order.needed_by.clone(),
            order.for_whom.clone().unwrap_or_default(),
        ],
        place: order.place.clone(),
        signed: order.signed_by.as_ref().map(|by| {
            let on = order.signed_on.as_deref().and_then(|on| on.parse().ok()).map(day_text);
            format!("{by}, {}", on.unwrap_or_default())
        }),
        cost: price.map(|(cost, currency)| format!("{cost} {currency}")).unwrap_or_default(),
    }
}

/// The newest gear of the part: what is ordered is to be like it.
fn like<'k>(kept: &'k Kept, part: &Part) -> Option<&'k Item> {
    let own = kept.items.values().filter(|item| !item.void && item.part.as_deref() == Some(&*part.key));
    own.max_by_key(|item| (item.kind == part.kind, &item.manufactured_on, &item.key))
}

fn with_unit(name: &str, value: &str) -> String {
    match name.rsplit_once('_') {
        Some((_, unit @ ("mm" | "m" | "t" | "MPa"))) => format!("{value} {unit}"),
        _ if matches!(name, "lay") => format!("{value} lay"),
        _ if matches!(name, "core") => format!("{value} core"),
        _ => value.to_owned(),
    }
}

/// The stations that so much of a line is for, the likeliest first; the rest is the pool's. `name` tells a need's station.
pub fn for_whom(line: &Line, quantity: Amount, name: impl Fn(&Need) -> Option<String>) -> String {
    let (needs, rest) = line.for_whom(line.pieces_in(quantity));
    let named = needs.into_iter().map(|need| name(need).unwrap_or_else(|| "relief".to_owned()));
    let pool = (rest > 0).then(|| "pool".to_owned());
    named.chain(pool).collect::<Vec<_>>().join(", ")
}

/// The sheet as text.
pub fn text(lines: &[SheetLine], from: &str) -> String {
    let mut text = format!("ORDER\nFrom: {from}\n\n");
    for line in lines {
        let [
            order,
            quantity,
            unit,
            part,
            description,
            size,
            construction,
            grade,
            lay,
            length,
            ends,
            certificate,
            by,
            whom,
        ] = &line.cells;
        let unit = if unit == "m" { " m" } else { "" };
        let length = if length.is_empty() { String::new() } else { format!("{length} m") };
        let what = [size, construction, grade, lay, &length, ends];
        let what: Vec<&str> = what.into_iter().map(String::as_str).filter(|cell| !cell.is_empty()).collect();
        let place = if line.place == STORES { "Central Stores" } else { &line.place };
        let by: String = by.parse::<Date>().map_or_else(|_| by.clone(), day_text);
        text = format!("{text}{order}  {quantity}{unit} x {description} ({part})\n");
        if !what.is_empty() {
            text = format!("{text}  {}\n", what.join(", "));
        }
        text = format!("{text}  Wanted: {certificate}.\n  Deliver by {by} to {place}.\n");
        if !whom.is_empty() {
            text = format!("{text}  For: {whom}.\n");
        }
        if !line.cost.is_empty() {
            text = format!("{text}  {}\n", line.cost);
        }
        if let Some(signed) = &line.signed {
            text = format!("{text}  Signed (engineer): {signed}\n");
        }
        text.push('\n');
    }
    if lines.iter().all(|line| line.signed.is_some()) {
        return text;
    }
    text + "Signed (engineer): ____________________   Date: ____________\n"
}

/// The sheet as CSV.
///
/// # Errors
/// The writer's own.
pub fn csv(lines: &[SheetLine]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(HEADER)?;
    for line in lines {
        csv.write_record(&line.cells)?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}

/// The sheet as a workbook of text cells, so that nothing in it can be a formula.
///
/// # Errors
/// The file cannot be written.
pub fn xlsx(lines: &[SheetLine], path: &Path) -> anyhow::Result<()> {
    std::fs::write(path, workbook(lines)?).with_context(|| format!("writing {}", path.display()))
}

/// The bytes of that workbook.
///
/// # Errors
/// The writer's own.
pub fn workbook(lines: &[SheetLine]) -> anyhow::Result<Vec<u8>> {
    let context = || "writing a workbook";
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    sheet.set_name("order").with_context(context)?;
    for (column, name) in (0u16..).zip(HEADER) {
        sheet.write_string(0, column, name).with_context(context)?;
    }
    for (row, line) in (1u32..).zip(lines) {
        for (column, cell) in (0u16..).zip(&line.cells).filter(|(_, cell)| !cell.is_empty()) {
            sheet.write_string(row, column, cell).with_context(context)?;
        }
    }
    book.save_to_buffer().with_context(context)
}
