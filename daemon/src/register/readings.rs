//! Readings of work as they come in: what is missing, what cannot be, and what has grown.

use policies::amount::Amount;
use policies::assess::{AssessFault, measures};
use policies::judge::SEVERITY;
use policies::load::PolicySet;
use policies::proofs::{LOAD, load_reading};
use policies::rule::{Reading, Rule};
use policies::zone::Instant;

use super::places::Places;
use crate::records::Work;
use crate::store::current::Register;
use crate::store::fleet::{judged, pairs};

/// How far a gauge may read a worn part thicker than it was read before: more is a slip (house).
const MOST_GROWTH_MILLIONTHS: i64 = 300_000;

/// Readings without which passed or done work on a rule says nothing; none where it has them.
pub(super) fn lacking(rule: &Rule, work: &Work) -> Option<String> {
    if work.void || work.outcome == "failed" {
        return None;
    }
    let given: Vec<&str> = pairs(work.measurements.as_deref()).map(|(name, _)| name).collect();
    if load_reading(rule).is_some() && !given.contains(&LOAD) {
        return Some(format!("is empty; {} is passed by the load reached: give {LOAD} in kN", rule.id));
    }
    let judged: Vec<&str> = rule.records.iter().filter(|r| r.criterion.is_some()).map(|r| &*r.name).collect();
    if judged.is_empty() || judged.iter().any(|name| given.contains(name)) {
        return None;
    }
    let alone = if given.contains(&SEVERITY) { "; severity alone is no reading" } else { "" };
    Some(format!("holds nothing that was read; {} records {}{alone}", rule.id, judged.join(", ")))
}

/// A severity written down that is below what its own readings come to.
pub(super) fn understated(set: &PolicySet, register: &Register, work: &Work) -> Option<String> {
    let written: Amount = severity(work)?;
    let item = register.items.get(&work.item)?;
    let reckoned = judged(set, item, work)?.severity()?;
    (written < reckoned).then(|| {
        format!("severity = {written} is below {reckoned}, which its readings come to; {reckoned} counts")
    })
}

fn severity(work: &Work) -> Option<Amount> {
    let mut own = pairs(work.measurements.as_deref());
    own.find(|(name, _)| *name == SEVERITY)?.1.parse().ok()
}

/// Work as it is recorded live.
pub(super) struct Live<'r> {
    pub(super) places: &'r Places<'r>,
    pub(super) register: &'r Register,
    pub(super) work: &'r Work,
}

impl Live<'_> {
    /// What cannot be taken as it is.
    pub(super) fn wrong(&self) -> Option<String> {
        let rule = self.rule()?;
        lacking(rule, self.work).or_else(|| {
            let unreadable = |fault: &AssessFault| matches!(fault, AssessFault::Unreadable { .. });
            self.faults().into_iter().find(unreadable).map(|fault| fault.to_string())
        })
    }

    /// What is most likely a slip, and is taken only when it was read again.
    pub(super) fn doubtful(&self) -> Vec<String> {
        let faults =
            self.faults().into_iter().filter(|fault| matches!(fault, AssessFault::Implausible { .. }));
        let mut found: Vec<String> = faults.map(|fault| fault.to_string()).collect();
        found.extend(self.grown());
        found
    }

    fn rule(&self) -> Option<&Rule> {
        Some(self.places.set.rule(self.places.set.find_rule(&self.work.rule)?))
    }

    /// Faults of what was read; what the register says of the gear is not this work's.
    fn faults(&self) -> Vec<AssessFault> {
        let Some(item) = self.register.items.get(&self.work.item) else { return Vec::new() };
        let mut faults =
            judged(self.places.set, item, self.work).map(|found| found.faults).unwrap_or_default();
        faults.retain(|fault| match fault {
            AssessFault::Unreadable { name, .. } | AssessFault::Implausible { name, .. } => {
                measures(&item.kind).any(|own| own == name)
            }
            _ => false,
        });
        faults
    }

    /// Sizes read thicker than at the work before.
    fn grown(&self) -> Vec<String> {
        let Some(rule) = self.rule() else { return Vec::new() };
        let sizes = rule.records.iter().filter(|reading| is_size(reading));
        let grown = sizes.filter_map(|reading| {
            let now = Self::read(self.work, &reading.name)?;
            let (before, on) = self.before(&reading.name)?;
            let most = before + Amount::from_millionths(MOST_GROWTH_MILLIONTHS);
            (now > most).then(|| {
                format!(
                    "{} = {now} mm, but it was read as {before} mm on {on}, and worn gear does not grow; read it again",
                    reading.name
                )
            })
        });
        grown.collect()
    }

    fn read(work: &Work, name: &str) -> Option<Amount> {
        pairs(work.measurements.as_deref()).find(|(have, _)| *have == name)?.1.parse().ok()
    }

    /// The last reading of that name before this work, and its day.
    fn before(&self, name: &str) -> Option<(Amount, String)> {
        let own = self.register.work.values().filter(|row| {
            !row.void && (&row.item, &row.rule) == (&self.work.item, &self.work.rule) && row.at < self.work.at
        });
        let read = own.filter_map(|row| Some((row, Self::read(row, name)?)));
        let (row, value) = read.max_by_key(|(row, _)| (row.at, &row.key))?;
        let day = || self.places.zone_of(&row.item).date_of(Instant(row.at)).to_string();
        Some((value, row.day.clone().unwrap_or_else(day)))
    }
}

/// A thickness that wear takes from.
fn is_size(reading: &Reading) -> bool {
    let criterion = reading.criterion.as_deref().is_some_and(|word| word.ends_with("diameter"));
    criterion && reading.unit.as_deref() == Some("mm")
}
