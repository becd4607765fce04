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

/// Needs less likely than this before the order can be fitted are not named on it; the piece is the pool's (house).
const NAMED: f64 = 0.33;

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
    let mut pieces = line.pieces_in(quantity);
    let mut found: Vec<String> = Vec::new();
    let open = line.needs.iter().filter(|need| !need.served && need.comes.is_none() && need.chance >= NAMED);
    for need in open {
        if need.pieces > pieces {
            break;
        }
        pieces -= need.pieces;
        found.push(name(need).unwrap_or_else(|| "relief".to_owned()));
    }
    if pieces > 0 {
        found.push("pool".to_owned());
    }
    found.join(", ")
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
        text.push('\n');
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
