//! What a rope is: how it is built, as far as its certificate and the register tell.

use super::breaks::Row;
use super::category::declared;
use crate::assess::bench::Bench;
use crate::assess::fault::AssessFault;
use crate::assess::gear::plain;
use crate::assess::table::{Cells, Kept, Table, kept, table};

const CONSTRUCTIONS: Table =
    table!("wire_constructions.csv", "construction,group,load_bearing_wires,category,lowest_category,status");

static KNOWN: Kept<Construction> = Kept::new(|| CONSTRUCTIONS.rows(listed));

/// The two tables of ISO 4309 that ropes are parted by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Group {
    /// Single-layer and parallel-closed.
    SingleLayer,
    RotationResistant,
}

impl Group {
    pub fn named(word: &str) -> Option<Group> {
        match word {
            "single-layer" => Some(Group::SingleLayer),
            "rotation-resistant" => Some(Group::RotationResistant),
            _ => None,
        }
    }
}

/// A construction that the table knows.
#[derive(Clone, Debug)]
pub(super) struct Construction {
    pub name: &'static str,
    pub group: Group,
    /// The lowest category that reprints give it.
    pub lowest: &'static str,
}

impl Construction {
    /// Outer strands of Seale type with 19 wires or fewer.
    pub fn is_seale(&self) -> bool {
        self.name.ends_with('S') && !self.name.ends_with("WS")
    }

    /// Three or four strands, for which rotation-resistant ropes have rows of their own.
    pub fn is_of_few_strands(&self) -> bool {
        self.name.starts_with("4x") || self.name.starts_with("3x")
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Core {
    Steel,
    Fibre,
}

/// A rope as far as it is known.
#[derive(Clone, Debug)]
pub(super) struct Rope {
    /// The maker's category: its group and its word in the table.
    pub declared: Option<(Group, &'static str)>,
    pub construction: Option<Construction>,
    /// Nothing where a rotation-resistant rope cannot be ruled out.
    pub group: Option<Group>,
    pub core: Option<Core>,
}

impl Rope {
    pub fn of(bench: &mut Bench, rows: &[Row]) -> Result<Rope, AssessFault> {
        let written = bench.attribute_text("construction").unwrap_or_default().to_owned();
        let (name, closed) = written.split_once('-').unwrap_or((&written, ""));
        let construction = construction(name)?;
        if construction.is_none() && !name.is_empty() {
            bench.note(format!("construction {written} is in no table: it tells nothing of the category"));
        }
        let core = core(bench.attribute_word("core").unwrap_or(closed));
        let built = construction.as_ref().map(|construction| construction.group);
        let declared = declared(bench, rows, built);
        let by_core = core.map(|_| Group::SingleLayer);
        let group = declared.map(|(group, _)| group).or(built).or(by_core);
        Ok(Rope { declared, construction, group, core })
    }
}

fn listed(cells: &Cells) -> Result<Construction, &'static str> {
    Ok(Construction {
        name: cells.text("construction")?,
        group: Group::named(cells.text("group")?).ok_or("group")?,
        lowest: cells.text("lowest_category")?,
    })
}

fn construction(name: &str) -> Result<Option<Construction>, AssessFault> {
    Ok(kept(&KNOWN)?.iter().find(|row| plain(row.name) == plain(name)).cloned())
}

fn core(word: &str) -> Option<Core> {
    match plain(word).as_str() {
        "steel" | "iwrc" | "wsc" => Some(Core::Steel),
        "fibre" | "fc" => Some(Core::Fibre),
        _ => None,
    }
}
