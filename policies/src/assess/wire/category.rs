//! Which row of ISO 4309 a rope stands in: the maker's category rules; where the certificate is silent, the
//! lowest row that the rest allows.

use super::breaks::Row;
use super::rope::{Construction, Group, Rope};
use crate::assess::bench::Bench;
use crate::assess::fault::AssessFault;
use crate::assess::ratio::Ratio;

/// A row: its group and the category's word in the table.
pub(super) type Category = (Group, &'static str);

/// The lowest row of all, for a rope of which nothing is known.
const LOWEST: Category = (Group::SingleLayer, "01");
/// Rows that a Seale rope is read higher up.
const SEALE: usize = 2;

/// The category that the maker declares. `built` parts the two rows that are called `over`.
pub(super) fn declared(bench: &mut Bench, rows: &[Row], built: Option<Group>) -> Option<Category> {
    let text = bench.attribute_text("rope_category")?.to_owned();
    let wanted = short(&text);
    let all = categories(rows);
    let same = |(group, word): &&Category| {
        short(word) == wanted && (*word != "over" || built.is_none_or(|built| built == *group))
    };
    if let Some(found) = all.iter().find(same) {
        return Some(*found);
    }
    bench.fault(AssessFault::NotInTable {
        name: "rope_category".to_owned(),
        text,
        table: "ISO 4309".to_owned(),
        right: all.iter().map(|(_, word)| *word).collect::<Vec<_>>().join(", "),
    });
    None
}

/// `RCN 09`, `9` and `09` are one.
fn short(text: &str) -> String {
    let text = text.trim().to_lowercase();
    let number = text.strip_prefix("rcn").unwrap_or(&text).trim();
    let number = number.trim_start_matches('0');
    if number.starts_with("over") { "over".to_owned() } else { number.to_owned() }
}

/// Every category once, in the order of the tables.
fn categories(rows: &[Row]) -> Vec<Category> {
    let mut all: Vec<Category> = rows.iter().map(|row| (row.group, row.category)).collect();
    all.dedup();
    all
}

/// The row to judge by, with a note where the certificate is silent.
pub(super) fn choose(bench: &mut Bench, rope: &Rope, rows: &[Row]) -> Category {
    let wires = bench.attribute("load_bearing_wires");
    let counted = wires.zip(rope.group).map(|(wires, group)| by_wires(rows, group, rope, wires));
    if let Some(declared) = rope.declared {
        if let Some(counted) = counted.filter(|counted| *counted != declared) {
            let (category, other) = (declared.1, counted.1);
            bench.note(format!(
                "the maker's category {category} rules; by the load-bearing wires it would be {other}"
            ));
        }
        return declared;
    }
    let listed = rope.construction.as_ref().map(|known| (known.group, known.lowest));
    let lowest = lowest(rows, counted, listed);
    let row = lowest.map_or_else(|| "the lowest row of all".to_owned(), |_| because(rope, counted));
    let chosen = lowest.unwrap_or(LOWEST);
    bench.note(format!(
        "no rope category is declared: judged by {} ({row}); the maker's category would rule",
        chosen.1
    ));
    chosen
}

fn because(rope: &Rope, counted: Option<Category>) -> String {
    match (&rope.construction, counted) {
        (Some(known), Some(_)) => format!("the lower of load-bearing wires and {}", known.name),
        (Some(known), None) => format!("the lowest that reprints give {}", known.name),
        (None, _) => "by its load-bearing wires".to_owned(),
    }
}

fn lowest(rows: &[Row], one: Option<Category>, other: Option<Category>) -> Option<Category> {
    let all = categories(rows);
    let place = |category: &Category| all.iter().position(|own| own == category);
    [one, other].into_iter().flatten().min_by_key(place)
}

/// The row by load-bearing wires; Seale ropes two rows higher up.
fn by_wires(rows: &[Row], group: Group, rope: &Rope, wires: Ratio) -> Category {
    let few = rope.construction.as_ref().is_some_and(Construction::is_of_few_strands);
    let of: Vec<&Row> = rows.iter().filter(|row| row.group == group && row.takes(few)).collect();
    let mut ranges: Vec<&Row> = Vec::new();
    for row in of {
        if ranges.last().is_none_or(|last| last.category != row.category) {
            ranges.push(row);
        }
    }
    let holds = |row: &&Row| row.to.is_none_or(|to| wires <= to);
    let at = ranges.iter().position(holds).unwrap_or(0);
    let seale = rope.construction.as_ref().is_some_and(Construction::is_seale);
    let at = if seale { at.saturating_sub(SEALE) } else { at };
    ranges.get(at).map_or(LOWEST, |row| (row.group, row.category))
}
