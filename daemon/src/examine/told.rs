//! A report as it is read and printed: heading by heading, with what must follow a danger.

use policies::load::PolicySet;
use policies::zone::Instant;

use super::fields::{Field, Need};
use crate::records::{Defect, Examination};
use crate::register::{Places, RegisterFile};
use crate::store::current::Register;
use crate::store::{Store, StoreError};
use crate::why::day;

/// What regulation 10 asks of whoever finds a danger.
pub const DANGER_DUTIES: &str = "Danger (LOLER 1998, reg. 10, from memory, check against the text): tell the employer at \
     once; send the written report as soon as practicable (28 days is common practice); where there is an imminent risk \
     of serious injury, send a copy to the enforcing authority.";
/// How long reports are kept.
pub const KEPT: &str = "Kept until the next report or for two years, whichever is later (LOLER 1998, reg. 11, from memory, \
     check against the text); Tallow keeps it for good.";

/// Columns beyond the form, with their headings.
const MORE: [(&str, &str); 6] = [
    ("measurements", "Measurements"),
    ("judgement", "Judged by discard criteria"),
    ("decision", "Decision"),
    ("signed_by", "Signed by"),
    ("not_accepted", "Standing"),
    ("remarks", "Remarks"),
];

/// A report for reading.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Told {
    /// Number.
    pub number: String,
    /// Tag.
    pub item: String,
    /// Heading and text of every field.
    pub fields: Vec<(&'static str, String)>,
    /// Defects, one a line.
    pub defects: Vec<String>,
    /// What regulation 10 asks, where there is a danger.
    pub duties: Option<&'static str>,
    /// Whether it counts.
    pub accepted: bool,
}

/// What a report is told from: no use, no work.
///
/// # Errors
/// The database's own.
pub async fn records(store: &Store) -> Result<Register, StoreError> {
    Ok(Register {
        stations: store.newest().await?,
        items: store.newest().await?,
        examinations: store.newest().await?,
        defects: store.newest().await?,
        ..Register::default()
    })
}

/// The report of that number, as the register holds it.
pub fn report(set: &PolicySet, register: &Register, number: &str) -> Option<Told> {
    let row = register.examinations.get(number).filter(|row| !row.void)?;
    let places = Places::of(set, Instant::MAX, register);
    let mut defects: Vec<&Defect> =
        register.defects.values().filter(|defect| !defect.void && defect.report == number).collect();
    defects.sort_by(|a, b| a.key.cmp(&b.key));
    let danger = defects.iter().any(|defect| defect.danger != "none");
    Some(Told {
        number: number.to_owned(),
        item: row.item.clone(),
        fields: fields(set, row, &places),
        defects: defects.into_iter().map(defect).collect(),
        duties: danger.then_some(DANGER_DUTIES),
        accepted: row.not_accepted.is_none(),
    })
}

/// What Schedule 1 asks is printed even where nothing was stated.
fn fields(set: &PolicySet, row: &Examination, places: &Places) -> Vec<(&'static str, String)> {
    let cells = <Examination as RegisterFile>::COLUMNS.iter().zip(row.write(places));
    let field = |(column, text): (&crate::register::Column, String)| {
        if let Some((_, heading)) = MORE.iter().find(|(name, _)| *name == column.name) {
            let text = if column.name == "measurements" { measured(set, row) } else { text };
            return (!text.is_empty()).then_some((*heading, text));
        }
        let field = Field::named(column.name)?;
        match (text.is_empty(), field.need) {
            (false, _) => Some((field.heading, text)),
            (true, Need::Depends) => None,
            (true, _) => Some((field.heading, "not stated".to_owned())),
        }
    };
    cells.filter_map(field).collect()
}

/// `link diameter 11.66 mm` for each reading.
fn measured(set: &PolicySet, row: &Examination) -> String {
    let rule = set.find_rule(&row.rule).map(|id| set.rule(id));
    let pairs =
        row.measurements.as_deref().unwrap_or_default().split(';').filter_map(|pair| pair.split_once('='));
    let said = pairs.map(|(name, value)| {
        let reading = rule.and_then(|rule| rule.records.iter().find(|reading| reading.name == name));
        let unit = reading.and_then(|reading| reading.unit.as_deref()).map(|unit| format!(" {unit}"));
        format!("{name} {value}{}", unit.unwrap_or_default())
    });
    said.collect::<Vec<_>>().join("; ")
}

fn defect(row: &Defect) -> String {
    let danger = match row.by_date.as_deref() {
        Some(by) => format!("could be a danger by {}", day_words(by)),
        None if row.danger == "now" => "a danger NOW".to_owned(),
        None => "no danger".to_owned(),
    };
    let remedy = row.remedy.as_deref().map(|remedy| format!("; remedy: {remedy}")).unwrap_or_default();
    let cleared = row.cleared_by.as_deref().zip(row.cleared_on.as_deref());
    let cleared = cleared.map(|(by, on)| format!("; cleared on {}: {by}", day_words(on))).unwrap_or_default();
    format!("{}: {}: {}; {danger}{remedy}{cleared}", row.key, row.part, row.what)
}

/// `6 Oct 2026`; a text that is no day stays as it is.
fn day_words(text: &str) -> String {
    text.parse().map_or_else(|_| text.to_owned(), day)
}
