//! The readings of a report, judged by the published discard criteria.

use policies::assess::{AssessFault, Assessment, Regime, assess_item, measure_of};
use policies::rule::Rule;

use super::FieldFault;
use super::form::Form;
use crate::records::{self, Item};

/// What the criteria say of the readings.
#[derive(Debug, Default)]
pub(super) struct Judged {
    pub(super) found: Option<Assessment>,
    pub(super) faults: Vec<FieldFault>,
    pub(super) notes: Vec<String>,
}

/// Judges the readings that criteria know. A reading that gear of this kind cannot have is a fault; criteria that
/// cannot be applied, since the register does not say enough, are a note.
pub(super) fn judge(item: &Item, regime: Regime, rule: &Rule, form: &Form) -> Judged {
    let texts = form.all(Some(rule));
    let pairs = texts.split(';').filter_map(|pair| pair.split_once('='));
    let named: Vec<(&str, &str, &str)> =
        pairs.filter_map(|(name, value)| Some((name, measure(item, rule, name)?, value))).collect();
    let measures: Vec<(&str, &str)> = named.iter().map(|(_, measure, value)| (*measure, *value)).collect();
    if measures.is_empty() {
        return Judged::default();
    }
    let attributes: Vec<(&str, &str)> = records::attributes(item.attributes.as_deref()).collect();
    match assess_item(&item.kind, regime, &attributes, &measures) {
        Ok(found) => Judged { found: Some(found), ..Judged::default() },
        Err(faults) => sorted(faults, &named),
    }
}

/// The measure of a reading; a name that the rule does not record is taken as the criteria's own.
fn measure<'n>(item: &Item, rule: &Rule, name: &'n str) -> Option<&'n str> {
    match rule.records.iter().find(|reading| reading.name == name) {
        Some(reading) => measure_of(&item.kind, name, reading.criterion.as_deref()),
        None => Some(name),
    }
}

/// Faults of readings by the name that the form has for them, and as notes what keeps criteria from being applied.
fn sorted(faults: Vec<AssessFault>, named: &[(&str, &str, &str)]) -> Judged {
    let mut judged = Judged::default();
    for fault in faults {
        let said = fault.to_string();
        match fault {
            AssessFault::UnknownMeasure { name, .. }
            | AssessFault::Misplaced { name, .. }
            | AssessFault::Unreadable { name, .. }
            | AssessFault::Twice { name, .. }
            | AssessFault::Implausible { name, .. } => {
                let own =
                    named.iter().find(|(_, measure, _)| *measure == name).map_or(&*name, |(own, ..)| own);
                let message = said.strip_prefix(&format!("{name}: ")).unwrap_or(&said);
                judged.faults.push(FieldFault::new(format!("measurements.{own}"), message));
            }
            AssessFault::UnknownKind { .. }
            | AssessFault::UnknownAttribute { .. }
            | AssessFault::Missing { .. }
            | AssessFault::NotInTable { .. }
            | AssessFault::Table { .. } => {
                judged.notes.push(format!("not judged by discard criteria: {said}"));
            }
        }
    }
    judged
}
