//! Results of proof load tests as they come in: the load reached against what the gear must bear, and against what
//! it and the parts pulled with it may be proved with.

use std::collections::HashMap;

use policies::amount::Amount;
use policies::fitting::DEEPEST;
use policies::proof_load::PartProof;
use policies::proofs::{self, LOAD, Numbers, ProofFault};
use policies::zone::{Instant, Zone};

use super::places::Places;
use crate::records::{Fitting, Item, Work, attributes, when};
use crate::store::current::Register;

/// The column that a result stands in.
pub(super) const COLUMN: &str = "measurements";

/// What is to be said of a result.
pub(super) enum Found {
    /// It cannot be passed.
    Wrong(String),
    /// It is too small by no more than it was rounded when it was written down: history is taken so, a gauge at hand
    /// is read again.
    Rounded(String),
    /// It was taken as it stands.
    NotJudged(String),
}

/// Proof load tests over one register.
pub(super) struct Tests<'r> {
    register: &'r Register,
    places: &'r Places<'r>,
    on: HashMap<&'r str, Vec<&'r Fitting>>,
}

impl Numbers for Item {
    fn number(&self, column: &str) -> Option<Amount> {
        let (_, value) = attributes(self.attributes.as_deref()).find(|(have, _)| *have == column)?;
        value.parse().ok()
    }
}

impl<'r> Tests<'r> {
    pub(super) fn of(register: &'r Register, places: &'r Places<'r>) -> Tests<'r> {
        let mut on: HashMap<&str, Vec<&Fitting>> = HashMap::new();
        for row in register.fittings.values().filter(|row| !row.void) {
            on.entry(&row.host).or_default().push(row);
        }
        Tests { register, places, on }
    }

    /// What is wrong with passed or done work; failed work says so itself.
    pub(super) fn fault(&self, work: &Work) -> Option<Found> {
        let set = self.places.set;
        let rule = set.rule(set.find_rule(&work.rule)?);
        proofs::load_reading(rule).filter(|_| !work.void && work.outcome != "failed")?;
        let text = reached(work)?;
        let reached: Amount = text.parse().ok()?;
        let (item, kind) = (self.register.items.get(&work.item)?, self.places.kind_of(&work.item)?);
        let regime = set.service.proof_regime;
        let pulled = if proofs::pulls_its_parts(kind) {
            self.pulled(&work.item, Instant(work.at), 0)
        } else {
            Vec::new()
        };
        let parts: Vec<PartProof> = pulled.iter().filter_map(|tag| self.part(tag)).collect();
        match proofs::judge(kind, item, regime, reached, &parts) {
            Ok(_) => self.not_judged(&pulled),
            Err(unknown @ (ProofFault::Unknown(_) | ProofFault::Table(_))) => {
                Some(Found::NotJudged(format!("{unknown}; the load was taken as it stands")))
            }
            Err(wrong) => {
                let written = reached + half_a_digit(text);
                let rounded = matches!(wrong, ProofFault::Below { .. })
                    && proofs::judge(kind, item, regime, written, &parts).is_ok();
                let said = format!("{wrong}: record the work as failed, or correct the load");
                Some(if rounded { Found::Rounded(said) } else { Found::Wrong(said) })
            }
        }
    }

    /// What was fitted to an item at a moment, link by link, in the order of tags.
    fn pulled(&self, host: &str, at: Instant, depth: usize) -> Vec<&'r str> {
        let fitted = self.on.get(host).into_iter().flatten().filter(|row| self.stood(row, at));
        let mut found: Vec<&str> = Vec::new();
        for row in fitted.filter(|_| depth < DEEPEST) {
            found.push(&row.item);
            found.extend(self.pulled(&row.item, at, depth + 1));
        }
        found.sort_unstable();
        found
    }

    /// Parts of which nobody can tell whether they bore too much: the result stands, and names them.
    fn not_judged(&self, pulled: &[&str]) -> Option<Found> {
        let regime = self.places.set.service.proof_regime;
        let said = pulled.iter().filter_map(|tag| {
            let (item, kind) = (self.register.items.get(*tag)?, self.places.kind_of(tag)?);
            proofs::not_judged(kind, item, tag, regime)
        });
        let said: Vec<String> = said.collect();
        (!said.is_empty()).then(|| {
            Found::NotJudged(format!("{}; whether it may bear the load was not judged", said.join("; ")))
        })
    }

    fn part(&self, tag: &str) -> Option<PartProof> {
        let (item, kind) = (self.register.items.get(tag)?, self.places.kind_of(tag)?);
        proofs::as_part(kind, item, tag, self.places.set.service.proof_regime)
    }

    fn stood(&self, row: &Fitting, at: Instant) -> bool {
        let zone: &Zone = self.places.zone_of(&row.item);
        let from = zone.from_start(when(row.at, row.day.as_deref()));
        let removed = row.removed_at.map(|moment| when(moment, row.removed_day.as_deref()));
        from <= at && removed.is_none_or(|removed| at < zone.until_end(removed))
    }
}

/// The load as it was written down.
fn reached(work: &Work) -> Option<&str> {
    let mut pairs = work.measurements.as_deref()?.split(';').filter_map(|pair| pair.split_once('='));
    pairs.find(|(name, _)| name.trim() == LOAD).map(|(_, value)| value.trim())
}

/// What rounding to the last digit written may have taken off: 0.05 of `58.8`.
fn half_a_digit(text: &str) -> Amount {
    let places = text.split_once('.').map_or(0, |(_, decimals)| decimals.len());
    let unit = 10_i64.pow(u32::try_from(6_usize.saturating_sub(places)).unwrap_or(0));
    Amount::from_millionths(unit / 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_digit_written_says_how_far_a_load_was_rounded() {
        for (text, half) in [("58.8", "0.05"), ("59", "0.5"), ("58.84", "0.005"), ("58.840001", "0")] {
            assert_eq!(half_a_digit(text), half.parse().unwrap(), "{text}");
        }
    }
}
