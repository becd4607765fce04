//! A form as rows of the register, so that it is judged and taken in as an import would be.

use std::collections::BTreeMap;

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

/// The rows of the defects, and as void those that an earlier version of the report held beyond them. A defect keeps
/// its clearance only while it is the same defect: rows are numbered, and a corrected report may number them anew.
pub(super) fn defects(form: &Form, found_on: &str, stored: &[&Defect]) -> Sheet {
    let header: Vec<&str> = ["key", "item", "report", "found_on"]
        .into_iter()
        .chain(DEFECT)
        .chain(["cleared_by", "cleared_on", "void"])
        .collect();
    let number = form.cell("number");
    let fixed = |key: String, item: &str| vec![key, item.to_owned(), number.to_owned(), found_on.to_owned()];
    let mut rows = Vec::new();
    for (at, cells) in (1..).zip(&form.defects) {
        let mut row = fixed(format!("{number}/{at}"), form.cell("item"));
        row.extend(DEFECT.map(|name| cells.get(name).cloned().unwrap_or_default()));
        row.extend(clearance(cells, stored));
        row.push(String::new());
        rows.push(row);
    }
    let gone = stored.iter().filter(|row| !rows.iter().any(|kept| kept[0] == row.key)).map(|row| void(row));
    let gone: Vec<Vec<String>> = gone.collect();
    rows.extend(gone);
    sheet(Defect::NAME, &header, rows)
}

fn void(row: &Defect) -> Vec<String> {
    let text = |text: &Option<String>| text.clone().unwrap_or_default();
    let mut cells = vec![row.key.clone(), row.item.clone(), row.report.clone(), row.found_on.clone()];
    cells.extend([row.part.clone(), row.what.clone(), row.danger.clone()]);
    cells.extend([&row.by_date, &row.remedy, &row.cleared_by, &row.cleared_on].map(text));
    cells.push("yes".to_owned());
    cells
}

/// By whom and when the same defect was cleared: nothing where one like it is open.
fn clearance(cells: &BTreeMap<String, String>, stored: &[&Defect]) -> [String; 2] {
    let cell = |name: &str| cells.get(name).map_or("", String::as_str);
    let same = |row: &&&Defect| {
        (row.part.as_str(), row.what.as_str(), row.danger.as_str())
            == (cell("part"), cell("what"), cell("danger"))
            && row.by_date.as_deref().unwrap_or_default() == cell("by_date")
    };
    let alike: Vec<&Defect> = stored.iter().filter(same).copied().collect();
    let open = alike.iter().any(|row| row.cleared_by.is_none());
    let cleared = alike.first().filter(|_| !open).map(|row| [row.cleared_by.clone(), row.cleared_on.clone()]);
    cleared.unwrap_or_default().map(Option::unwrap_or_default)
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
