//! A form as rows of the register, so that it is judged and taken in as an import would be.

use policies::rule::Rule;

use super::fields::FIELDS;
use super::form::{DEFECT, Form};
use super::work_key;
use crate::records::{Defect, Examination, Work};
use crate::register::{RegisterFile, Sheet};

fn sheet(name: &str, header: &[&str], rows: Vec<Vec<String>>) -> Sheet {
    Sheet {
        name: name.to_owned(),
        file: name.to_owned(),
        header: header.iter().map(|name| (*name).to_owned()).collect(),
        rows: (1..).zip(rows).collect(),
    }
}

/// The row of the report. Whatever the form leaves empty is cleared; `more` adds what signing gave.
pub(super) fn examination(form: &Form, rule: Option<&Rule>, more: &[(&str, String)]) -> Sheet {
    let fields = FIELDS.iter().map(|field| (field.name, form.cell(field.name).to_owned()));
    let measurements = ("measurements", form.all(rule));
    let more = more.iter().map(|(name, text)| (*name, text.clone()));
    let (header, row): (Vec<&str>, Vec<String>) = fields.chain([measurements]).chain(more).unzip();
    sheet(Examination::NAME, &header, vec![row])
}

/// The rows of the defects, and as void those that an earlier version of the report held beyond them.
pub(super) fn defects(form: &Form, found_on: &str, gone: &[&Defect]) -> Sheet {
    let header: Vec<&str> =
        ["key", "item", "report", "found_on"].into_iter().chain(DEFECT).chain(["void"]).collect();
    let number = form.cell("number");
    let fixed = |key: String, item: &str| vec![key, item.to_owned(), number.to_owned(), found_on.to_owned()];
    let rows = (1..).zip(&form.defects).map(|(at, cells)| {
        let mut row = fixed(format!("{number}/{at}"), form.cell("item"));
        row.extend(DEFECT.map(|name| cells.get(name).cloned().unwrap_or_default()));
        row.push(String::new());
        row
    });
    let void = gone.iter().map(|row| {
        let by = row.by_date.clone().unwrap_or_default();
        let remedy = row.remedy.clone().unwrap_or_default();
        let mut cells = vec![row.key.clone(), row.item.clone(), row.report.clone(), row.found_on.clone()];
        cells.extend([row.part.clone(), row.what.clone(), row.danger.clone(), by, remedy, "yes".to_owned()]);
        cells
    });
    sheet(Defect::NAME, &header, rows.chain(void).collect())
}

/// The row of the work that the report records.
pub(super) fn work(form: &Form, rule: Option<&Rule>, at: &str, outcome: &str, note: &str) -> Sheet {
    let cells = [
        ("key", work_key(form.cell("number"))),
        ("item", form.cell("item").to_owned()),
        ("rule", form.cell("rule").to_owned()),
        ("done_at", at.to_owned()),
        ("outcome", outcome.to_owned()),
        ("by", form.cell("examiner").to_owned()),
        ("certificate", form.cell("number").to_owned()),
        ("measurements", rule.map(|rule| form.of_rule(rule)).unwrap_or_default()),
        ("note", note.to_owned()),
    ];
    let (header, row): (Vec<&str>, Vec<String>) = cells.into_iter().unzip();
    sheet(Work::NAME, &header, vec![row])
}
