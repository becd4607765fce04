//! The published steps, embedded as data with their sources.

use super::quantity::{Grams, decimal, shortest};
use super::{Authority, ProofLoadError, Regime, Status};

/// The two embedded tables by file name.
const TABLES: [(&str, &str); 2] = [
    ("proof_load_loose_gear.csv", include_str!("../../tables/proof_load_loose_gear.csv")),
    ("proof_load_appliances.csv", include_str!("../../tables/proof_load_appliances.csv")),
];
const HEADER: &str =
    "regime,gear,from,from_included,to,to_included,multiplier,add,unit,source,authority,status,note";

/// The unit that a step's limits and its addition are published in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unit {
    Tonne,
    LongTon,
}

impl Unit {
    /// The unit in ten-thousandths of a gram: 1 long ton = 2240 lb of 453.59237 g = 1 016 046.9088 g exactly.
    pub(super) fn tenth_milligrams(self) -> i128 {
        match self {
            Self::Tonne => 10_000_000_000,
            Self::LongTon => 10_160_469_088,
        }
    }

    pub(super) fn name(self, thousandths: i64) -> &'static str {
        match (self, thousandths) {
            (Self::Tonne, _) => "t",
            (Self::LongTon, 1_000) => "long ton",
            (Self::LongTon, _) => "long tons",
        }
    }
}

/// An end of a step's range, in thousandths of the step's unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Limit {
    pub thousandths: i64,
    pub included: bool,
}

impl Limit {
    fn words(self, included: &str, excluded: &str) -> String {
        let word = if self.included { included } else { excluded };
        format!("{word} {}", shortest(i128::from(self.thousandths), 3))
    }
}

/// One published step: load = multiplier x rating + add, for ratings between two limits.
/// Multiplier and addition are in thousandths.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Step {
    pub regimes: Vec<Regime>,
    pub gear: Vec<&'static str>,
    pub from: Limit,
    pub to: Option<Limit>,
    pub multiplier: i64,
    pub add: i64,
    pub unit: Unit,
    pub source: &'static str,
    pub authority: Authority,
    pub status: Status,
    pub note: Option<&'static str>,
}

impl Step {
    /// Whether the rating lies below this step's upper limit; steps are read in rising order.
    pub(super) fn reaches(&self, rating: Grams) -> bool {
        let Some(to) = self.to else { return true };
        let limit = i128::from(to.thousandths) * self.unit.tenth_milligrams();
        let rating = i128::from(rating.0) * 10_000 * 1_000;
        rating < limit || (to.included && rating == limit)
    }

    /// The step's limits in words: `over 20 up to and including 40 long tons`, or nothing.
    pub(super) fn limits(&self) -> Option<String> {
        let lower = Some(self.from).filter(|limit| limit.thousandths > 0);
        let last = self.to.or(lower)?;
        let words = [
            lower.map(|limit| limit.words("from", "over")),
            self.to.map(|limit| limit.words("up to and including", "below")),
        ];
        let words: Vec<String> = words.into_iter().flatten().collect();
        Some(format!("{} {}", words.join(" "), self.unit.name(last.thousandths)))
    }
}

/// Every step of both tables, in their published order.
pub(super) fn steps() -> Result<Vec<Step>, ProofLoadError> {
    let mut steps = Vec::new();
    for (file, text) in TABLES {
        let mut lines = text.lines();
        if lines.next() != Some(HEADER) {
            return Err(broken(file, 1, "the header"));
        }
        for (index, line) in lines.enumerate() {
            steps.push(step(line).map_err(|column| broken(file, index + 2, column))?);
        }
    }
    Ok(steps)
}

/// The gear words of the appliances' table.
pub(super) fn appliance_words() -> impl Iterator<Item = &'static str> {
    let lines = TABLES[1].1.lines().skip(1);
    lines.filter_map(|line| line.split(',').nth(1)).flat_map(|words| words.split(';'))
}

fn broken(file: &'static str, line: usize, column: &'static str) -> ProofLoadError {
    ProofLoadError::Table { file, line, column }
}

/// Reads one line; the tables hold no quotes, so a comma always parts two cells.
fn step(line: &'static str) -> Result<Step, &'static str> {
    let cells: Vec<&'static str> = line.split(',').collect();
    let [
        regime,
        gear,
        from,
        from_included,
        to,
        to_included,
        multiplier,
        add,
        unit,
        source,
        authority,
        status,
        note,
    ] = cells[..]
    else {
        return Err("the number of cells");
    };
    Ok(Step {
        regimes: regimes(regime).ok_or("regime")?,
        gear: gear.split(';').collect(),
        from: limit(from, from_included, "from")?.ok_or("from")?,
        to: limit(to, to_included, "to")?,
        multiplier: decimal(multiplier, 3).map_err(|_| "multiplier")?,
        add: decimal(add, 3).map_err(|_| "add")?,
        unit: unit_named(unit).ok_or("unit")?,
        source: if source.is_empty() {
            return Err("source");
        } else {
            source
        },
        authority: Authority::named(authority).ok_or("authority")?,
        status: Status::named(status).ok_or("status")?,
        note: (!note.is_empty()).then_some(note),
    })
}

fn regimes(text: &str) -> Option<Vec<Regime>> {
    match text {
        "any" => Some(Regime::ALL.to_vec()),
        one => one.parse().ok().map(|regime| vec![regime]),
    }
}

/// Reads a limit and whether it belongs to the step; an empty cell is no limit.
fn limit(text: &str, included: &str, column: &'static str) -> Result<Option<Limit>, &'static str> {
    let included = match included {
        "yes" => true,
        "no" => false,
        _ => return Err(column),
    };
    if text.is_empty() {
        return Ok(None);
    }
    let thousandths = decimal(text, 3).map_err(|_| column)?;
    Ok(Some(Limit { thousandths, included }))
}

fn unit_named(text: &str) -> Option<Unit> {
    match text {
        "t" => Some(Unit::Tonne),
        "long ton" => Some(Unit::LongTon),
        _ => None,
    }
}
