//! What a report still lacks before it can be signed.

use policies::rule::{Rule, Work};

use super::FieldFault;
use super::fields::{FIELDS, Field, Need};
use super::form::Form;

/// Every field that must be filled in and is not, with what would be right.
pub(super) fn lacks(form: &Form, rule: Option<&Rule>) -> Vec<FieldFault> {
    let thorough = rule.is_none_or(|rule| rule.work == Work::ThoroughExamination);
    let asked = FIELDS.iter().filter(|field| match field.need {
        Need::Always => true,
        Need::Schedule => thorough,
        Need::Depends => depends(form, thorough, field.name),
        Need::Optional => false,
    });
    let mut lacks: Vec<FieldFault> =
        asked.filter(|field| form.cell(field.name).is_empty()).map(|field| lack(field, thorough)).collect();
    if let Some(rule) = rule.filter(|rule| !rule.records.is_empty() && form.measurements.is_empty()) {
        let names: Vec<&str> = rule.records.iter().map(|reading| reading.name.as_str()).collect();
        let message = format!("is empty; {} records {}", rule.id, names.join(", "));
        lacks.push(FieldFault::new("measurements", message));
    }
    if form.cell("safe_to_operate") == "no" && form.defects.is_empty() {
        let message = "is missing; it is not safe to operate, so say in a [[defect]] what is wrong with it";
        lacks.push(FieldFault::new("defect", message));
    }
    for (number, defect) in (1..).zip(&form.defects) {
        let needed =
            ["part", "what", "danger", "remedy"].into_iter().filter(|name| !defect.contains_key(*name));
        lacks.extend(
            needed.map(|name| FieldFault::new(format!("defect {number}.{name}"), "is empty; fill it in")),
        );
    }
    lacks
}

fn depends(form: &Form, thorough: bool, name: &str) -> bool {
    let installed = form.cell("after_installation") == "yes" || form.cell("kind") == "after installation";
    match name {
        "last_examined_on" => thorough && !installed,
        "installed_correctly" => installed,
        _ => !form.measurements.is_empty(),
    }
}

fn lack(field: &Field, thorough: bool) -> FieldFault {
    let by = if thorough && field.need == Need::Schedule { " (LOLER 1998, Schedule 1)" } else { "" };
    FieldFault::new(field.name, format!("is empty; give {}{by}", field.asks))
}
