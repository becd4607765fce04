//! Proof-load work as a notice of its own, with the load the test house must bring.

use policies::due::{DueRow, Evaluator};
use policies::facts::Item;
use policies::proof_load::{Grams, Guard, Rating, Regime, WireStrength, guard, proof_load};
use policies::rule::{Rule, Value};

use super::compose::{Desk, Owed, Said};
use super::digest::{ProofItem, ProofLoadNotice, WireShare};
use super::message::{MessageError, sender};
use crate::gear;
use crate::records::Person;
use crate::store::outbox::{Fresh, Told};

/// Why no load can be asked for.
#[derive(Debug, thiserror::Error)]
pub enum ProofNoticeError {
    /// The item or its kind does not say what its load is found from.
    #[error("{item}: {missing} is not known, so no proof load can be asked for; add it to items.csv")]
    Unknown {
        /// Item.
        item: String,
        /// What is missing.
        missing: String,
    },
    /// The tables do not cover it, or the wire would not bear it.
    #[error("{item}: {reason}")]
    Refused {
        /// Item.
        item: String,
        /// Why.
        reason: String,
    },
    /// A name or address that cannot stand in a mail.
    #[error(transparent)]
    Message(#[from] MessageError),
}

impl Desk<'_> {
    /// The notice that asks a test house for one proof load.
    ///
    /// # Errors
    /// A load that cannot be found or must not be applied, or a name that cannot stand in a mail.
    pub fn proof_load(
        &self,
        number: String,
        person: &Person,
        row: &DueRow,
        told: &Told,
        occasion: String,
    ) -> Result<Fresh, ProofNoticeError> {
        let notice = self.proof_notice(number, person, row)?;
        let said = Said {
            number: notice.number.clone(),
            subject: notice.subject(),
            text: notice.text(),
            html: notice.html(),
            calendar: None,
        };
        let owed = Owed { rows: vec![(*row, told.clone())], any_new: true };
        Ok(self.fresh(said, person, occasion, &owed)?)
    }

    fn proof_notice(
        &self,
        number: String,
        person: &Person,
        row: &DueRow,
    ) -> Result<ProofLoadNotice, ProofNoticeError> {
        let item = self.fleet.item(row.item);
        let rule = self.set.rule(row.rule);
        let refused = |reason: String| ProofNoticeError::Refused { item: item.tag.to_string(), reason };
        let (gear_word, rated) = self.rating(item)?;
        let found = proof_load(gear_word, Rating::Wll(rated), Regime::Ilo)
            .map_err(|error| refused(error.to_string()))?;
        let wire = wire(item);
        let judged = guard(found.load, wire_strength(wire.as_ref()), &[])
            .map_err(|error| refused(error.to_string()))?;
        let cutoff = Evaluator::without_forecasts(self.set, self.fleet, self.as_of).cutoff(item);
        let station = self.fleet.station_of(item).map_or("Central stores", |station| &*station.name);
        Ok(ProofLoadNotice {
            number,
            to_name: person.name.clone(),
            to_address: person.key.clone(),
            from_address: sender(self.from).1.to_owned(),
            place: station.to_owned(),
            as_known: self.as_known(person),
            items: vec![ProofItem {
                item: item.tag.to_string(),
                what: gear::what(self.set, self.fleet, row.item, cutoff),
                certificate: None,
            }],
            wll_t: rated.tonnes(),
            load_t: found.load_t,
            load_kn: found.load_kn,
            formula: found.formula,
            source: format!("{} ({})", found.source, found.status),
            authority: found.authority.to_string(),
            hold: hold(rule),
            rig_points: vec![gear::place(self.set, self.fleet, row.item, cutoff)],
            share: share(wire.as_ref(), &judged),
            prior_proofs: self.prior_proofs(item),
            witness: None,
            booked_on: None,
            report_by: row.due_on,
            supersedes: None,
        })
    }

    fn as_known(&self, person: &Person) -> String {
        let local = self.now.timestamp().to_zoned_datetime(self.zone_of(person).time_zone().clone());
        local.strftime("%-d %b %Y %H:%M (%Z)").to_string()
    }

    fn rating(&self, item: &Item) -> Result<(&str, Grams), ProofNoticeError> {
        let kind = self.set.kinds.kind(item.kind);
        let unknown = |missing: &str| ProofNoticeError::Unknown {
            item: item.tag.to_string(),
            missing: missing.to_owned(),
        };
        let proof = kind.proof.as_ref().ok_or_else(|| unknown("how the proof load of its kind is found"))?;
        let rated = number(item, &proof.load).ok_or_else(|| unknown(&proof.load))?;
        let rated = Grams::from_tonnes(&rated).map_err(|_| unknown(&proof.load))?;
        Ok((proof.gear.as_str(), rated))
    }

    /// Dates of earlier proof loads: repeats wear gear.
    fn prior_proofs(&self, item: &Item) -> Vec<String> {
        let tests = item
            .works
            .iter()
            .filter(|done| self.set.rule(done.rule).work == policies::rule::Work::ProofLoadTest);
        tests.map(|done| format!("{} {}", crate::why::day(done.date), done.outcome)).collect()
    }
}

/// The hold the rule records, where it names one.
fn hold(rule: &Rule) -> String {
    let held = rule.records.iter().find(|reading| reading.name.contains("hold"));
    match held.and_then(|reading| Some((reading.min?, reading.unit.clone().unwrap_or_default()))) {
        Some((least, unit)) => format!("{least} {unit}"),
        None => "as the code asks".to_owned(),
    }
}

fn number(item: &Item, column: &str) -> Option<String> {
    item.attributes.iter().find(|(have, _)| **have == *column).and_then(|(_, value)| match value {
        Value::Number(number) => Some(number.to_string()),
        Value::Text(_) => None,
    })
}

/// Breaking force in kN and termination factor of a wire.
fn wire(item: &Item) -> Option<(String, String)> {
    number(item, "minimum_breaking_force_kN").zip(number(item, "termination_factor"))
}

fn wire_strength(wire: Option<&(String, String)>) -> Option<WireStrength> {
    wire.and_then(|(force, factor)| WireStrength::read(force, factor).ok())
}

fn share(wire: Option<&(String, String)>, judged: &Guard) -> Option<WireShare> {
    let (force, factor) = wire.cloned()?;
    Some(WireShare {
        percent: judged.percent_of_breaking?.to_string(),
        mbf_kn: force,
        factor,
        strength_kn: judged.breaking_kn.clone()?,
    })
}
