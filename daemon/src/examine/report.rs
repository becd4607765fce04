//! A form against the register: what cannot be right, what is still lacking, and what the criteria say.

use policies::assess::{Assessment, Verdict};
use policies::load::PolicySet;
use policies::rule::{Rule, Work as RuleWork};
use policies::zone::Instant;

use super::form::Form;
use super::{FieldFault, judge, lacks, sheets};
use crate::judgement;
use crate::records::{Defect, Examination, Item, Person, Work};
use crate::register::{Faults, Places, Sheet, read_rows};
use crate::store::current::Register;

/// Work that somebody does to gear, as against looking at it.
const MAINTENANCE: [RuleWork; 6] = [
    RuleWork::Lubrication,
    RuleWork::EndForEnd,
    RuleWork::Crop,
    RuleWork::Overhaul,
    RuleWork::Renewal,
    RuleWork::Repair,
];

/// A form, read and judged.
#[derive(Debug)]
pub struct Report {
    /// As it was written.
    pub form: Form,
    /// The record it makes, where it can be read.
    pub examination: Option<Examination>,
    /// Its defects that can be read.
    pub defects: Vec<Defect>,
    /// What the discard criteria say of the readings.
    pub judged: Option<Assessment>,
    /// What cannot be right.
    pub faults: Vec<FieldFault>,
    /// What must still be filled in before it can be signed.
    pub lacks: Vec<FieldFault>,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// What a form is judged against.
struct Beside<'r> {
    register: &'r Register,
    places: Places<'r>,
    rule: Option<&'r Rule>,
    item: Option<&'r Item>,
}

impl Report {
    /// Reads a form against the register as it stands.
    pub fn of(form: Form, set: &PolicySet, register: &Register, now: Instant) -> Report {
        let rule = set.find_rule(form.cell("rule")).map(|id| set.rule(id));
        let item = register.items.get(form.cell("item")).filter(|item| !item.void);
        let beside = Beside { register, places: Places::of(set, now, register), rule, item };
        let lacks = lacks::lacks(&form, rule);
        let mut report = Report {
            form,
            examination: None,
            defects: Vec::new(),
            judged: None,
            faults: Vec::new(),
            lacks,
            notes: Vec::new(),
        };
        report.read(&beside);
        report.judge(&beside);
        report.check(&beside);
        report.settle();
        report
    }

    /// Whether the criteria ask for discard.
    pub fn is_discard(&self) -> bool {
        self.judged.as_ref().is_some_and(|found| found.verdict == Verdict::Discard)
    }

    /// Whether the examiner found it safe.
    pub fn is_safe(&self) -> bool {
        self.form.cell("safe_to_operate") == "yes"
    }

    /// The judgement in one line.
    pub fn judgement(&self) -> String {
        self.judged.as_ref().map(judgement::says).unwrap_or_default()
    }

    /// The day of the examination, where the item is.
    pub fn day(&self, places: &Places) -> String {
        let Some(row) = &self.examination else {
            return self.form.cell("examined_on").chars().take(10).collect();
        };
        let day = || places.zone_of(&row.item).date_of(Instant(row.at)).to_string();
        row.day.clone().unwrap_or_else(day)
    }

    /// The instrument's calibration had run out by then.
    fn is_doubtful(&self, day: &str) -> bool {
        let due = self.form.cell("calibration_due");
        !due.is_empty() && due < day && !self.form.measurements.is_empty()
    }

    fn fault(&mut self, field: &str, message: impl Into<String>) {
        self.faults.push(FieldFault::new(field, message));
    }

    /// Reads the form as rows of the register.
    fn read(&mut self, beside: &Beside) {
        let faults = Faults::default();
        let (form, places) = (&self.form, &beside.places);
        let outcome = if self.is_safe() { "passed" } else { "failed" };
        self.examination = read_rows(places, &sheets::examination(form, beside.rule, &[]), &faults).pop();
        // Readings are judged even where the day is still missing or wrong.
        let at = match &self.examination {
            Some(_) => form.cell("examined_on").to_owned(),
            None => places.zone_of(form.cell("item")).date_of(places.now).to_string(),
        };
        let _: Vec<Work> = read_rows(places, &sheets::work(form, beside.rule, &at, outcome, ""), &faults);
        let complete = form
            .defects
            .iter()
            .all(|defect| ["part", "what", "danger"].iter().all(|name| defect.contains_key(*name)));
        if complete {
            self.defects = read_rows(places, &sheets::defects(form, &self.day(places), &[]), &faults);
        }
        for fault in faults.take().0 {
            let field = match (fault.file.as_str(), fault.column.as_str()) {
                ("defects", column) => format!("defect {}.{column}", fault.row),
                (_, "key") => "number".to_owned(),
                (_, "done_at") => "examined_on".to_owned(),
                (_, column) => column.to_owned(),
            };
            self.faults.push(FieldFault::new(field, fault.message));
        }
        self.faults.extend(beside.rule.map(|rule| self.form.wrong_units(rule)).unwrap_or_default());
    }

    fn judge(&mut self, beside: &Beside) {
        let (Some(item), Some(rule)) = (beside.item, beside.rule) else { return };
        if !self.form.wrong_units(rule).is_empty() {
            return;
        }
        let judged = judge::judge(item, beside.places.set.service.regime, rule, &self.form);
        self.judged = judged.found;
        self.faults.extend(judged.faults);
        self.notes.extend(judged.notes);
    }

    fn check(&mut self, beside: &Beside) {
        if let Some(item) = beside.item {
            self.check_identity(item, beside);
        }
        self.check_days(beside);
        self.check_safety();
        let day = self.day(&beside.places);
        if self.is_doubtful(&day) {
            let (instrument, due) = (self.form.cell("instrument"), self.form.cell("calibration_due"));
            self.notes.push(format!(
                "{instrument} was out of calibration since {due}: the readings are kept, marked doubtful; take them \
                 again with one that is in calibration"
            ));
        }
    }

    /// A report of another item.
    fn check_identity(&mut self, item: &Item, beside: &Beside) {
        let (number, identity) = (self.form.cell("number").to_owned(), self.form.cell("identity").to_owned());
        let words = identity.split(|c: char| c.is_whitespace() || ",;()".contains(c));
        let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
        let other = words.iter().find(|word| **word != item.key && beside.places.has_item(word));
        let serial = item.serial.as_deref().filter(|serial| !serial.is_empty());
        let named =
            words.contains(&item.key.as_str()) || serial.is_some_and(|serial| identity.contains(serial));
        if let Some(other) = other {
            self.fault(
                "identity",
                format!("names {other}, but this is the report of {}; correct item or identity", item.key),
            );
        } else if !named && !identity.is_empty() {
            let serial = serial.map(|serial| format!(" nor serial {serial}")).unwrap_or_default();
            self.fault(
                "identity",
                format!("names neither {}{serial}; is this the report of another item?", item.key),
            );
        }
        let made = self.form.cell("manufactured_on").to_owned();
        if let Some(known) = item.manufactured_on.as_ref().filter(|known| !made.is_empty() && **known != made)
        {
            self.fault("manufactured_on", format!("{made} is not {known}, as the register has it for {}; is this the report of another item?", item.key));
        }
        if let Some(others) = owner_of(beside.register, &number, &item.key) {
            self.fault(
                "number",
                format!("{number} is on record for {others}, not for {}; correct item or number", item.key),
            );
        }
    }

    fn check_days(&mut self, beside: &Beside) {
        let day = self.day(&beside.places);
        let ahead = self.examination.as_ref().is_some_and(|row| row.at > beside.places.now.0);
        if ahead {
            self.fault("examined_on", format!("{day} lies ahead; correct the date"));
        }
        let earlier = |field: &str| {
            let text = self.form.cell(field);
            (!text.is_empty() && text != "none" && text < day.as_str()).then(|| text.to_owned())
        };
        let (reported, next) = (earlier("reported_on"), earlier("next_due"));
        if let Some(reported) = reported {
            self.fault("reported_on", format!("{reported} lies before examined_on {day}"));
        }
        if let Some(next) = next {
            self.fault("next_due", format!("{next} lies before examined_on {day}"));
        }
    }

    /// What is a danger is not safe.
    fn check_safety(&mut self) {
        if !self.is_safe() {
            return;
        }
        let danger = |defect: &std::collections::BTreeMap<String, String>| {
            defect.get("danger").is_some_and(|word| word == "now")
        };
        if let Some(at) = self.form.defects.iter().position(danger) {
            self.fault("safe_to_operate", format!("is yes, but defect {} is a danger now; write no", at + 1));
        }
        if self.form.cell("installed_correctly") == "no" {
            self.fault(
                "safe_to_operate",
                "is yes, but installed_correctly is no; write no, or put it right first",
            );
        }
        if self.form.cell("next_due") == "none" {
            self.fault(
                "next_due",
                "is none, but it is safe to operate; give the latest date of the next examination",
            );
        }
    }

    /// Each fault once; an empty field is a fault only where it is nothing that may come later.
    fn settle(&mut self) {
        self.faults.extend(std::mem::take(&mut self.form.faults));
        self.faults.retain(|fault| !self.lacks.iter().any(|lack| lack.field == fault.field));
        self.faults.sort();
        self.faults.dedup();
    }

    /// Rows that signing takes in: the report, its defects, and the work where it counts.
    pub(crate) fn rows(
        &self,
        set: &PolicySet,
        places: &Places,
        stored: &[&Defect],
        signed: &[(&str, String)],
    ) -> Vec<Sheet> {
        let rule = set.find_rule(self.form.cell("rule")).map(|id| set.rule(id));
        let examination = sheets::examination(&self.form, rule, signed);
        vec![examination, sheets::defects(&self.form, &self.day(places), stored)]
    }

    /// The row of its work.
    pub(crate) fn work(&self, set: &PolicySet, outcome: &str) -> Sheet {
        let rule = set.find_rule(self.form.cell("rule")).map(|id| set.rule(id));
        sheets::work(&self.form, rule, self.form.cell("examined_on"), outcome, &self.notes.join("; "))
    }

    /// Independence: whoever examines should not have done the last work on it.
    pub(crate) fn independence(
        &self,
        set: &PolicySet,
        register: &Register,
        signer: &Person,
    ) -> Option<String> {
        let item = self.form.cell("item");
        let maintained = |work: &&Work| {
            let rule = set.find_rule(&work.rule).map(|id| set.rule(id).work);
            !work.void && work.item == item && rule.is_some_and(|work| MAINTENANCE.contains(&work))
        };
        let last =
            register.work.values().filter(maintained).max_by_key(|work| (work.at, work.key.clone()))?;
        let by = last.by.as_deref()?;
        let same = [signer.key.as_str(), signer.name.as_str(), self.form.cell("examiner")].contains(&by);
        same.then(|| format!("not independent: {by} also did the last work on it ({})", last.rule))
    }
}

/// The items for which a number is on record, if this is none of them.
fn owner_of(register: &Register, number: &str, item: &str) -> Option<String> {
    let papers = register.certificates.values().filter(|row| !row.void && row.number == number);
    let mut owners: Vec<&str> = papers.map(|row| row.item.as_str()).collect();
    owners.sort_unstable();
    owners.dedup();
    let report = register.examinations.get(number).filter(|row| !row.void).map(|row| row.item.as_str());
    let mine = report.map_or_else(|| owners.is_empty() || owners.contains(&item), |owner| owner == item);
    (!mine).then(|| report.map_or_else(|| owners.join(", "), str::to_owned))
}
