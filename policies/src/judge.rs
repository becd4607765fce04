//! What was recorded with work, judged by the discard criteria: readings as a rule names them, gear as the register
//! has it.

use crate::amount::Amount;
use crate::assess::{AssessFault, Assessment, Regime, Verdict, assess_item, measure_of};
use crate::rule::Rule;

/// The reading that a rule may record beside the others, and that is reckoned from them where nobody wrote it down.
pub const SEVERITY: &str = "severity";

/// Readings of one piece of work, judged together; readings that say the same thing twice are judged one by one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Judged {
    /// One, or several where the readings could not be judged together; the worst first.
    pub assessments: Vec<Assessment>,
    /// Readings that could not be judged at all, and why.
    pub faults: Vec<AssessFault>,
}

impl Judged {
    /// The worst of it; none where nothing could be judged.
    pub fn verdict(&self) -> Option<Verdict> {
        self.assessments.first().map(|found| found.verdict)
    }

    /// How much of the way to discard is used up, in percent, rounded up.
    pub fn severity(&self) -> Option<Amount> {
        self.assessments.first().and_then(|found| found.combined.written().parse().ok())
    }
}

/// Judges what was recorded with work on a rule, by the criteria of a regime. `attributes` are the item's columns,
/// `measurements` name and value as recorded. None where the criteria know none of the readings.
pub fn judge(
    kind: &str,
    regime: Regime,
    rule: &Rule,
    attributes: &[(&str, &str)],
    measurements: &[(&str, &str)],
) -> Option<Judged> {
    let measures: Vec<(&str, &str)> = measurements
        .iter()
        .filter_map(|(name, value)| {
            let record = rule.records.iter().find(|record| record.name == *name)?;
            Some((measure_of(kind, name, record.criterion.as_deref())?, *value))
        })
        .collect();
    if measures.is_empty() {
        return None;
    }
    if let Ok(found) = assess_item(kind, regime, attributes, &measures) {
        return Some(Judged { assessments: vec![found], faults: Vec::new() });
    }
    let (mut assessments, mut faults) = (Vec::new(), Vec::new());
    for measure in measures {
        match assess_item(kind, regime, attributes, &[measure]) {
            Ok(found) => assessments.push(found),
            Err(found) => faults.extend(found),
        }
    }
    assessments.sort_by_key(|found| std::cmp::Reverse((found.verdict, found.combined)));
    Some(Judged { assessments, faults })
}
