//! Work as a page tells it: read as an import would read it, and judged before it is recorded.

use policies::assess::Verdict;
use policies::load::PolicySet;
use policies::rule::{Reading, Rule};
use policies::zone::Instant;

use crate::desk::DeskError;
use crate::judgement;
use crate::people::asks_competence;
use crate::records::{Item, Work};
use crate::register::{Faults, RowFault, Sheet, read_one};
use crate::store::current::Register;
use crate::store::fleet::judged;
use crate::web::Web;

/// Work before it is read. Readings stand under `m0`, `m1`, …, in the order of the rule.
#[derive(Clone, Debug, Default)]
pub(in crate::web) struct Doing {
    pub(in crate::web) key: String,
    pub(in crate::web) item: String,
    pub(in crate::web) rule: String,
    pub(in crate::web) at: String,
    pub(in crate::web) outcome: String,
    pub(in crate::web) by: String,
    pub(in crate::web) certificate: String,
    pub(in crate::web) note: String,
    /// The readings were taken again and are so.
    pub(in crate::web) confirmed: bool,
    /// Each reading's index and text.
    pub(in crate::web) readings: Vec<(usize, String)>,
}

/// Work as it was read.
#[derive(Debug, Default)]
pub(in crate::web) struct Looked {
    pub(in crate::web) work: Option<Work>,
    pub(in crate::web) faults: Vec<RowFault>,
    /// What the criteria and the rule's own limits say.
    pub(in crate::web) says: Vec<String>,
    pub(in crate::web) verdict: Option<Verdict>,
    /// Something is worth a second look.
    pub(in crate::web) pauses: bool,
}

impl Doing {
    /// With the fields of a form.
    pub(in crate::web) fn of(rule: &Rule, item: &str, field: impl Fn(&str) -> String) -> Doing {
        let readings = (0..rule.records.len()).map(|at| (at, field(&format!("m{at}"))));
        Doing {
            key: String::new(),
            item: item.to_owned(),
            rule: rule.id.clone(),
            at: field("at"),
            outcome: field("outcome"),
            by: field("by"),
            certificate: field("certificate"),
            note: field("note"),
            confirmed: field("confirm_reading") == "yes",
            readings: readings.filter(|(_, text)| !text.is_empty()).collect(),
        }
    }

    fn measurements(&self, rule: &Rule) -> String {
        let named = self.readings.iter().filter_map(|(at, text)| {
            let reading = rule.records.get(*at)?;
            // A comma is how much of the coast writes a decimal point.
            Some(format!("{}={}", reading.name, text.replace(',', ".")))
        });
        named.collect::<Vec<_>>().join(";")
    }

    fn sheet(&self, rule: &Rule) -> Sheet {
        let confirmed = self.confirmed.then_some("reading taken again and confirmed");
        let note: Vec<&str> =
            Some(self.note.as_str()).filter(|note| !note.is_empty()).into_iter().chain(confirmed).collect();
        let cells = [
            ("key", self.key.clone()),
            ("item", self.item.clone()),
            ("rule", self.rule.clone()),
            ("done_at", self.at.clone()),
            ("outcome", self.outcome.clone()),
            ("by", self.by.clone()),
            ("certificate", self.certificate.clone()),
            ("measurements", self.measurements(rule)),
            ("note", note.join("; ")),
        ];
        let (header, row) = cells.into_iter().map(|(name, cell)| (name.to_owned(), cell)).unzip();
        Sheet { name: "work".to_owned(), file: "work".to_owned(), header, rows: vec![(1, row)] }
    }

    /// Reads and judges it.
    pub(in crate::web) fn look(&self, set: &PolicySet, register: &Register, now: Instant) -> Looked {
        let Some(rule) = set.find_rule(&self.rule).map(|id| set.rule(id)) else { return Looked::default() };
        let faults = Faults::default();
        let work = read_one(set, register, now, &self.sheet(rule), self.confirmed, &faults);
        let mut looked = Looked { faults: faults.take().0, ..Looked::default() };
        if let (Some(work), Some(item)) = (&work, register.items.get(&self.item)) {
            looked.judge(set, rule, item, work);
        }
        looked.work = work;
        looked
    }

    /// The same over the records as they stand.
    ///
    /// # Errors
    /// The store's own.
    pub(in crate::web) async fn look_now(&self, web: &Web) -> Result<Looked, DeskError> {
        let register = web.desk.store.register(None).await?;
        Ok(self.look(&web.desk.set, &register, web.desk.now()))
    }
}

impl Looked {
    fn judge(&mut self, set: &PolicySet, rule: &Rule, item: &Item, work: &Work) {
        let found = judged(set, item, work);
        if let Some(found) = &found {
            self.says = judgement::of_readings(found);
            self.verdict = found.verdict();
        }
        let beyond = beyond(rule, work.measurements.as_deref());
        self.pauses = !beyond.is_empty() || self.verdict.is_some_and(|verdict| verdict != Verdict::Accept);
        self.says.extend(beyond);
    }
}

/// Readings beyond the rule's own limits.
fn beyond(rule: &Rule, measurements: Option<&str>) -> Vec<String> {
    let pairs = crate::store::fleet::pairs(measurements);
    let found = pairs.filter_map(|(name, value)| {
        let reading = rule.records.iter().find(|reading| reading.name == name)?;
        let value: policies::amount::Amount = value.parse().ok()?;
        let below = reading.min.filter(|min| value < *min).map(|min| format!("below {min}"));
        let over = reading.max.filter(|max| value > *max).map(|max| format!("over {max}"));
        let unit = unit(reading);
        Some(format!("{name} {value}{unit} is {}{unit}", below.or(over)?))
    });
    found.collect()
}

pub(super) fn unit(reading: &Reading) -> String {
    reading.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default()
}

/// Whether the form asks who did it: where a competence is needed, and where somebody else writes it up.
pub(in crate::web) fn asks_who(rule: &Rule, whose: &str) -> bool {
    asks_competence(rule) || whose == "clerk"
}
