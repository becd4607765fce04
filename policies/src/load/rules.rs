//! `[[rule]]` tables.

use toml::Spanned;
use toml::de::DeValue;

use super::clauses::{Known, Named, after, alike, calendar, check_calendar, span, usage};
use super::reader::{Fields, Placed, amount_of};
use crate::amount::Amount;
use crate::kinds::{AttributeType, KindId, Kinds};
use crate::rule::{
    AppliesTo, Authority, Calendar, Comparison, Condition, Effect, Escalation, Notice, Reading, Rule, RuleId,
    Value, Window, Work,
};
use crate::span::Span;

/// Keys of a `[[rule]]`.
pub const RULE_KEYS: &[&str] = &[
    "id",
    "title",
    "applies_to",
    "work",
    "calendar",
    "usage",
    "after",
    "alike",
    "before_use",
    "certificate",
    "window",
    "notice",
    "overdue",
    "by",
    "authority",
    "source",
    "covers",
    "records",
];
/// Keys of `window`.
pub const WINDOW_KEYS: &[&str] = &["early", "late"];
/// Keys of `notice`.
pub const NOTICE_KEYS: &[&str] = &["lead", "remind", "escalate"];
/// Keys of a reading in `records`.
pub const RECORD_KEYS: &[&str] = &["name", "unit", "criterion", "min", "max", "plausible"];

/// Every rule of the set; `covers` is resolved last, since it names other rules.
pub(super) fn read(sheets: &[&Fields], kinds: &Kinds) -> Vec<Rule> {
    let tables: Vec<Fields> = sheets.iter().flat_map(|sheet| sheet.tables("rule")).collect();
    let named: Vec<Named> = tables.iter().map(|fields| Named::read(fields, kinds)).collect();
    let read = |(at, fields)| read_rule(fields, &Known { kinds, named: &named, at });
    let mut rules: Vec<Rule> = tables.iter().enumerate().map(read).collect();
    for (at, fields) in tables.iter().enumerate() {
        check_id(fields, &rules[..at]);
        let covers = read_covers(fields, &rules, at);
        rules[at].covers = covers;
    }
    rules
}

fn check_id(fields: &Fields, earlier: &[Rule]) {
    fields.require("id", "\"fall-thorough-examination\"");
    let Some(id) = fields.text("id") else { return };
    let slug = id.value.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
    if !slug {
        fields.fault(id.span.clone(), format!("\"{}\" is no rule id", id.value), "use a-z, 0-9 and -");
    }
    if let Some(first) = earlier.iter().find(|rule| rule.id == id.value) {
        let help = format!("it stands first in {} line {}", first.file, first.line);
        fields.fault(id.span, format!("rule id \"{}\" is used twice", id.value), help);
    }
}

fn read_rule(fields: &Fields, known: &Known) -> Rule {
    let kinds = known.kinds;
    fields.known_keys(RULE_KEYS);
    for (key, example) in [
        ("title", "\"Thorough examination of a launching fall\""),
        ("applies_to", "{ kind = \"launching fall\" }"),
        ("work", "\"check\""),
        ("overdue", "\"advisory\""),
        ("authority", "\"house\""),
    ] {
        fields.require(key, example);
    }
    let tables = fields.tables("calendar").into_iter();
    let calendars: Vec<(Fields, Calendar)> =
        tables.filter_map(|table| calendar(&table, known).map(|clause| (table, clause))).collect();
    let rule = Rule {
        id: owned(fields.text("id")).unwrap_or_default(),
        title: owned(fields.text("title")).unwrap_or_default(),
        applies_to: applies_to(fields, kinds),
        work: fields.word("work", Work::from_word, Work::WORDS).unwrap_or(Work::Check),
        calendar: calendars.iter().map(|(_, clause)| *clause).collect(),
        usage: fields.tables("usage").iter().filter_map(|table| usage(table, known)).collect(),
        after: fields.tables("after").iter().filter_map(|table| after(table, known)).collect(),
        alike: fields.tables("alike").iter().filter_map(|table| alike(table, known)).collect(),
        before_use: fields.flag("before_use", false),
        certificate: fields.flag("certificate", false),
        window: window(fields),
        notice: notice(fields),
        overdue: fields.word("overdue", Effect::from_word, Effect::WORDS).unwrap_or(Effect::Advisory),
        by: owned(fields.text("by")),
        authority: fields
            .word("authority", Authority::from_word, Authority::WORDS)
            .unwrap_or(Authority::House),
        source: owned(fields.text("source")),
        covers: Vec::new(),
        records: fields.tables("records").iter().filter_map(reading).collect(),
        file: fields.file().to_owned(),
        line: fields.line(),
    };
    check_clauses(fields, &rule);
    for (table, clause) in &calendars {
        check_calendar(table, clause, &rule);
    }
    rule
}

pub(super) fn owned(text: Option<Placed<&str>>) -> Option<String> {
    text.map(|text| text.value.to_owned())
}

/// Faults that show only when the clauses are seen together.
fn check_clauses(fields: &Fields, rule: &Rule) {
    let clauses = ["calendar", "usage", "after", "alike"];
    if !rule.before_use && clauses.iter().all(|key| fields.list(key).is_empty()) {
        fields.fault_here(
            "the rule never makes anything due",
            "add calendar, usage, after, alike, or before_use = true",
        );
    }
    if matches!(rule.authority, Authority::Law | Authority::Standard) && rule.source.is_none() {
        let message = format!("authority \"{}\" needs its source", rule.authority);
        fields.fault(fields.span_of("authority"), message, "add source = \"…\" with the clause");
    }
    if rule.authority == Authority::Law && !rule.calendar.is_empty() && !rule.window.late.is_zero() {
        fields.fault(
            fields.span_of("window"),
            "the interval of a law is a maximum, so no day late is tolerated",
            "take late out, or give the shorter interval at which the work is to be done",
        );
    }
}

fn applies_to(fields: &Fields, kinds: &Kinds) -> AppliesTo {
    let mut applies =
        AppliesTo { kind: KindId(0), station: None, conditions: Vec::new(), in_store: None, laid_up: None };
    let Some(table) = fields.table("applies_to") else { return applies };
    table.require("kind", "\"launching fall\"");
    let Some(name) = table.text("kind") else { return applies };
    let Some(kind) = kinds.find(name.value) else {
        let known: Vec<&str> = kinds.kinds.iter().map(|kind| kind.name.as_str()).collect();
        let message = format!("no kind is called \"{}\"", name.value);
        table.fault(name.span, message, format!("known kinds: {}", known.join(", ")));
        return applies;
    };
    applies.kind = kind;
    for (key, value) in table.entries() {
        match key.value {
            "kind" => {}
            "station" => applies.station = station(&table),
            "in_store" => applies.in_store = Some(table.flag("in_store", true)),
            "laid_up" => applies.laid_up = Some(table.flag("laid_up", true)),
            _ => applies.conditions.extend(condition(&table, &key, value, kinds, kind)),
        }
    }
    applies
}

fn station(table: &Fields) -> Option<(String, bool)> {
    let text = table.text("station")?.value;
    Some(match text.strip_prefix("!=") {
        Some(slug) => (slug.trim().to_owned(), false),
        None => (text.to_owned(), true),
    })
}

fn condition(
    table: &Fields,
    key: &Placed<&str>,
    value: &Spanned<DeValue>,
    kinds: &Kinds,
    kind: KindId,
) -> Option<Condition> {
    let attributes = &kinds.kind(kind).attributes;
    let found = attributes.iter().find(|a| a.column() == key.value || a.name == key.value);
    let Some(attribute) = found else {
        let columns: Vec<String> = attributes.iter().map(crate::kinds::Attribute::column).collect();
        let message = format!("kind \"{}\" has no attribute \"{}\"", kinds.kind(kind).name, key.value);
        table.fault(key.span.clone(), message, format!("its attributes: {}", columns.join(", ")));
        return None;
    };
    let (comparison, rest) = match value.get_ref().as_str() {
        Some(text) => split_comparison(text),
        None => (Comparison::Equal, ""),
    };
    if let AttributeType::Text { values } = &attribute.holds
        && value.get_ref().as_str().is_some()
        && !values.is_empty()
        && !values.iter().any(|known| known == rest)
    {
        let help = format!("one of: {}", values.join(", "));
        table.fault(value.span(), format!("\"{}\" is never \"{rest}\"", key.value), help);
        return None;
    }
    let number = amount_of(value).or_else(|| rest.parse().ok());
    let compared = match (&attribute.holds, number) {
        (AttributeType::Number { .. }, Some(number)) => Value::Number(number),
        (AttributeType::Text { .. }, _) if value.get_ref().as_str().is_some() => Value::Text(rest.to_owned()),
        _ => {
            let help =
                "give a number for a number, a text for a text; a text may start with >=, <=, >, <, !=";
            table.fault(value.span(), format!("\"{}\" cannot be compared with this", key.value), help);
            return None;
        }
    };
    Some(Condition { column: attribute.column(), comparison, value: compared })
}

fn split_comparison(text: &str) -> (Comparison, &str) {
    let signs = [
        (">=", Comparison::AtLeast),
        ("<=", Comparison::AtMost),
        ("!=", Comparison::NotEqual),
        (">", Comparison::MoreThan),
        ("<", Comparison::LessThan),
    ];
    for (sign, comparison) in signs {
        if let Some(rest) = text.strip_prefix(sign) {
            return (comparison, rest.trim());
        }
    }
    (Comparison::Equal, text)
}

fn window(fields: &Fields) -> Window {
    let Some(table) = fields.table("window") else {
        return Window { early: Span::ZERO, late: Span::ZERO };
    };
    table.known_keys(WINDOW_KEYS);
    Window { early: span(&table, "early"), late: span(&table, "late") }
}

fn notice(fields: &Fields) -> Notice {
    let mut notice = Notice { lead: Span::ZERO, remind: Vec::new(), escalate: Vec::new() };
    let Some(table) = fields.table("notice") else { return notice };
    table.known_keys(NOTICE_KEYS);
    notice.lead = span(&table, "lead");
    for text in table.texts("remind") {
        match text.value.parse() {
            Ok(span) => notice.remind.push(span),
            Err(error) => table.fault(text.span, format!("\"{}\" {error}", text.value), "correct \"remind\""),
        }
    }
    if let Some(ladder) = table.table("escalate") {
        notice.escalate = ladder.entries().filter_map(|(role, _)| escalation(&ladder, role.value)).collect();
    }
    notice
}

fn escalation(ladder: &Fields, role: &str) -> Option<Escalation> {
    const ROLES: &[&str] = &["head", "engineer", "mechanic", "clerk", "test house"];
    if !ROLES.contains(&role) {
        let help = format!("one of: {}", ROLES.join(", "));
        ladder.fault(ladder.span_of(role), format!("nobody has the role \"{role}\""), help);
    }
    let text = ladder.text(role)?;
    let days = relative_days(text.value);
    if days.is_none() {
        ladder.fault(
            text.span,
            format!("\"{}\" is no moment", text.value),
            "\"2 days before\" or \"1 day after\"",
        );
    }
    Some(Escalation { role: role.to_owned(), days: days? })
}

/// Days relative to the last allowed day: `2 days before`, `1 week after`.
fn relative_days(text: &str) -> Option<i32> {
    let (count, rest) = text.split_once(' ')?;
    let (unit, side) = rest.trim().split_once(' ')?;
    let days: i32 = match unit {
        "day" | "days" => 1,
        "week" | "weeks" => 7,
        _ => return None,
    };
    let count: i32 = count.parse().ok().filter(|n| (0..=1000).contains(n))?;
    match side.trim() {
        "before" => Some(-count * days),
        "after" => Some(count * days),
        _ => None,
    }
}

fn reading(fields: &Fields) -> Option<Reading> {
    fields.known_keys(RECORD_KEYS);
    fields.require("name", "\"diameter\"");
    let reading = Reading {
        name: owned(fields.text("name"))?,
        unit: owned(fields.text("unit")),
        criterion: owned(fields.text("criterion")),
        min: fields.amount("min"),
        max: fields.amount("max"),
        plausible: plausible(fields),
    };
    let bounds = reading.min.zip(reading.max);
    if bounds.is_some_and(|(min, max)| min > max) {
        fields.fault_here("\"min\" is above \"max\"", "exchange them");
    }
    Some(reading)
}

fn plausible(fields: &Fields) -> Option<(Amount, Amount)> {
    if !fields.has("plausible") {
        return None;
    }
    let ends: Vec<Amount> = fields.list("plausible").iter().filter_map(|value| amount_of(value)).collect();
    if let [low, high] = ends[..]
        && low < high
    {
        return Some((low, high));
    }
    fields.fault(fields.span_of("plausible"), "\"plausible\" is no range", "give [lowest, highest]");
    None
}

fn read_covers(fields: &Fields, rules: &[Rule], at: usize) -> Vec<RuleId> {
    let mut covers = Vec::new();
    for id in fields.texts("covers") {
        let found = rules.iter().position(|rule| rule.id == id.value);
        match found {
            None => fields.fault(
                id.span,
                format!("no rule is called \"{}\"", id.value),
                "correct it or take it out",
            ),
            Some(other) if other == at => {
                fields.fault(id.span, "a rule cannot cover itself", "take it out");
            }
            Some(other) if rules[other].applies_to.kind != rules[at].applies_to.kind => {
                fields.fault(
                    id.span,
                    format!("\"{}\" is for another kind", id.value),
                    "cover rules of this kind only",
                );
            }
            Some(other) => covers.extend(u16::try_from(other).ok().map(RuleId)),
        }
    }
    covers
}
