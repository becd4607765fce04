//! The form as a person filled it in: TOML, read value by value, so that one slip loses nothing else.

use std::collections::BTreeMap;

use policies::rule::Rule;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::FieldFault;
use super::fields::{FIELDS, Field};

/// What a defect of the form holds.
pub(super) const DEFECT: [&str; 5] = ["part", "what", "danger", "by_date", "remedy"];

/// A form's values as text, by field.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Form {
    /// Fields that were filled in.
    pub cells: BTreeMap<String, String>,
    /// Readings in their order; the unit, if it was written, still stands behind the number.
    pub measurements: Vec<(String, String)>,
    /// Defects in their order.
    pub defects: Vec<BTreeMap<String, String>>,
    /// What could not be read.
    pub faults: Vec<FieldFault>,
}

impl Form {
    /// Reads a form; what cannot be read is named and left out.
    pub fn read(text: &str) -> Form {
        let mut form = Form::default();
        let (table, errors) = DeTable::parse_recoverable(text);
        for error in errors {
            let line = error.span().map_or(1, |span| line_of(text, span.start));
            form.fault(format!("line {line}"), format!("{}; correct the TOML here", error.message()));
        }
        for (key, value) in table.get_ref() {
            form.top(key.get_ref(), value);
        }
        form.defects.retain(|defect| !defect.is_empty());
        form
    }

    /// A field's text, empty where it was not filled in.
    pub fn cell(&self, name: &str) -> &str {
        self.cells.get(name).map_or("", String::as_str)
    }

    fn fault(&mut self, field: impl Into<String>, message: impl Into<String>) {
        self.faults.push(FieldFault::new(field, message));
    }

    fn top(&mut self, key: &str, value: &Spanned<DeValue>) {
        match (key, value.get_ref()) {
            ("measurements", DeValue::Table(table)) => self.measured(table),
            ("defect", DeValue::Array(defects)) => {
                let mut number = 0;
                for defect in defects {
                    number += 1;
                    self.defect(number, defect);
                }
            }
            ("measurements", _) => self.fault(key, "is no table; write [measurements], then name = value"),
            ("defect", _) => self.fault(key, "is no list of tables; write [[defect]] for each"),
            (name, value) if Field::named(name).is_some() => {
                if let Some(text) = self.text(name, value) {
                    self.cells.insert(name.to_owned(), text);
                }
            }
            (name, _) => {
                let known: Vec<&str> = FIELDS.iter().map(|field| field.name).collect();
                self.fault(name, format!("is no field of the report; its fields are {}", known.join(", ")));
            }
        }
    }

    fn measured(&mut self, table: &DeTable) {
        for (name, value) in table {
            let name = name.get_ref();
            let Some(text) = self.text(&format!("measurements.{name}"), value.get_ref()) else { continue };
            if text.contains([';', '=']) || name.contains([';', '=']) {
                self.fault(format!("measurements.{name}"), "holds ; or =; write one number, such as 11.66");
            } else {
                self.measurements.push((name.to_string(), text));
            }
        }
    }

    fn defect(&mut self, number: usize, value: &Spanned<DeValue>) {
        let DeValue::Table(table) = value.get_ref() else {
            return self.fault(format!("defect {number}"), "is no table; write [[defect]]");
        };
        let mut cells = BTreeMap::new();
        for (name, value) in table {
            let name = name.get_ref();
            let field = format!("defect {number}.{name}");
            if !DEFECT.contains(&name.as_ref()) {
                self.fault(field, format!("is no field of a defect; its fields are {}", DEFECT.join(", ")));
            } else if let Some(text) = self.text(&field, value.get_ref()) {
                cells.insert(name.to_string(), text);
            }
        }
        self.defects.push(cells);
    }

    /// A value as it was written: numbers keep their digits. An empty text says nothing.
    fn text(&mut self, field: &str, value: &DeValue) -> Option<String> {
        let text = match value {
            DeValue::String(text) => text.trim().to_owned(),
            DeValue::Integer(number) => number.as_str().to_owned(),
            DeValue::Float(number) => number.as_str().to_owned(),
            DeValue::Boolean(yes) => if *yes { "yes" } else { "no" }.to_owned(),
            DeValue::Datetime(date) => date.to_string(),
            DeValue::Array(_) | DeValue::Table(_) => {
                self.fault(field, "is a list or a table; write one value in quotes");
                return None;
            }
        };
        (!text.is_empty()).then_some(text)
    }

    /// The readings that the rule's work records, as `name=value;…` with the units taken off.
    pub(super) fn of_rule(&self, rule: &Rule) -> String {
        let own =
            self.measurements.iter().filter(|(name, _)| rule.records.iter().any(|have| have.name == *name));
        joined(own.map(|(name, text)| (name.as_str(), plain(rule, name, text).0)))
    }

    /// Every reading as `name=value;…`.
    pub(super) fn all(&self, rule: Option<&Rule>) -> String {
        joined(self.measurements.iter().map(|(name, text)| {
            let number = rule.map_or(text.as_str(), |rule| plain(rule, name, text).0);
            (name.as_str(), number)
        }))
    }

    /// Units that were written and are not the reading's own.
    pub(super) fn wrong_units(&self, rule: &Rule) -> Vec<FieldFault> {
        let wrong = |(name, text): &(String, String)| {
            let (number, unit, wanted) = plain(rule, name, text);
            let right =
                if wanted.is_empty() { "it has no unit".to_owned() } else { format!("give it in {wanted}") };
            (unit != wanted && !unit.is_empty()).then(|| {
                FieldFault::new(
                    format!("measurements.{name}"),
                    format!("{number} is given in {unit}; {right}"),
                )
            })
        };
        self.measurements.iter().filter_map(wrong).collect()
    }
}

fn joined<'t>(pairs: impl Iterator<Item = (&'t str, &'t str)>) -> String {
    pairs.map(|(name, value)| format!("{name}={value}")).collect::<Vec<_>>().join(";")
}

/// A reading's number, the unit that was written behind it, and the unit it should have. Words of a reading
/// without a unit are left as they are.
fn plain<'t>(rule: &'t Rule, name: &'t str, text: &'t str) -> (&'t str, &'t str, &'t str) {
    let own = rule.records.iter().find(|reading| reading.name == name);
    let wanted = match own {
        Some(reading) => reading.unit.as_deref().unwrap_or_default(),
        None => unit_of(name),
    };
    let numeric = text.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c));
    match text.find(|c: char| c.is_alphabetic() || "%\"′″°".contains(c)).filter(|_| numeric) {
        Some(at) => (text[..at].trim(), text[at..].trim(), wanted),
        None => (text, "", wanted),
    }
}

/// The unit in a measure's own name.
fn unit_of(measure: &str) -> &'static str {
    let units = [("_mm", "mm"), ("_percent", "%"), ("_degrees", "°")];
    units.into_iter().find(|(end, _)| measure.ends_with(end)).map_or("", |(_, unit)| unit)
}

fn line_of(text: &str, at: usize) -> usize {
    1 + text.bytes().take(at).filter(|byte| *byte == b'\n').count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_slip_loses_nothing_else() {
        let form = Form::read(
            "number = \"TR-1\"\nitem = C-1\nsafe_to_operate = true\nsize = 3\nexamined_on = 2026-10-06\n\
             [measurements]\n\"link diameter\" = 11.70\n[[defect]]\npart = \"link 6\"\nplace = \"x\"\n",
        );
        assert_eq!(form.cell("number"), "TR-1");
        assert_eq!(form.cell("safe_to_operate"), "yes");
        assert_eq!(form.cell("examined_on"), "2026-10-06");
        assert_eq!(form.measurements, [("link diameter".to_owned(), "11.70".to_owned())]);
        assert_eq!(form.defects[0]["part"], "link 6");
        let fields: Vec<&str> = form.faults.iter().map(|fault| fault.field.as_str()).collect();
        assert!(fields.contains(&"line 2") && fields.contains(&"size") && fields.contains(&"defect 1.place"));
    }
}
