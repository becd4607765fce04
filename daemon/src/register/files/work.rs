//! `work.csv`.

use policies::amount::Amount;
use policies::rule::{Reading, Rule};

use super::{item, moment_text, note_future, or_empty, void_text};
use crate::records::Work;
use crate::register::cells::{Cells, Moment};
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

const OUTCOMES: &[&str] = &["passed", "failed", "done"];

impl RegisterFile for Work {
    const NAME: &'static str = "work";
    const COLUMNS: &'static [Column] = &[
        needed("key"),
        needed("item"),
        needed("rule"),
        needed("done_at"),
        needed("outcome"),
        optional("by"),
        optional("certificate"),
        optional("measurements"),
        optional("note"),
        optional("void"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        cells.key("key")
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Work>) -> Option<Work> {
        let tag = item(cells, places, "item", stored.map(|s| &s.item))?;
        let before = stored.map(|s| Moment { at: s.at, day: s.day.clone() });
        let at = cells.needed_moment("done_at", places.zone_of(&tag), before);
        let outcome = cells.needed("outcome", stored.map(|s| &s.outcome));
        note_future(cells, places, "done_at", at.as_ref());
        let row = Work {
            key: cells.key("key")?,
            void: cells.void(stored.map(|s| s.void)),
            rule: cells.needed("rule", stored.map(|s| &s.rule)).unwrap_or_default(),
            at: at.as_ref().map(|at| at.at).unwrap_or_default(),
            day: at.and_then(|at| at.day),
            outcome: cells.word("outcome", outcome, OUTCOMES).unwrap_or_default(),
            by: cells.may("by", stored.map(|s| &s.by)),
            certificate: cells.may("certificate", stored.map(|s| &s.certificate)),
            measurements: cells.may("measurements", stored.map(|s| &s.measurements)),
            note: cells.may("note", stored.map(|s| &s.note)),
            item: tag,
        };
        // A row that says nothing new may name a rule that a later policy dropped.
        if !cells.is_bad() && stored != Some(&row) {
            check_rule(cells, places, &row);
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, places: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.item.clone(),
            self.rule.clone(),
            moment_text(self.at, self.day.as_ref(), places.zone_of(&self.item)),
            self.outcome.clone(),
            or_empty(self.by.as_ref()),
            or_empty(self.certificate.as_ref()),
            or_empty(self.measurements.as_ref()),
            or_empty(self.note.as_ref()),
            void_text(self.void),
        ]
    }
}

fn check_rule(cells: &Cells, places: &Places, row: &Work) {
    let Some(id) = places.set.find_rule(&row.rule) else {
        cells.fault(
            "rule",
            format!("\"{}\" is no rule of the policy set; see tallow due --item {}", row.rule, row.item),
        );
        return;
    };
    let rule = places.set.rule(id);
    let kinds = &places.set.kinds;
    let wanted = &kinds.kind(rule.applies_to.kind).name;
    if let Some(kind) = places.kind_of(&row.item).filter(|kind| kind.name != *wanted) {
        cells.fault(
            "rule",
            format!("\"{}\" is for a {wanted}, but {} is a {}", row.rule, row.item, kind.name),
        );
        return;
    }
    if let Some(text) = &row.measurements {
        check_measurements(cells, rule, text, row.outcome == "failed");
    }
}

fn check_measurements(cells: &Cells, rule: &Rule, text: &str, failed: bool) {
    for pair in text.split(';') {
        let Some((name, value)) = pair.split_once('=') else {
            cells.fault("measurements", format!("\"{pair}\" is no measurement; write name=value;name=value"));
            continue;
        };
        let Some(reading) = rule.records.iter().find(|reading| reading.name == name.trim()) else {
            let names: Vec<&str> = rule.records.iter().map(|reading| reading.name.as_str()).collect();
            let known = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
            cells.fault(
                "measurements",
                format!("\"{}\" records no \"{}\"; it records: {known}", rule.id, name.trim()),
            );
            continue;
        };
        let unit = reading.unit.as_deref().unwrap_or_default();
        let number = value.trim().parse::<Amount>();
        match (number, reading.plausible) {
            (Err(_), _) if reading.unit.is_some() => {
                let message = format!("{name} = \"{value}\" is no decimal number; give it in {unit}");
                cells.fault("measurements", message);
            }
            (Ok(number), Some((low, high))) if number < low || number > high => {
                let message = format!(
                    "{name} = {number} is outside the plausible {low} to {high} {unit}; check the unit"
                );
                cells.fault("measurements", message);
            }
            (Ok(number), _) if !failed && beyond(reading, number) => {
                let bounds = [
                    reading.min.map(|min| format!("at least {min}")),
                    reading.max.map(|max| format!("at most {max}")),
                ];
                let bounds: Vec<String> = bounds.into_iter().flatten().collect();
                let message = format!(
                    "{name} = {number} {unit} is not {}: record the work as failed",
                    bounds.join(", ")
                );
                cells.fault("measurements", message);
            }
            _ => {}
        }
    }
}

/// Whether a reading lies beyond what the rule accepts.
fn beyond(reading: &Reading, number: Amount) -> bool {
    reading.min.is_some_and(|min| number < min) || reading.max.is_some_and(|max| number > max)
}
