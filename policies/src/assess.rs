//! Discard criteria: what was found on a piece of gear, judged by the published limits.
//!
//! Everything is reckoned in exact fractions. A rating says how much of the way from new to discard is used
//! up, in percent; from 60 the gear is to be watched, from 100 discarded. Where a limit is itself still
//! allowed, a reading on it is rated just below 100.

mod bench;
mod block;
mod chain;
mod combined;
mod fault;
mod gear;
mod hook;
mod limits;
mod makers;
mod outcome;
mod pins;
mod ratio;
mod readings;
mod records;
mod shackle;
mod shore;
mod sight;
mod table;
mod textile;
mod wear;
mod wire;

use std::str::FromStr;

use crate::proof_load::Status;
use crate::rule::{Authority, words};
use bench::Bench;
pub use combined::Added;
pub use fault::AssessFault;
use gear::{Gear, KINDS, SLING, TEXTILE};
pub use outcome::{Assessment, Criterion, Figure, Percent};
pub use ratio::Ratio;
use readings::Reader;
pub use records::{asks_attribute, measure_of, measures};
use sight::Cause;

words! {
    /// Whose criteria gear is judged by.
    Regime {
        /// ISO and EN standards.
        Iso = "iso",
        /// US federal rules and ASME standards.
        Us = "us",
    }
}

/// A word that names no regime.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is no regime of discard criteria; right would be iso or us")]
pub struct UnknownRegime(String);

impl FromStr for Regime {
    type Err = UnknownRegime;

    fn from_str(text: &str) -> Result<Regime, UnknownRegime> {
        Regime::from_word(text).ok_or_else(|| UnknownRegime(text.to_owned()))
    }
}

impl Regime {
    /// Its criteria, as a sentence names them.
    pub fn criteria(self) -> &'static str {
        match self {
            Regime::Iso => "ISO and EN criteria",
            Regime::Us => "US criteria",
        }
    }

    /// The regimes that a table's word covers; nothing for a word that is none.
    fn covered(word: &str) -> Option<Vec<Regime>> {
        if word == "any" {
            return Some(vec![Regime::Iso, Regime::Us]);
        }
        Regime::from_word(word).map(|regime| vec![regime])
    }
}

words! {
    /// What follows from a rating.
    Verdict {
        /// Fit as far as it was judged.
        Accept = "accept",
        /// From 60 %: fit, to be looked at more often.
        Watch = "watch",
        /// From 100 %: not to be used again.
        Discard = "discard",
    }
}

words! {
    /// On which side of a limit gear is discarded.
    Sense {
        /// At the limit and beyond.
        From = "from",
        /// Above it; the limit itself is allowed.
        Over = "over",
        /// Below it; the limit itself is allowed.
        Under = "under",
    }
}

/// Where a figure comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Sourced {
    source: String,
    authority: Authority,
    status: Status,
}

impl Sourced {
    fn text(&self) -> String {
        let printed = matches!(self.authority, Authority::Law | Authority::Standard);
        if printed && self.status == Status::Memory {
            return format!("{} (from memory, check against the text)", self.source);
        }
        self.source.clone()
    }
}

/// Judges what was found on a piece of gear at one place. `attributes` say what the gear is, by the columns
/// of its kind; `measures` say what was found.
///
/// # Errors
/// Every fault at once: names that the kind does not know, texts that cannot be read, readings that cannot
/// be, and what is missing.
pub fn assess(
    kind: &str,
    regime: Regime,
    attributes: &[(&str, &str)],
    measures: &[(&str, &str)],
) -> Result<Assessment, Vec<AssessFault>> {
    let gear = family(kind, attributes).map_err(|fault| vec![fault])?;
    let causes = sight::causes(gear.word, regime).map_err(|fault| vec![fault])?;
    let limits = limits::limits(gear.word, regime).map_err(|fault| vec![fault])?;
    let mut reader = Reader { kind, gear, causes: &causes, faults: Vec::new() };
    let given = (reader.attributes(attributes), reader.measures(measures));
    let known = reader.known_measures();
    let mut bench = Bench::new(kind, regime, gear, limits);
    bench.faults = reader.faults;
    if measures.is_empty() {
        bench.missing("measures", format!("say what was found, by one or more of {known}"));
    }
    judged(bench.given(given.0, given.1), &causes)
}

/// The same for gear as the register has it: a service may keep columns of its own, and what no criterion knows is
/// passed over.
///
/// # Errors
/// As [`assess`], but for columns.
pub fn assess_item(
    kind: &str,
    regime: Regime,
    attributes: &[(&str, &str)],
    measures: &[(&str, &str)],
) -> Result<Assessment, Vec<AssessFault>> {
    let faults = match assess(kind, regime, attributes, measures) {
        Err(faults) => faults,
        found => return found,
    };
    let own = |column: &str| {
        faults
            .iter()
            .any(|fault| matches!(fault, AssessFault::UnknownAttribute { name, .. } if name == column))
    };
    let known: Vec<(&str, &str)> = attributes.iter().copied().filter(|(column, _)| !own(column)).collect();
    if known.len() == attributes.len() {
        return Err(faults);
    }
    assess(kind, regime, &known, measures)
}

fn judged(mut bench: Bench, causes: &[Cause]) -> Result<Assessment, Vec<AssessFault>> {
    judge(&mut bench, causes).unwrap_or_else(|fault| bench.fault(fault));
    sight::judge(&mut bench, causes);
    let unmeasured = bench.unmeasured(wire::wanted(&bench));
    if !unmeasured.is_empty() {
        bench.note(format!("not measured: {}", unmeasured.join(", ")));
    }
    for name in bench.unjudged() {
        bench.note(format!("{name} is not judged: no limit of regime {} asks for it here", bench.regime));
    }
    if bench.criteria.is_empty() && bench.faults.is_empty() {
        let reasons = [vec!["nothing that was given is judged".to_owned()], bench.notes.clone()].concat();
        bench.missing("measures", reasons.join("; "));
    }
    if bench.faults.is_empty() { Ok(concluded(bench)) } else { Err(bench.faults) }
}

fn judge(bench: &mut Bench, causes: &[Cause]) -> Result<(), AssessFault> {
    match bench.gear.word {
        "wire" => wire::judge(bench)?,
        "sling" => wire::judge_sling(bench)?,
        "chain" => chain::judge(bench)?,
        "shackle" => shackle::judge(bench),
        "hook" => hook::judge(bench),
        "block" => block::judge(bench),
        "textile" => textile::judge(bench, causes),
        "link" => pins::judge_link(bench)?,
        "pin" => pins::judge_pin(bench)?,
        "fairlead" => pins::judge_fairlead(bench)?,
        "skid" => shore::judge_skid(bench),
        _ => shore::judge_line(bench),
    }
    Ok(())
}

fn concluded(bench: Bench) -> Assessment {
    let greatest = bench.criteria.iter().map(|one| one.rating).max().unwrap_or(Percent(Ratio::ZERO));
    let combined = bench.sum.as_ref().map_or(greatest, |(sum, _)| greatest.max(Percent(*sum)));
    Assessment {
        kind: bench.kind,
        regime: bench.regime,
        verdict: combined.verdict(),
        combined,
        added: bench.sum.map(|(_, rule)| rule),
        criteria: bench.criteria,
        notes: bench.notes,
    }
}

/// The kinds that criteria are held for.
pub fn kinds() -> impl Iterator<Item = &'static str> {
    KINDS.iter().map(|(kind, _)| *kind)
}

fn family(kind: &str, attributes: &[(&str, &str)]) -> Result<&'static Gear, AssessFault> {
    let plain = gear::plain(kind);
    let found = KINDS.iter().find(|(name, _)| gear::plain(name) == plain);
    let (_, family) = found.ok_or_else(|| AssessFault::UnknownKind {
        kind: kind.to_owned(),
        known: kinds().collect::<Vec<_>>().join(", "),
    })?;
    if family.word == TEXTILE.word { strop(attributes) } else { Ok(family) }
}

/// A strop of wire is judged as a wire sling.
fn strop(attributes: &[(&str, &str)]) -> Result<&'static Gear, AssessFault> {
    let right = "right would be wire, webbing or round sling".to_owned();
    let material = attributes.iter().find(|(name, _)| gear::plain(name) == "material");
    match material.map(|(_, text)| gear::plain(text)).as_deref() {
        Some("wire") => Ok(&SLING),
        Some("webbing" | "round_sling" | "textile") => Ok(&TEXTILE),
        None | Some("") => Err(AssessFault::Missing { name: "material".to_owned(), right }),
        Some(text) => {
            Err(AssessFault::Unreadable { name: "material".to_owned(), text: text.to_owned(), right })
        }
    }
}

#[cfg(test)]
mod tests;
