//! The clauses of a `[[rule]]`: what makes it due.

use std::ops::Range;

use jiff::civil::Date;
use toml::de::DeValue;

use super::reader::Fields;
use super::rules::owned;
use crate::amount::Amount;
use crate::kinds::{AttributeType, KindId, Kinds, MeterId};
use crate::rule::{
    After, Alike, Authority, Bound, Calendar, Event, From, Grid, Happening, Interval, Rule, RuleId, Store,
    Timing, Usage, When, Work, YearDay,
};
use crate::span::Span;

/// Keys of a calendar clause.
pub const CALENDAR_KEYS: &[&str] = &["every", "from", "grid", "anchor", "store", "by", "on", "when"];
/// Keys of a usage clause.
pub const USAGE_KEYS: &[&str] = &["meter", "every", "early", "late", "when"];
/// Keys of an after clause.
pub const AFTER_KEYS: &[&str] = &["event", "within", "when", "unless_done_within", "once_used"];
/// Keys of the use after which an after clause opens.
pub const ONCE_USED_KEYS: &[&str] = &["meter", "count"];
/// Keys of a condition on a reading.
pub const WHEN_KEYS: &[&str] = &["of", "reading", "at_least", "at_most"];
/// Keys of what fellows must agree in.
pub const ALIKE_KEYS: &[&str] = &["attribute", "within"];

/// An `after` event that needs a condition.
const READING: &str = "reading";

/// What other rules may say of a rule before all of it is read.
pub(super) struct Named {
    id: String,
    kind: Option<KindId>,
    records: Vec<String>,
}

impl Named {
    pub(super) fn read(fields: &Fields, kinds: &Kinds) -> Named {
        let kind = fields.table("applies_to").and_then(|table| kinds.find(table.text("kind")?.value));
        let tables = fields.tables("records");
        Named {
            id: owned(fields.text("id")).unwrap_or_default(),
            kind,
            records: tables.iter().filter_map(|table| owned(table.text("name"))).collect(),
        }
    }
}

/// What is known while a rule is read.
pub(super) struct Known<'k> {
    pub(super) kinds: &'k Kinds,
    pub(super) named: &'k [Named],
    /// Index of the rule being read.
    pub(super) at: usize,
}

impl Known<'_> {
    fn own(&self) -> &Named {
        &self.named[self.at]
    }
}

/// A span above nought: an interval of nothing would be due for ever.
fn interval(fields: &Fields, key: &str) -> Option<Span> {
    fields.require(key, "\"6 months\"");
    let span = fields.parsed::<Span>(key)?;
    if span.value.is_zero() {
        fields.fault(span.span, format!("\"{key}\" is nought"), "give at least 1 day");
        return None;
    }
    Some(span.value)
}

pub(super) fn span(fields: &Fields, key: &str) -> Span {
    fields.parsed::<Span>(key).map_or(Span::ZERO, |span| span.value)
}

pub(super) fn calendar(fields: &Fields, known: &Known) -> Option<Calendar> {
    fields.known_keys(CALENDAR_KEYS);
    let when = fields.table("when").and_then(|table| condition(&table, known));
    let timing = if fields.has("by") || fields.has("on") {
        stands_alone(fields);
        if fields.has("by") { Timing::EachYear(year_day(fields)?) } else { Timing::Once(date(fields, "on")?) }
    } else {
        Timing::Every(Interval {
            every: interval(fields, "every")?,
            from: fields.word("from", From::from_word, From::WORDS).unwrap_or(From::LastDone),
            grid: fields.word("grid", Grid::from_word, Grid::WORDS).unwrap_or(Grid::Floating),
            anchor: date(fields, "anchor"),
            store: fields.word("store", Store::from_word, Store::WORDS).unwrap_or(Store::Runs),
        })
    };
    Some(Calendar { timing, when })
}

/// A day of the year or a single date leaves no room for an interval.
fn stands_alone(fields: &Fields) {
    let own = if fields.has("by") { "by" } else { "on" };
    for key in CALENDAR_KEYS.iter().filter(|key| ![own, "when"].contains(key) && fields.has(key)) {
        let message = format!("\"{key}\" has no meaning beside \"{own}\"");
        fields.fault(fields.span_of(key), message, "leave it out, or write a clause of its own");
    }
}

fn year_day(fields: &Fields) -> Option<YearDay> {
    let text = fields.text("by")?;
    let parts = text.value.split_once('-').filter(|_| text.value.len() == 5);
    let found = parts.and_then(|(month, day)| Some((month.parse().ok()?, day.parse().ok()?)));
    // 2023 is no leap year, so that 29 February is refused.
    let found = found.filter(|(month, day)| Date::new(2023, *month, *day).is_ok());
    if found.is_none() {
        let message = format!("\"{}\" is no day of every year", text.value);
        fields.fault(
            text.span,
            message,
            "write month and day, like \"10-31\"; 29 February is in no other year",
        );
    }
    found.map(|(month, day)| YearDay { month, day })
}

fn date(fields: &Fields, key: &str) -> Option<Date> {
    let value = fields.get(key)?;
    let text = match value.get_ref() {
        DeValue::String(text) => text.to_string(),
        DeValue::Datetime(date) => date.to_string(),
        other => other.type_str().to_owned(),
    };
    let date = text.parse::<Date>().ok().filter(|_| text.len() == 10);
    if date.is_none() {
        fields.fault(value.span(), format!("\"{text}\" is no date"), "write it like \"2026-10-05\"");
    }
    date
}

/// Faults of a calendar clause that show only beside the rest of its rule.
pub(super) fn check_calendar(table: &Fields, clause: &Calendar, rule: &Rule) {
    let Timing::Every(clause) = clause.timing else { return };
    let life_limit = clause.from != From::LastDone;
    let fixed = clause.grid == Grid::Fixed;
    if fixed && life_limit {
        table.fault(table.span_of("grid"), "a life limit has no grid", "leave grid out");
    }
    if fixed && rule.window.early.rough_days() >= clause.every.rough_days() {
        let message = "the window opens before the date it follows: one visit would meet several dates";
        table.fault(table.span_of("grid"), message, "make \"early\" of the window shorter than \"every\"");
    }
    if clause.anchor.is_some() && !fixed {
        table.fault(table.span_of("anchor"), "only a fixed grid has an anchor", "add grid = \"fixed\"");
    }
    if clause.store == Store::Pauses && (fixed || life_limit || rule.authority == Authority::Law) {
        let message = "store time cannot pause a law, a fixed grid or a life limit";
        table.fault(table.span_of("store"), message, "leave store out, or say store = \"runs\"");
    }
}

pub(super) fn usage(fields: &Fields, known: &Known) -> Option<Usage> {
    fields.known_keys(USAGE_KEYS);
    fields.require("meter", "\"launches\"");
    fields.require("every", "60");
    let meter = meter(fields, known);
    let every = fields.amount("every")?;
    let (early, late) = (fields.amount_or_zero("early"), fields.amount_or_zero("late"));
    let when = fields.table("when").and_then(|table| condition(&table, known));
    if !every.is_positive() {
        fields.fault(fields.span_of("every"), "\"every\" must be above nought", "give the uses until due");
    } else if early >= every {
        fields.fault(fields.span_of("early"), "\"early\" is not less than \"every\"", "give fewer uses");
    }
    Some(Usage { meter: meter?, every, early, late, when })
}

fn meter(fields: &Fields, known: &Known) -> Option<MeterId> {
    let name = fields.text("meter")?;
    let meter = known.kinds.find_meter(name.value);
    if meter.is_none() {
        let message = format!("no kind has a meter \"{}\"", name.value);
        fields.fault(name.span, message, format!("known meters: {}", known.kinds.meters.join(", ")));
    }
    meter
}

/// `{ meter = "engine hours", count = 10 }`.
fn once_used(fields: &Fields, known: &Known) -> Option<(MeterId, Amount)> {
    fields.known_keys(ONCE_USED_KEYS);
    fields.require("meter", "\"engine hours\"");
    fields.require("count", "10");
    let (meter, count) = (meter(fields, known), fields.amount("count")?);
    if !count.is_positive() {
        fields.fault(
            fields.span_of("count"),
            "\"count\" must be above nought",
            "give the uses until it opens",
        );
    }
    Some((meter?, count))
}

pub(super) fn after(fields: &Fields, known: &Known) -> Option<After> {
    fields.known_keys(AFTER_KEYS);
    fields.require("event", "\"shock loads\"");
    fields.require("within", "\"0 days\"");
    let event = event(fields, known);
    let unless_done_within =
        fields.has("unless_done_within").then(|| interval(fields, "unless_done_within")).flatten();
    let once_used = fields.table("once_used").and_then(|table| once_used(&table, known));
    Some(After { event: event?, within: span(fields, "within"), unless_done_within, once_used })
}

fn event(fields: &Fields, known: &Known) -> Option<Event> {
    let name = fields.text("event")?;
    if name.value == READING {
        fields.require("when", "{ of = \"fall-measurement\", reading = \"severity\", at_least = 80 }");
        return reading_event(fields, known);
    }
    if fields.has("when") {
        let message = "only the event \"reading\" has a condition";
        fields.fault(fields.span_of("when"), message, "write event = \"reading\", or leave when out");
    }
    let event = Happening::from_word(name.value)
        .map(Event::Happening)
        .or_else(|| Work::from_word(name.value).map(Event::Work))
        .or_else(|| known.kinds.find_meter(name.value).map(Event::Meter));
    if event.is_none() {
        let help = format!(
            "a meter ({}), a happening ({}), a work word ({}) or {READING}",
            known.kinds.meters.join(", "),
            Happening::WORDS.join(", "),
            Work::WORDS.join(", ")
        );
        fields.fault(name.span, format!("nothing called \"{}\" can happen", name.value), help);
    }
    event
}

fn reading_event(fields: &Fields, known: &Known) -> Option<Event> {
    let table = fields.table("when")?;
    let when = condition(&table, known)?;
    if usize::from(when.of.0) == known.at {
        let message = "a rule's own work meets it, so its own reading opens nothing";
        fields.fault(table.span(), message, "name the other rule: of = \"fall-measurement\"");
        return None;
    }
    Some(Event::Reading(when))
}

/// `{ of = "fall-measurement", reading = "severity", at_least = 60 }`.
fn condition(fields: &Fields, known: &Known) -> Option<When> {
    fields.known_keys(WHEN_KEYS);
    fields.require("reading", "\"severity\"");
    let of = match fields.text("of") {
        None => known.at,
        Some(id) => rule_named(fields, known, id.value, id.span)?,
    };
    let name = fields.text("reading")?;
    let records = &known.named[of].records;
    let reading = records.iter().position(|record| record == name.value);
    if reading.is_none() {
        let message = format!("\"{}\" records no \"{}\"", known.named[of].id, name.value);
        let known = if records.is_empty() { "nothing".to_owned() } else { records.join(", ") };
        fields.fault(name.span, message, format!("it records: {known}"));
    }
    let bound = bound(fields);
    Some(When { of: RuleId(u16::try_from(of).ok()?), reading: u16::try_from(reading?).ok()?, bound: bound? })
}

fn rule_named(fields: &Fields, known: &Known, id: &str, span: Range<usize>) -> Option<usize> {
    let Some(at) = known.named.iter().position(|rule| rule.id == id) else {
        fields.fault(span, format!("no rule is called \"{id}\""), "correct it or leave it out");
        return None;
    };
    if known.named[at].kind != known.own().kind {
        fields.fault(span, format!("\"{id}\" is for another kind"), "name a rule of this kind");
        return None;
    }
    Some(at)
}

fn bound(fields: &Fields) -> Option<Bound> {
    let (least, most) = (fields.amount("at_least"), fields.amount("at_most"));
    match (least, most) {
        (Some(least), None) => Some(Bound::AtLeast(least)),
        (None, Some(most)) => Some(Bound::AtMost(most)),
        _ => {
            fields.fault_here("a condition has one bound", "give at_least = 60, or at_most = 6");
            None
        }
    }
}

pub(super) fn alike(fields: &Fields, known: &Known) -> Option<Alike> {
    fields.known_keys(ALIKE_KEYS);
    fields.require("attribute", "\"drum\"");
    let kind = known.kinds.kind(known.own().kind?);
    let name = fields.text("attribute")?;
    let found = kind.attributes.iter().find(|a| a.column() == name.value || a.name == name.value);
    let Some(attribute) = found else {
        let columns: Vec<String> = kind.attributes.iter().map(crate::kinds::Attribute::column).collect();
        let message = format!("kind \"{}\" has no attribute \"{}\"", kind.name, name.value);
        fields.fault(name.span, message, format!("its attributes: {}", columns.join(", ")));
        return None;
    };
    let within: Amount = fields.amount_or_zero("within");
    if within.is_positive() && !matches!(attribute.holds, AttributeType::Number { .. }) {
        let message = format!("\"{}\" is a word, not a number", name.value);
        fields.fault(fields.span_of("within"), message, "leave within out");
    }
    Some(Alike { column: attribute.column(), within })
}
