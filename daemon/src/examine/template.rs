//! The empty form of a report, filled in from the register as far as it goes.

use std::collections::BTreeMap;
use std::fmt::Write;

use policies::assess::measures;
use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;
use policies::rule::{Reading, Rule, RuleId, Work};
use policies::zone::Instant;

use super::fields::{FIELDS, Need};
use crate::gear;
use crate::records;
use crate::store::current::Register;

/// The form for an item and a rule, as TOML text.
pub fn template(set: &PolicySet, register: &Register, fleet: &Fleet, item: ItemId, rule: RuleId) -> String {
    let rule = set.rule(rule);
    let known = known(set, register, fleet, item, rule);
    let mut text = format!(
        "# {}. Every field but those marked \"if known\" is needed before signing.\n\
         # Write none where there is none. Times are the station's own.\n",
        rule.title
    );
    for field in &FIELDS {
        let value = known.get(field.name).map_or("", String::as_str);
        let known =
            if field.need == Need::Optional && !field.asks.contains("if known") { " (if known)" } else { "" };
        let _ = writeln!(text, "{} = {} # {}{known}", field.name, quoted(value), field.asks);
    }
    text + &readings(set, fleet, item, rule) + DEFECTS
}

const DEFECTS: &str = "\n# One such table for each defect; leave it out where there is none.\n\
    # danger: now, by (with the day by which it could be one), or none.\n\
    [[defect]]\npart = \"\"\nwhat = \"\"\ndanger = \"\"\nby_date = \"\"\nremedy = \"\"\n";

/// A text in quotes as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn readings(set: &PolicySet, fleet: &Fleet, item: ItemId, rule: &Rule) -> String {
    let mut text = String::from("\n[measurements]\n");
    for reading in &rule.records {
        let _ = writeln!(text, "{} = \"\" # {}", quoted(&reading.name), right(reading));
    }
    let kind = &set.kinds.kind(fleet.item(item).kind).name;
    let known: Vec<&str> = measures(kind).collect();
    if !known.is_empty() {
        let _ = writeln!(text, "# The discard criteria also judge: {}", known.join(", "));
    }
    text
}

fn right(reading: &Reading) -> String {
    let unit = reading.unit.as_deref().unwrap_or("a number");
    let bounds = [
        reading.plausible.map(|(low, high)| format!("plausible {low} to {high}")),
        reading.min.map(|min| format!("at least {min}")),
        reading.max.map(|max| format!("at most {max}")),
    ];
    let bounds = bounds.into_iter().flatten();
    [unit.to_owned()].into_iter().chain(bounds).collect::<Vec<_>>().join(", ")
}

/// What the register knows already.
fn known(
    set: &PolicySet,
    register: &Register,
    fleet: &Fleet,
    id: ItemId,
    rule: &Rule,
) -> BTreeMap<&'static str, String> {
    let item = fleet.item(id);
    let record = register.items.get(&*item.tag);
    let serial =
        record.and_then(|record| record.serial.as_deref()).map(|serial| format!(", serial {serial}"));
    let what = gear::what(set, fleet, id, Instant::MAX);
    let kind = &set.kinds.kind(item.kind).name;
    let what = if what.starts_with(kind.as_str()) { what } else { format!("{kind}, {what}") };
    let mut known = BTreeMap::from([
        ("item", item.tag.to_string()),
        ("rule", rule.id.clone()),
        ("identity", format!("{}, {what}{}", item.tag, serial.unwrap_or_default())),
        (
            "premises",
            fleet.station_of(item).map_or("central stores".to_owned(), |station| station.name.to_string()),
        ),
    ]);
    known.extend(item.manufactured_on.map(|made| ("manufactured_on", made.to_string())));
    known.extend(last_examined(set, fleet, id).map(|last| ("last_examined_on", last)));
    let attributes =
        record.map(|record| record.attributes.as_deref()).into_iter().flat_map(records::attributes);
    known.extend(
        attributes
            .filter(|(name, _)| *name == "wll_t")
            .map(|(_, load)| ("safe_working_load", format!("{load} t"))),
    );
    let employer =
        register.examinations.values().filter(|row| !row.void).max_by_key(|row| (row.at, row.key.clone()));
    if let Some(row) = employer {
        known.extend(row.employer.clone().map(|name| ("employer", name)));
        known.extend(row.employer_address.clone().map(|address| ("employer_address", address)));
    }
    known
}

/// The day of the last thorough examination on record.
fn last_examined(set: &PolicySet, fleet: &Fleet, id: ItemId) -> Option<String> {
    let works = fleet.item(id).works.iter();
    let thorough = works.filter(|done| set.rule(done.rule).work == Work::ThoroughExamination);
    thorough.map(|done| done.date).max().map(|date| date.to_string())
}
