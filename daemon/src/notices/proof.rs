//! Proof-load work as a notice of its own, with the load the test house must bring.

use jiff::civil::Date;
use policies::due::{DueRow, Evaluator};
use policies::facts::{Item, ItemId};
use policies::proof_load::{Force, Grams, Guard, guard};
use policies::proofs::{self, Numbers, ProofFault};
use policies::rule::{Rule, Value};
use policies::zone::Instant;

use super::compose::{Addressed, Desk, Place, Said};
use super::digest::{ProofItem, ProofLoadNotice, WireShare};
use super::message::{MessageError, sender};
use crate::gear;
use crate::records::Person;
use crate::store::outbox::{Fresh, FreshLine, Told};

const AS_THE_CODE_ASKS: &str = "as the code asks";

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

/// One proof load to be asked for.
#[derive(Clone, Copy, Debug)]
pub struct Asking<'a> {
    /// The row it falls due by.
    pub row: &'a DueRow,
    /// What is told with it.
    pub told: &'a Told,
    /// Number of the maker's certificate.
    pub certificate: Option<&'a str>,
}

impl Desk<'_> {
    /// The notice that asks a test house for one proof load.
    ///
    /// # Errors
    /// A load that cannot be found or must not be applied, or a name that cannot stand in a mail.
    pub fn proof_load(
        &self,
        to: &Addressed,
        asking: &Asking,
        place: Place,
    ) -> Result<Fresh, ProofNoticeError> {
        let notice = self.proof_notice(place.number.clone(), to.person, asking)?;
        let notice = ProofLoadNotice { supersedes: place.supersedes.clone(), ..notice };
        let due_on = asking.row.due_on.map(|due| due.to_string());
        let lines = vec![FreshLine { number: 1, told: asking.told.clone(), due_on }];
        Ok(self.fresh(said("proof load", &notice, lines), to, place)?)
    }

    /// The same for those who must know of it: it asks nothing of them, and tells them nothing of their own rows.
    ///
    /// # Errors
    /// As of the notice itself.
    pub fn proof_copy(
        &self,
        to: &Addressed,
        original: (&Addressed, &str),
        asking: &Asking,
        place: Place,
    ) -> Result<Fresh, ProofNoticeError> {
        let (asked, number) = original;
        let notice = ProofLoadNotice {
            copy_of: Some(format!("{number} to {} <{}>", asked.to_name, asked.to)),
            ..self.proof_notice(place.number.clone(), to.person, asking)?
        };
        Ok(self.fresh(said("proof load copy", &notice, Vec::new()), to, place)?)
    }

    fn proof_notice(
        &self,
        number: String,
        person: &Person,
        asking: &Asking,
    ) -> Result<ProofLoadNotice, ProofNoticeError> {
        let row = asking.row;
        let mut asked = self.proof_asked(row.item, Some(self.set.rule(row.rule)), row.due_on)?;
        for item in &mut asked.items {
            item.certificate = asking.certificate.map(str::to_owned);
        }
        Ok(ProofLoadNotice {
            number,
            to_name: person.name.clone(),
            to_address: person.key.clone(),
            from_address: sender(self.from).1.to_owned(),
            as_known: self.as_known(person),
            ..asked
        })
    }

    /// What is asked for, to whomever; `rule` says how long the load is held.
    ///
    /// # Errors
    /// A load that cannot be found or must not be applied.
    pub fn proof_asked(
        &self,
        id: ItemId,
        rule: Option<&Rule>,
        report_by: Option<Date>,
    ) -> Result<ProofLoadNotice, ProofNoticeError> {
        let item = self.fleet.item(id);
        let kind = self.set.kinds.kind(item.kind);
        let fault = |fault: ProofFault| of_fault(item, &fault);
        let (_, rating) = proofs::rating(kind, item).map_err(fault)?;
        let found = proofs::required(kind, item, self.set.service.proof_regime).map_err(fault)?;
        let judged = guard(found.load, proofs::wire(item), &[])
            .map_err(|error| of_fault(item, &ProofFault::Above(error)))?;
        let cutoff = Evaluator::without_forecasts(self.set, self.fleet, self.as_of).cutoff(item);
        let station = self.fleet.station_of(item).map_or("Central stores", |station| &*station.name);
        Ok(ProofLoadNotice {
            number: String::new(),
            to_name: String::new(),
            to_address: String::new(),
            from_address: String::new(),
            as_known: String::new(),
            place: station.to_owned(),
            items: vec![ProofItem {
                item: item.tag.to_string(),
                what: gear::what(self.set, self.fleet, id, cutoff),
                certificate: None,
            }],
            rated: rating.word(),
            wll_t: rating.mass().tonnes(),
            load_t: found.load_t,
            load_kn: found.load_kn,
            formula: found.formula,
            source: found.source,
            authority: found.authority.to_string(),
            hold: rule.map_or_else(|| AS_THE_CODE_ASKS.to_owned(), hold),
            rig_points: self.rig_points(item, id, cutoff),
            take_off: self.take_off(id, found.load, cutoff),
            share: share(item, &judged),
            prior_proofs: crate::proofs::prior(self.set, self.fleet, id, cutoff).into_iter().collect(),
            witness: Some("name them in the report".to_owned()),
            booked_on: None,
            report_by,
            supersedes: None,
            copy_of: None,
        })
    }

    /// Its ends, where it is wire; else where it sits.
    fn rig_points(&self, item: &Item, id: ItemId, cutoff: Instant) -> Vec<String> {
        let ends = [("outer end", "outer_termination"), ("inner end", "inner_termination")];
        let known: Vec<String> = ends
            .into_iter()
            .filter_map(|(end, column)| Some(format!("{end}, {}", text(item, column)?)))
            .collect();
        if known.is_empty() { vec![gear::place(self.set, self.fleet, id, cutoff)] } else { known }
    }

    /// Parts fitted to it that must not be pulled as hard, each with its own proof load.
    fn take_off(&self, id: ItemId, load: Grams, cutoff: Instant) -> Vec<String> {
        let regime = self.set.service.proof_regime;
        let fitted = self.fleet.bearers(id).into_iter().filter(|part| *part != id);
        let fitted = fitted.filter(|part| self.fleet.chain(*part, cutoff).contains(&id));
        let parts = fitted.filter_map(|part| {
            let part = self.fleet.item(part);
            proofs::as_part(self.set.kinds.kind(part.kind), part, &part.tag, regime)
        });
        let mut weaker: Vec<String> = parts
            .filter(|part| Force::of(load) > part.proof)
            .map(|part| format!("{} (own proof {} kN)", part.part, part.proof.kn_down()))
            .collect();
        weaker.sort_unstable();
        weaker
    }

    fn as_known(&self, person: &Person) -> String {
        let local = self.now.timestamp().to_zoned_datetime(self.zone_of(person).time_zone().clone());
        local.strftime("%-d %b %Y %H:%M (%Z)").to_string()
    }
}

fn said(kind: &'static str, notice: &ProofLoadNotice, lines: Vec<FreshLine>) -> Said {
    Said {
        kind,
        subject: notice.subject(),
        text: notice.text(),
        html: notice.html(),
        calendar: None,
        urgent: false,
        lines,
    }
}

fn of_fault(item: &Item, fault: &ProofFault) -> ProofNoticeError {
    let item = item.tag.to_string();
    match fault {
        ProofFault::Unknown(missing) => ProofNoticeError::Unknown { item, missing: missing.clone() },
        other => ProofNoticeError::Refused { item, reason: other.to_string() },
    }
}

/// The hold the rule records, where it names one.
fn hold(rule: &Rule) -> String {
    let held =
        rule.records.iter().find(|reading| ["hold", "held"].iter().any(|word| reading.name.contains(word)));
    match held.and_then(|reading| Some((reading.min?, reading.unit.clone().unwrap_or_default()))) {
        Some((least, unit)) => format!("{least} {unit}"),
        None => AS_THE_CODE_ASKS.to_owned(),
    }
}

fn text<'i>(item: &'i Item, column: &str) -> Option<&'i str> {
    item.attributes.iter().find(|(have, _)| **have == *column).and_then(|(_, value)| match value {
        Value::Text(text) => Some(text.as_str()),
        Value::Number(_) => None,
    })
}

fn share(item: &Item, judged: &Guard) -> Option<WireShare> {
    Some(WireShare {
        percent: judged.percent_of_breaking?.to_string(),
        mbf_kn: item.number(proofs::BREAKING_FORCE)?.to_string(),
        factor: item.number(proofs::TERMINATION)?.to_string(),
        strength_kn: judged.breaking_kn.clone()?,
    })
}
