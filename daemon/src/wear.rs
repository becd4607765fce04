//! Wear in words: readings against use, and what they foretell. A trend foresees; it never judges.

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId};
use policies::forecast::Dates;
use policies::load::PolicySet;
use policies::trend::Limit;
use policies::wear::{NoOdds, Read, Wear, WearOdds};
use policies::zone::Instant;
use serde_json::{Value, json};

use crate::records::{Work, when};
use crate::store::fleet::pairs;
use crate::why::day;

/// The readings of one item's work, void records aside.
pub fn reads<'w>(
    set: &PolicySet,
    fleet: &Fleet,
    id: ItemId,
    works: impl IntoIterator<Item = &'w Work>,
) -> Vec<Read> {
    let item = fleet.item(id);
    let zone = fleet.zone_of(item);
    let own = works.into_iter().filter(|work| *work.item == *item.tag && !work.void);
    let mut reads = Vec::new();
    for work in own {
        let Some(rule) = set.find_rule(&work.rule) else { continue };
        let at: Instant = zone.from_start(when(work.at, work.day.as_deref()));
        for (name, value) in pairs(work.measurements.as_deref()) {
            if let Ok(value) = value.parse() {
                reads.push(Read { rule, name: name.to_owned(), at, on: zone.date_of(at), value });
            }
        }
    }
    reads
}

/// Columns and values of an item as written.
pub fn attributes(fleet: &Fleet, id: ItemId) -> Vec<(String, String)> {
    let written = |value: &policies::rule::Value| match value {
        policies::rule::Value::Number(number) => number.to_string(),
        policies::rule::Value::Text(text) => text.clone(),
    };
    let own = fleet.item(id).attributes.iter();
    own.map(|(column, value)| (column.to_string(), written(value))).collect()
}

/// The wear of one item, out of its records of work.
pub fn of_item<'w>(
    evaluator: &Evaluator,
    (set, fleet): (&PolicySet, &Fleet),
    id: ItemId,
    works: impl IntoIterator<Item = &'w Work>,
) -> Vec<Wear> {
    let reads = reads(set, fleet, id, works);
    let attributes = attributes(fleet, id);
    let attributes: Vec<(&str, &str)> = attributes.iter().map(|(name, value)| (&**name, &**value)).collect();
    evaluator.wear(id, &reads, &attributes)
}

/// The wear of everything that is in service, out of all records of work; what nothing bounds is left out.
pub fn of_fleet<'w>(
    set: &PolicySet,
    fleet: &Fleet,
    as_of: Date,
    works: impl IntoIterator<Item = &'w Work>,
) -> Vec<(ItemId, Wear)> {
    let evaluator = Evaluator::new(set, fleet, as_of);
    let mut by_item: BTreeMap<&str, Vec<&Work>> = BTreeMap::new();
    for work in works {
        by_item.entry(&work.item).or_default().push(work);
    }
    let mut found = Vec::new();
    for id in fleet.ids() {
        let item = fleet.item(id);
        let Some(works) = by_item.get(&*item.tag).filter(|_| !evaluator.is_withdrawn(item)) else { continue };
        let worn = of_item(&evaluator, (set, fleet), id, works.iter().copied());
        found.extend(worn.into_iter().filter(|wear| wear.limit.is_some()).map(|wear| (id, wear)));
    }
    found
}

/// What a trend says, line by line, and by when it asks for renewal; nothing where nothing bounds the reading and it
/// has no trend.
pub fn lines(set: &PolicySet, wear: &Wear) -> Vec<String> {
    let mut lines = trend_lines(set, wear);
    if wear.outlived > 0 && !lines.is_empty() {
        lines.push(format!(
            "{} earlier readings are of a part that an overhaul has since renewed, and are left out",
            wear.outlived
        ));
    }
    match &wear.odds {
        Ok(odds) => lines.push(odds_line(set, odds)),
        Err(NoOdds::NoLimit) => {}
        Err(none) => lines.push(format!("no dates by which it needs renewal for wear: {none}")),
    }
    lines
}

fn odds_line(set: &PolicySet, odds: &WearOdds) -> String {
    let how = "a reading beyond the limit, by the scatter of the readings and of the use together";
    let by_wear = by_text(odds.by_wear);
    match odds.fixed {
        None => format!("needs renewal for wear {by_wear}: {how}"),
        Some(rule) => {
            let (rule, dates) = (&set.rule(rule).id, by_text(odds.dates));
            format!("needs renewal {dates}, no later than {rule} asks for; for wear alone {by_wear}: {how}")
        }
    }
}

/// `by 25 Oct 2027 with 10 %, by 9 Mar 2028 with 50 %, by 27 Jun 2028 with 90 %`.
fn by_text(dates: Dates) -> String {
    if let [Some(one), Some(two), Some(three)] = dates
        && one == two
        && two == three
    {
        return format!("by {}", day(one));
    }
    let chances = ["10 %", "50 %", "90 %"].into_iter().zip(dates);
    let known = chances.filter_map(|(chance, date)| Some(format!("by {} with {chance}", day(date?))));
    let known: Vec<String> = known.collect();
    match known.len() {
        0 => "with less than 10 % in 20 years".to_owned(),
        3 => known.join(", "),
        _ => format!("{}, the rest beyond 20 years", known.join(", ")),
    }
}

/// As JSON.
pub fn json(set: &PolicySet, wear: &Wear) -> Value {
    let date = |date: Option<Date>| date.map(|date| date.to_string());
    let odds = wear.odds.as_ref().ok();
    let [p10, p50, p90] = odds.map_or([None; 3], |odds| odds.dates).map(date);
    let [wear_p10, wear_p50, wear_p90] = odds.map_or([None; 3], |odds| odds.by_wear).map(date);
    let [use_p10, use_p50, use_p90] =
        odds.map_or([None; 3], |odds| odds.uses).map(|used| used.map(|used| used.to_string()));
    let crossing = wear.limit.and_then(|limit| wear.trend.ok()?.crossing(limit));
    json!({
        "rule": set.rule(wear.rule).id, "reading": wear.name, "unit": wear.unit,
        "meter": set.kinds.meter_name(wear.meter), "readings": wear.points.len(), "outlived": wear.outlived, "used": wear.used.to_string(),
        "limit": wear.limit.map(|limit| match limit { Limit::Least(at) | Limit::Most(at) => at.to_string() }),
        "slope": wear.trend.ok().map(|trend| trend.slope), "line_crosses_at": crossing.filter(|_| wear.jump.is_none()),
        "safe_uses": wear.safe_uses.map(|safe| safe.to_string()),
        "p10": p10, "p50": p50, "p90": p90,
        "not_later_than": odds.and_then(|odds| odds.fixed).map(|rule| &set.rule(rule).id),
        "by_wear_p10": wear_p10, "by_wear_p50": wear_p50, "by_wear_p90": wear_p90,
        "crossed_at_use_p10": use_p10, "crossed_at_use_p50": use_p50, "crossed_at_use_p90": use_p90,
        "no_dates": wear.odds.as_ref().err().map(ToString::to_string),
    })
}

fn trend_lines(set: &PolicySet, wear: &Wear) -> Vec<String> {
    let meter = set.kinds.meter_name(wear.meter);
    let unit = wear.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
    let mut lines = Vec::new();
    if let Some(jump) = wear.jump {
        let what = if jump.towards_limit {
            "sudden loss, look for its cause"
        } else {
            "the latest reading is in doubt: measure again"
        };
        let last = wear.points.last().map(|(_, point)| point.reading.to_string()).unwrap_or_default();
        lines.push(format!(
            "{what}: {last}{unit} where the earlier readings foretold {:.2} ({:.2} off; {:.3} is their usual scatter)",
            jump.expected,
            jump.off.abs(),
            jump.residual_sd
        ));
        return lines;
    }
    let Ok(trend) = wear.trend else { return lines };
    lines.push(format!(
        "{:+.5}{unit} a use, counted in {meter}, over {} readings",
        trend.slope, trend.readings
    ));
    let Some(limit) = wear.limit else { return lines };
    let bound = limit_text(limit, &unit);
    match (trend.crossing(limit), trend.bound_crossing(limit)) {
        (Some(line), Some(sure)) => lines.push(format!(
            "the line meets {bound} at {line:.1} {meter}; with 95 % certainty it stays within to {sure:.0}"
        )),
        (Some(line), None) => lines.push(format!("the line meets {bound} at {line:.1} {meter}")),
        _ => lines.push(format!("the readings do not move towards {}", bound.trim_end_matches(','))),
    }
    if let Some(safe) = wear.safe_uses {
        lines.push(format!("{safe} more {meter} are within it with 95 % certainty{}", dates_text(wear)));
        lines.push("a trend never puts off a fixed limit: what comes first counts".to_owned());
    }
    lines
}

/// `look for the cause: link diameter 11.66 mm, where the earlier readings foretold 12.01`.
pub fn sudden_loss(wear: &Wear) -> Option<String> {
    let jump = wear.jump.filter(|jump| jump.towards_limit)?;
    let (_, last) = wear.points.last()?;
    let unit = wear.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
    Some(format!(
        "look for the cause: {} {}{unit}, where the earlier readings foretold {:.2}",
        wear.name, last.reading, jump.expected
    ))
}

fn limit_text(limit: Limit, unit: &str) -> String {
    match limit {
        Limit::Least(least) => format!("the least allowed, {:.2}{unit},", least.to_f64()),
        Limit::Most(most) => format!("the most allowed, {:.2}{unit},", most.to_f64()),
    }
}

fn dates_text(wear: &Wear) -> String {
    let [p10, p50, p90] = wear.dates.map(|date| date.map(day));
    match (p10, p50, p90) {
        (Some(p10), Some(p50), Some(p90)) => {
            format!("; the use after them comes by {p10} with 10 %, by {p50} with 50 %, by {p90} with 90 %")
        }
        (Some(p10), ..) => format!("; the use after them comes by {p10} with 10 %"),
        _ => String::new(),
    }
}
