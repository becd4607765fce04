//! Wear in words: readings against use, and what they foretell. A trend foresees; it never judges.

use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;
use policies::trend::Limit;
use policies::wear::{Read, Wear};
use policies::zone::Instant;

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

/// What a trend says, line by line; nothing where there is none.
pub fn lines(set: &PolicySet, wear: &Wear) -> Vec<String> {
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
        _ => lines.push(format!("the readings do not move towards {bound}")),
    }
    if let Some(safe) = wear.safe_uses {
        lines.push(format!("{safe} more {meter} are within it with 95 % certainty{}", dates_text(wear)));
        lines.push("a trend never puts off a fixed limit: what comes first counts".to_owned());
    }
    lines
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
