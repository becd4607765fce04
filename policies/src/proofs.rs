//! Proof loads that an item has borne, and what one must reach and must not pass.

use thiserror::Error;

use crate::amount::Amount;
use crate::facts::{Done, Fleet, Item, ItemId};
use crate::kinds::{Kind, Proof as Found};
use crate::load::PolicySet;
use crate::proof_load::{
    Force, Grams, Guard, GuardError, PartProof, ProofLoad, Rating, Regime, WireStrength, guard_pull,
    is_appliance, proof_load,
};
use crate::rule::{Rule, Value, Work};
use crate::zone::Instant;

/// The reading of a proof-load rule that says what load was reached.
pub const LOAD: &str = "proof load";
const KILONEWTONS: &str = "kN";
/// The column of a wire's minimum breaking force.
pub const BREAKING_FORCE: &str = "minimum_breaking_force_kN";
/// The column of its termination factor K.
pub const TERMINATION: &str = "termination_factor";

/// One proof load that an item has borne, whatever came of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Borne {
    /// The work.
    pub done: Done,
    /// The load reached in kilonewtons, where it was recorded.
    pub load: Option<Amount>,
}

/// Why a proof load cannot be found, or was not what it must be.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ProofFault {
    /// The item or its kind does not say what its load is found from.
    #[error("{0} is not known, so no proof load can be found")]
    Unknown(String),
    /// The tables do not cover it.
    #[error("{0}")]
    Table(String),
    /// Less was reached than the gear must bear.
    #[error("proof load = {reached} kN is below the {required_kn} kN that it must bear ({formula})")]
    Below {
        /// As recorded.
        reached: Amount,
        /// The load to reach, rounded up.
        required_kn: String,
        /// Where that comes from.
        formula: String,
    },
    /// More was reached than the gear may be proved with.
    #[error("{0}")]
    Above(#[from] GuardError),
}

/// Index of the reading that says what load was reached, in a rule that asks for a proof load.
pub fn load_reading(rule: &Rule) -> Option<u16> {
    let is_load =
        |reading: &crate::rule::Reading| reading.name == LOAD && reading.unit.as_deref() == Some(KILONEWTONS);
    let at = rule.records.iter().position(is_load).filter(|_| rule.work == Work::ProofLoadTest)?;
    u16::try_from(at).ok()
}

/// The proof loads that an item bore before a moment, in time order: each wears gear.
pub fn borne(set: &PolicySet, fleet: &Fleet, id: ItemId, before: Instant) -> Vec<Borne> {
    let tests = fleet.item(id).works.iter().filter(|done| set.rule(done.rule).work == Work::ProofLoadTest);
    let load = |done: &Done| {
        let reading = load_reading(set.rule(done.rule))?;
        let mut taken = fleet.readings(id).iter();
        taken.find(|t| t.rule == done.rule && t.reading == reading && t.at == done.at).map(|t| t.value)
    };
    tests.filter(|done| done.at < before).map(|done| Borne { done: *done, load: load(done) }).collect()
}

/// What an item's numbers are read from: the fleet's items, or rows of a register.
pub trait Numbers {
    /// The number in an attribute column.
    fn number(&self, column: &str) -> Option<Amount>;
}

impl Numbers for Item {
    fn number(&self, column: &str) -> Option<Amount> {
        let (_, value) = self.attributes.iter().find(|(have, _)| **have == *column)?;
        match value {
            Value::Number(number) => Some(*number),
            Value::Text(_) => None,
        }
    }
}

/// The rating that an item's proof load is found from.
///
/// # Errors
/// The kind declares none, or the item lacks it.
pub fn rating<'k>(kind: &'k Kind, item: &impl Numbers) -> Result<(&'k Found, Rating), ProofFault> {
    let found = kind.proof.as_ref();
    let found = found
        .ok_or_else(|| ProofFault::Unknown(format!("how the proof load of a {} is found", kind.name)))?;
    let rated = item.number(&found.load).ok_or_else(|| ProofFault::Unknown(found.load.clone()))?;
    let rated =
        Grams::from_tonnes(&rated.to_string()).map_err(|_| ProofFault::Unknown(found.load.clone()))?;
    let rating = if found.load.starts_with("wll") { Rating::Wll(rated) } else { Rating::Swl(rated) };
    Ok((found, rating))
}

/// The proof load that an item must bear.
///
/// # Errors
/// Its rating is not known, or the tables do not cover it.
pub fn required(kind: &Kind, item: &impl Numbers, regime: Regime) -> Result<ProofLoad, ProofFault> {
    let (found, rating) = rating(kind, item)?;
    proof_load(&found.gear, rating, regime).map_err(|error| ProofFault::Table(error.to_string()))
}

/// The strength of an item that is wire.
pub fn wire(item: &impl Numbers) -> Option<WireStrength> {
    let (force, factor) = item.number(BREAKING_FORCE).zip(item.number(TERMINATION))?;
    WireStrength::read(&force.to_string(), &factor.to_string()).ok()
}

/// The greatest load that an item may be proved with as part of a pull: its own proof load. Nothing is said of gear
/// without one.
pub fn as_part(kind: &Kind, item: &impl Numbers, tag: &str, regime: Regime) -> Option<PartProof> {
    let own = required(kind, item, regime).ok()?;
    Some(PartProof { part: tag.to_owned(), proof: Force::of(own.load) })
}

/// What cannot be told of a part of a pull: its kind has a proof load, but its own is not known, so that nobody knows
/// what it may be pulled with.
pub fn not_judged(kind: &Kind, item: &impl Numbers, tag: &str, regime: Regime) -> Option<String> {
    let fault = required(kind, item, regime).err().filter(|_| kind.proof.is_some())?;
    Some(format!("of `{tag}`, which is pulled with it, {fault}"))
}

/// Whether what is fitted to an item is pulled with it. Of a winch or an anchor point the loose gear is taken off
/// first, since it is proved by itself.
pub fn pulls_its_parts(kind: &Kind) -> bool {
    kind.proof.as_ref().is_some_and(|proof| !is_appliance(&proof.gear))
}

/// Judges a load that was reached: at least what is required, at most what the guard allows.
///
/// # Errors
/// Both figures in words where it is not so; what is not known.
pub fn judge(
    kind: &Kind,
    item: &impl Numbers,
    regime: Regime,
    reached: Amount,
    parts: &[PartProof],
) -> Result<Guard, ProofFault> {
    let required = required(kind, item, regime)?;
    let pull = Force::of_kilonewtons(reached);
    if pull < Force::of(required.load) {
        let formula = required.formula;
        return Err(ProofFault::Below { reached, required_kn: required.load_kn, formula });
    }
    Ok(guard_pull(pull, wire(item), parts)?)
}

#[cfg(test)]
mod tests;
