//! `examinations.csv`: signed examination reports.

use super::{item, moment_text, note_future, or_empty, void_text};
use crate::records::Examination;
use crate::register::cells::{self, Cells, Moment};
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

/// Why an examination was made.
const KINDS: &[&str] = &["6-month", "12-month", "scheme", "exceptional circumstances", "after installation"];
const YES_OR_NO: &[&str] = &["yes", "no"];

impl RegisterFile for Examination {
    const NAME: &'static str = "examinations";
    const COLUMNS: &'static [Column] = &[
        needed("number"),
        needed("item"),
        needed("rule"),
        needed("examined_on"),
        optional("employer"),
        optional("employer_address"),
        optional("premises"),
        optional("identity"),
        optional("manufactured_on"),
        optional("last_examined_on"),
        optional("safe_working_load"),
        optional("kind"),
        optional("after_installation"),
        optional("installed_correctly"),
        optional("safe_to_operate"),
        optional("repair_needed"),
        optional("tests"),
        optional("next_due"),
        optional("examiner"),
        optional("examiner_address"),
        optional("qualification"),
        optional("employed_by"),
        optional("authenticated_by"),
        optional("reported_on"),
        optional("instrument"),
        optional("calibration_due"),
        optional("measurements"),
        optional("judgement"),
        optional("decision"),
        optional("signed_by"),
        optional("not_accepted"),
        optional("remarks"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("number")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Examination>) -> Option<Examination> {
        let item = item(cells, places, "item", stored.map(|s| &s.item)).unwrap_or_default();
        let before = stored.map(|s| Moment { at: s.at, day: s.day.clone() });
        let at = cells.needed_moment("examined_on", places.zone_of(&item), before);
        note_future(cells, places, "examined_on", at.as_ref());
        let row = Examination {
            key: cells.key("number")?,
            void: cells.void(stored.map(|s| s.void)),
            rule: cells.needed("rule", stored.map(|s| &s.rule)).unwrap_or_default(),
            at: at.as_ref().map(|at| at.at).unwrap_or_default(),
            day: at.and_then(|at| at.day),
            item,
            ..found(cells, stored, signed(cells, stored))
        };
        let rule_known = places.set.find_rule(&row.rule).is_some();
        if !rule_known && !row.rule.is_empty() && stored.is_none_or(|stored| stored.rule != row.rule) {
            cells.fault("rule", format!("\"{}\" is no rule of the policy set", row.rule));
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, places: &Places) -> Vec<String> {
        let text = |text: &Option<String>| or_empty(text.as_ref());
        vec![
            self.key.clone(),
            self.item.clone(),
            self.rule.clone(),
            moment_text(self.at, self.day.as_ref(), places.zone_of(&self.item)),
            text(&self.employer),
            text(&self.employer_address),
            text(&self.premises),
            text(&self.identity),
            text(&self.manufactured_on),
            text(&self.last_examined_on),
            text(&self.safe_working_load),
            text(&self.kind),
            text(&self.after_installation),
            text(&self.installed_correctly),
            text(&self.safe_to_operate),
            text(&self.repair_needed),
            text(&self.tests),
            text(&self.next_due),
            text(&self.examiner),
            text(&self.examiner_address),
            text(&self.qualification),
            text(&self.employed_by),
            text(&self.authenticated_by),
            text(&self.reported_on),
            text(&self.instrument),
            text(&self.calibration_due),
            text(&self.measurements),
            text(&self.judgement),
            text(&self.decision),
            text(&self.signed_by),
            text(&self.not_accepted),
            text(&self.remarks),
            void_text(self.void),
        ]
    }
}

type Field = fn(&Examination) -> &Option<String>;

/// Reads one cell that may be empty, over what is stored.
fn may(cells: &Cells, stored: Option<&Examination>, column: &str, field: Field) -> Option<String> {
    cells.may(column, stored.map(field))
}

/// Who made the report, and what became of it.
fn signed(cells: &Cells, stored: Option<&Examination>) -> Examination {
    let may = |column, field: Field| may(cells, stored, column, field);
    Examination {
        examiner: may("examiner", |s| &s.examiner),
        examiner_address: may("examiner_address", |s| &s.examiner_address),
        qualification: may("qualification", |s| &s.qualification),
        employed_by: may("employed_by", |s| &s.employed_by),
        authenticated_by: may("authenticated_by", |s| &s.authenticated_by),
        reported_on: cells.date("reported_on", may("reported_on", |s| &s.reported_on)),
        instrument: may("instrument", |s| &s.instrument),
        calibration_due: cells.date("calibration_due", may("calibration_due", |s| &s.calibration_due)),
        measurements: may("measurements", |s| &s.measurements),
        judgement: may("judgement", |s| &s.judgement),
        decision: may("decision", |s| &s.decision),
        signed_by: may("signed_by", |s| &s.signed_by),
        not_accepted: may("not_accepted", |s| &s.not_accepted),
        remarks: may("remarks", |s| &s.remarks),
        ..Examination::default()
    }
}

/// What was examined and found.
fn found(cells: &Cells, stored: Option<&Examination>, signed: Examination) -> Examination {
    let may = |column, field: Field| may(cells, stored, column, field);
    let word = |column, field: Field, words| cells.word(column, may(column, field), words);
    let or_none = |column, field: Field| {
        cells.checked(column, may(column, field), |text| match text {
            "none" => Ok(()),
            date => cells::date(date).map(drop).map_err(|wrong| format!("{wrong}, or none")),
        })
    };
    Examination {
        employer: may("employer", |s| &s.employer),
        employer_address: may("employer_address", |s| &s.employer_address),
        premises: may("premises", |s| &s.premises),
        identity: may("identity", |s| &s.identity),
        manufactured_on: cells.date("manufactured_on", may("manufactured_on", |s| &s.manufactured_on)),
        last_examined_on: or_none("last_examined_on", |s| &s.last_examined_on),
        safe_working_load: may("safe_working_load", |s| &s.safe_working_load),
        kind: word("kind", |s| &s.kind, KINDS),
        after_installation: word("after_installation", |s| &s.after_installation, YES_OR_NO),
        installed_correctly: word("installed_correctly", |s| &s.installed_correctly, YES_OR_NO),
        safe_to_operate: word("safe_to_operate", |s| &s.safe_to_operate, YES_OR_NO),
        repair_needed: may("repair_needed", |s| &s.repair_needed),
        tests: may("tests", |s| &s.tests),
        next_due: or_none("next_due", |s| &s.next_due),
        ..signed
    }
}
