//! Visible broken wires, ISO 4309 Tables 3 and 4. Reaching the number is discard.

use super::category::{Category, choose};
use super::rope::{Group, Rope};
use super::{IN_6D, IN_30D};
use crate::assess::bench::Bench;
use crate::assess::fault::AssessFault;
use crate::assess::ratio::Ratio;
use crate::assess::readings::implausible;
use crate::assess::table::{Cells, Kept, Table, kept, table};
use crate::assess::{Sense, Sourced};

const TABLE: Table = table!(
    "wire_broken_wires.csv",
    "group,category,wires_from,wires_to,spooling,lay,length_d,limit,other_reprint,share_of_wires,duty_factor,source,authority,status"
);

/// One number of the tables.
#[derive(Clone, Debug)]
pub(super) struct Row {
    pub group: Group,
    pub category: &'static str,
    pub to: Option<Ratio>,
    multi_layer: bool,
    /// Nothing where the lay does not matter.
    lay: Option<&'static str>,
    length_d: i128,
    limit: Allowed,
    duty_factor: i128,
    sourced: Sourced,
}

#[derive(Clone, Copy, Debug)]
enum Allowed {
    /// A number; reprints of the standard may differ.
    Wires { printed: Ratio, reprinted: Ratio },
    /// A share of the load-bearing wires.
    Share(Ratio),
}

impl Row {
    /// Whether the row is one for ropes of three or four strands, or for all others.
    pub fn takes(&self, few_strands: bool) -> bool {
        self.group == Group::SingleLayer || matches!(self.category, "21" | "22") == few_strands
    }
}

static ROWS: Kept<Row> = Kept::new(|| TABLE.rows(row));

pub(super) fn rows() -> Result<&'static [Row], AssessFault> {
    kept(&ROWS)
}

fn row(cells: &Cells) -> Result<Row, &'static str> {
    let limit = match cells.optional("share_of_wires")? {
        Some(share) => Allowed::Share(share),
        None => Allowed::Wires { printed: cells.number("limit")?, reprinted: cells.number("other_reprint")? },
    };
    Ok(Row {
        group: Group::named(cells.text("group")?).ok_or("group")?,
        category: cells.text("category")?,
        to: cells.optional("wires_to")?,
        multi_layer: match cells.text("spooling")? {
            "single" => false,
            "multi" => true,
            _ => return Err("spooling"),
        },
        lay: Some(cells.text("lay")?).filter(|lay| *lay != "any"),
        length_d: cells.whole("length_d")?,
        limit,
        duty_factor: cells.whole("duty_factor")?,
        sourced: cells.sourced()?,
    })
}

pub(super) fn judge(bench: &mut Bench, rope: &Rope, rows: &[Row]) {
    let counts = [(6, IN_6D, bench.measure("breaks_6d")), (30, IN_30D, bench.measure("breaks_30d"))];
    if let [(_, _, Some(short)), (_, _, Some(long))] = counts
        && long < short
    {
        let right = format!("30d holds the 6d that were counted; right would be {} or more", short.up(0));
        bench.fault(implausible("breaks_30d", &long.up(0), "is too few", right));
    }
    if counts.iter().all(|(_, _, count)| count.is_none()) {
        return;
    }
    let category = choose(bench, rope, rows);
    let (multi_layer, lay) = (multi_layer(bench), lay(bench, category, rows));
    for (length, criterion, count) in counts {
        let fits = |row: &&Row| {
            (row.group, row.category) == category
                && row.multi_layer == multi_layer
                && row.lay.is_none_or(|own| own == lay)
                && row.length_d == length
        };
        if let (Some(count), Some(row)) = (count, rows.iter().find(fits)) {
            against(bench, criterion, count, row);
        }
    }
}

fn against(bench: &mut Bench, criterion: &str, count: Ratio, row: &Row) {
    let Some(wires) = allowed(bench, criterion, row) else { return };
    let limit = wires.times(duty(bench, row));
    bench.against(criterion, count, Ratio::ZERO, "wires", (limit, Sense::From), &row.sourced);
}

/// The lower where reprints of the table differ; a share rounded down to whole wires.
fn allowed(bench: &mut Bench, criterion: &str, row: &Row) -> Option<Ratio> {
    match row.limit {
        Allowed::Wires { printed, reprinted } => {
            if printed != reprinted {
                let (one, other) = (printed.up(0), reprinted.up(0));
                bench.note(format!("reprints give {one} and {other} {criterion}: the lower is taken"));
            }
            Some(printed.min(reprinted))
        }
        Allowed::Share(share) => {
            let wires =
                bench.needed("load_bearing_wires", "above 300 the limit is a share of them, and it")?;
            Some(Ratio::whole(wires.by(share).floor()))
        }
    }
}

/// A known class M5 to M8 may have twice the single-layer number.
fn duty(bench: &mut Bench, row: &Row) -> i128 {
    let heavy = matches!(bench.attribute_word("duty_class"), Some("m5" | "m6" | "m7" | "m8"));
    if !heavy || row.duty_factor == 1 {
        return 1;
    }
    bench.note("duty class M5 to M8 on record: the limits of M1 to M4 are doubled".to_owned());
    row.duty_factor
}

fn multi_layer(bench: &mut Bench) -> bool {
    match bench.attribute_word("spooling") {
        Some("multi-layer") => {
            bench.note(
                "multi-layer limits hold where the wire crosses over on the drum; a part that only runs over \
                 sheaves is judged with spooling = single layer"
                    .to_owned(),
            );
            true
        }
        Some(_) => false,
        None => {
            if bench.kind.contains("winch") {
                bench.note(
                    "spooling is not recorded: judged by the single-layer limits, the lower".to_owned(),
                );
            }
            false
        }
    }
}

fn lay(bench: &mut Bench, category: Category, rows: &[Row]) -> &'static str {
    let matters = rows.iter().any(|row| (row.group, row.category) == category && row.lay.is_some());
    if let Some(lay) = bench.attribute_word("lay") {
        return lay;
    }
    let multi_layer = bench.attribute_word("spooling") == Some("multi-layer");
    if matters && !multi_layer {
        bench.note("lay is not recorded: judged by the Lang lay limits, the lower".to_owned());
    }
    "lang"
}
