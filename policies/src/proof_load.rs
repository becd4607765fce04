//! Required proof loads of loose gear and lifting appliances by published steps, and the house guard
//! against proving gear beyond its strength.
//!
//! Loads are exact: ratings are whole grams, steps are whole thousandths, and a result is rounded up to the
//! next gram, because a proof load below the requirement proves nothing. Kilonewtons are shown to one
//! decimal, again rounded up; limits round down.

mod guard;
mod quantity;
mod table;

use std::fmt;
use std::str::FromStr;

use thiserror::Error;

pub use guard::{Guard, GuardError, PartProof, WireStrength, guard, guard_pull};
pub use quantity::{Force, Grams, NotADecimal};
use quantity::{divided_up, shortest};
use table::{Step, steps};

/// The set of rules that a certificate is issued under.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Regime {
    /// ILO cargo-gear steps, in metric tonnes.
    Ilo,
    /// 29 CFR 1919.27, 1919.28 and 1919.31, in long tons.
    Us,
    /// SOR/2007-128 Schedules 4 and 5, in metric tonnes.
    Canada,
}

impl Regime {
    /// Every regime, in the order of the tables.
    pub const ALL: [Self; 3] = [Self::Ilo, Self::Us, Self::Canada];
}

impl fmt::Display for Regime {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Self::Ilo => "ilo",
            Self::Us => "us",
            Self::Canada => "canada",
        })
    }
}

/// A word that names no regime.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("`{0}` is no proof-load regime; right would be ilo, us or canada")]
pub struct UnknownRegime(String);

impl FromStr for Regime {
    type Err = UnknownRegime;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let named = |regime: &Self| regime.to_string() == text;
        Self::ALL.into_iter().find(named).ok_or_else(|| UnknownRegime(text.to_owned()))
    }
}

/// What the gear is marked with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rating {
    /// Working load limit, the maker's rating.
    Wll(Grams),
    /// Safe working load, the rating for the place where it is used.
    Swl(Grams),
}

impl Rating {
    /// The marked mass.
    pub fn mass(self) -> Grams {
        match self {
            Self::Wll(mass) | Self::Swl(mass) => mass,
        }
    }

    /// `WLL` or `SWL`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Wll(_) => "WLL",
            Self::Swl(_) => "SWL",
        }
    }
}

/// How binding the step's source is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Authority {
    /// Written law of the regime.
    Law,
    /// A standard or code of practice.
    Standard,
}

impl Authority {
    fn named(text: &str) -> Option<Self> {
        [Self::Law, Self::Standard].into_iter().find(|one| one.to_string() == text)
    }
}

impl fmt::Display for Authority {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Self::Law => "law",
            Self::Standard => "standard",
        })
    }
}

/// How the step's figures came into the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Read in the source or in a law that restates it.
    Seen,
    /// From memory: to be checked against the code before use.
    Memory,
}

impl Status {
    fn named(text: &str) -> Option<Self> {
        [Self::Seen, Self::Memory].into_iter().find(|one| one.to_string() == text)
    }
}

impl fmt::Display for Status {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Self::Seen => "seen",
            Self::Memory => "memory",
        })
    }
}

/// A required proof load and where it comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProofLoad {
    /// The load to reach, rounded up to the gram.
    pub load: Grams,
    /// The load in tonnes, rounded up to the kilogram, without idle zeros: `7.625`.
    pub load_t: String,
    /// The load in kilonewtons under 9.80665 m/s², to one decimal, rounded up: `74.8`.
    pub load_kn: String,
    /// The step, its range and its arithmetic: `2 x WLL (up to and including 25 t): 2 x 3.2 t = 6.4 t`.
    pub formula: String,
    /// Law or standard with its clause; a figure from memory says so.
    pub source: String,
    /// Whether the figures were read or are from memory.
    pub status: Status,
    /// How binding the source is.
    pub authority: Authority,
    /// What the rating means for this gear, where the source defines it.
    pub note: Option<&'static str>,
}

/// Why there is no proof load.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ProofLoadError {
    /// No table knows the word.
    #[error("gear `{gear}` is in no proof-load table; {hint}regime {regime} knows {known}")]
    UnknownGear {
        /// The word as given.
        gear: String,
        /// The regime asked for.
        regime: Regime,
        /// Words that contain the given one, as a sentence part, or nothing.
        hint: String,
        /// The regime's gear words.
        known: String,
    },
    /// The gear has steps in other regimes only.
    #[error("regime {regime} publishes no proof load for `{gear}`; it is covered by {covered_by}")]
    NotInRegime {
        /// The word as given.
        gear: String,
        /// The regime asked for.
        regime: Regime,
        /// The regimes that cover it.
        covered_by: String,
    },
    /// The rating lies outside the gear's steps.
    #[error(
        "{word} {rating_t} t of `{gear}` lies outside the table of regime {regime}, which covers {covers}"
    )]
    OutsideTable {
        /// `WLL` or `SWL`.
        word: &'static str,
        /// The rating in tonnes.
        rating_t: String,
        /// The word as given.
        gear: String,
        /// The regime asked for.
        regime: Regime,
        /// The range that the steps cover.
        covers: String,
    },
    /// The load is beyond what can be counted in grams.
    #[error("the proof load for {rating_t} t is too large to count; give a rating in tonnes")]
    TooLarge {
        /// The rating in tonnes.
        rating_t: String,
    },
    /// An embedded table is damaged.
    #[error("{file}:{line}: {column} cannot be read")]
    Table {
        /// The table's file name.
        file: &'static str,
        /// The line, from 1.
        line: usize,
        /// The column at fault.
        column: &'static str,
    },
}

/// The required proof load of `gear`, a kebab-case word such as `single-sheave-block`.
///
/// # Errors
/// [`ProofLoadError`] for gear that no table or another regime's table knows, and for ratings that the
/// steps do not cover, zero and below among them.
pub fn proof_load(gear: &str, rating: Rating, regime: Regime) -> Result<ProofLoad, ProofLoadError> {
    let all = steps()?;
    let of_gear: Vec<&Step> = all.iter().filter(|step| step.gear.contains(&gear)).collect();
    if of_gear.is_empty() {
        return Err(unknown(gear, regime, &all));
    }
    let rows: Vec<&Step> = of_gear.iter().copied().filter(|step| step.regimes.contains(&regime)).collect();
    if rows.is_empty() {
        return Err(not_in_regime(gear, regime, &of_gear));
    }
    let reached = rows.iter().find(|step| rating.mass().0 > 0 && step.reaches(rating.mass()));
    let step = reached.ok_or_else(|| outside(gear, rating, regime, &rows))?;
    by_step(step, rating)
}

/// The gear words that a regime has steps for, in the order of the tables.
///
/// # Errors
/// [`ProofLoadError::Table`] if an embedded table is damaged.
pub fn known_gear(regime: Regime) -> Result<Vec<&'static str>, ProofLoadError> {
    steps().map(|all| words_of(regime, &all))
}

/// Whether a gear word stands for a lifting appliance or a point that one pulls on, not for loose gear.
pub fn is_appliance(gear: &str) -> bool {
    table::appliance_words().any(|word| word == gear)
}

fn words_of(regime: Regime, all: &[Step]) -> Vec<&'static str> {
    let mut words = Vec::new();
    for step in all.iter().filter(|step| step.regimes.contains(&regime)) {
        for word in &step.gear {
            if !words.contains(word) {
                words.push(*word);
            }
        }
    }
    words
}

fn unknown(gear: &str, regime: Regime, all: &[Step]) -> ProofLoadError {
    let words = words_of(regime, all);
    let near: Vec<&str> =
        words.iter().copied().filter(|word| !gear.is_empty() && word.contains(gear)).collect();
    let hint =
        if near.is_empty() { String::new() } else { format!("perhaps {} is meant; ", near.join(" or ")) };
    ProofLoadError::UnknownGear { gear: gear.to_owned(), regime, hint, known: words.join(", ") }
}

fn not_in_regime(gear: &str, regime: Regime, of_gear: &[&Step]) -> ProofLoadError {
    let covering = |one: &Regime| of_gear.iter().any(|step| step.regimes.contains(one));
    let names: Vec<String> = Regime::ALL.iter().filter(|one| covering(one)).map(Regime::to_string).collect();
    ProofLoadError::NotInRegime { gear: gear.to_owned(), regime, covered_by: names.join(", ") }
}

fn outside(gear: &str, rating: Rating, regime: Regime, rows: &[&Step]) -> ProofLoadError {
    let upper = rows.last().and_then(|last| last.limits().filter(|_| last.to.is_some()));
    ProofLoadError::OutsideTable {
        word: rating.word(),
        rating_t: rating.mass().tonnes(),
        gear: gear.to_owned(),
        regime,
        covers: upper.map_or_else(
            || "every rating above 0 t".to_owned(),
            |limits| format!("ratings above 0 t, {limits}"),
        ),
    }
}

fn by_step(step: &Step, rating: Rating) -> Result<ProofLoad, ProofLoadError> {
    let multiplied = i128::from(rating.mass().0) * 10_000 * i128::from(step.multiplier);
    let exact = multiplied + i128::from(step.add) * step.unit.tenth_milligrams();
    let grams = i64::try_from(divided_up(exact, 10_000_000));
    let load = grams.map(Grams).map_err(|_| ProofLoadError::TooLarge { rating_t: rating.mass().tonnes() })?;
    Ok(ProofLoad {
        load,
        load_t: load.tonnes_up(),
        load_kn: Force::of(load).kn_up(),
        formula: formula(step, rating, load, exact),
        source: sourced(step),
        status: step.status,
        authority: step.authority,
        note: step.note,
    })
}

fn sourced(step: &Step) -> String {
    match step.status {
        Status::Seen => step.source.to_owned(),
        Status::Memory => format!("{} (from memory, check against the code)", step.source),
    }
}

/// `exact` is the load in 10⁻⁷ g before rounding.
fn formula(step: &Step, rating: Rating, load: Grams, exact: i128) -> String {
    let rule = rule(step, rating.word(), &added(step));
    let sum = rule_in_tonnes(step, rating);
    let rounded = divided_up(exact, 10_000_000_000) * 10_000_000_000 != exact;
    let ending = if rounded { ", rounded up to the kilogram" } else { "" };
    format!("{rule}{}: {sum} = {} t{ending}", range(step), load.tonnes_up())
}

fn added(step: &Step) -> String {
    format!("{} {}", shortest(i128::from(step.add), 3), step.unit.name(step.add))
}

/// `1.22 x WLL + 20 t`, without a factor of one or an addition of nothing.
fn rule(step: &Step, rating: &str, added: &str) -> String {
    let factor = shortest(i128::from(step.multiplier), 3);
    let product = if step.multiplier == 1_000 { rating.to_owned() } else { format!("{factor} x {rating}") };
    if step.add == 0 { product } else { format!("{product} + {added}") }
}

fn rule_in_tonnes(step: &Step, rating: Rating) -> String {
    let added = i128::from(step.add) * step.unit.tenth_milligrams();
    let rating = format!("{} t", rating.mass().tonnes());
    rule(step, &rating, &format!("{} t", shortest(added, 13)))
}

fn range(step: &Step) -> String {
    let long_ton = (step.unit == table::Unit::LongTon).then(|| "1 long ton = 1.0160469088 t".to_owned());
    let parts: Vec<String> = [step.limits(), long_ton].into_iter().flatten().collect();
    if parts.is_empty() { String::new() } else { format!(" ({})", parts.join("; ")) }
}

#[cfg(test)]
mod tests;
