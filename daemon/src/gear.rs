//! How a piece of gear is named in a line: what it is, and where it sits.

use policies::due::Evaluator;
use policies::facts::{Fitting, Fleet, Item, ItemId};
use policies::load::PolicySet;
use policies::load_path::stands_alone;
use policies::rule::{Bound, Event, Value, When};
use policies::zone::Instant;

use crate::records::Work;
use crate::why::day;

/// Whether an item is a station's own, or is carried by gear of it.
pub fn is_at(evaluator: &Evaluator, fleet: &Fleet, id: ItemId, slug: &str) -> bool {
    let item = fleet.item(id);
    let outermost = fleet.chain(id, evaluator.cutoff(item)).last().map(|host| fleet.item(*host));
    let mut stations = [Some(item), outermost].into_iter().flatten().filter_map(|own| fleet.station_of(own));
    stations.any(|station| *station.slug == *slug)
}

/// The fitting an item is in just before a moment.
pub fn fitted_at(item: &Item, cutoff: Instant) -> Option<&Fitting> {
    item.fittings.iter().find(|fit| fit.from < cutoff && fit.to >= cutoff)
}

fn position_of<'p>(set: &'p PolicySet, fleet: &Fleet, fit: &Fitting) -> Option<&'p str> {
    let host = set.kinds.kind(fleet.item(fit.host).kind);
    host.positions.get(usize::from(fit.position?)).map(|position| position.name.as_str())
}

/// `starboard fall, 16 mm`: the position it fills, or its kind, and its size where it has one.
pub fn what(set: &PolicySet, fleet: &Fleet, id: ItemId, cutoff: Instant) -> String {
    let item = fleet.item(id);
    let kind = set.kinds.kind(item.kind).name.as_str();
    let position = fitted_at(item, cutoff).and_then(|fit| position_of(set, fleet, fit));
    let name = position.unwrap_or(kind);
    match size(item) {
        Some(size) => format!("{name}, {size}"),
        None => name.to_owned(),
    }
}

fn size(item: &Item) -> Option<String> {
    let wanted = [("nominal_diameter_mm", " mm"), ("wll_t", " t"), ("pattern", "")];
    wanted.into_iter().find_map(|(column, unit)| {
        let (_, value) = item.attributes.iter().find(|(have, _)| **have == *column)?;
        Some(match value {
            Value::Number(number) => format!("{number}{unit}"),
            Value::Text(text) => text.clone(),
        })
    })
}

/// `carriage LC-2/07`, or `in store at Quarle Beach`.
pub fn place(set: &PolicySet, fleet: &Fleet, id: ItemId, cutoff: Instant) -> String {
    let item = fleet.item(id);
    if let Some(fit) = fitted_at(item, cutoff) {
        let host = fleet.item(fit.host);
        return format!("{} {}", set.kinds.kind(host.kind).name, host.tag);
    }
    if let Some(issued) = issued(set, fleet, id, cutoff) {
        return issued;
    }
    let own = fleet.bearers(id).len() > 1;
    match (fleet.station_of(item), own) {
        (Some(station), true) => station.name.to_string(),
        (Some(station), false) => format!("in store at {}", station.name),
        (None, _) => "central stores".to_owned(),
    }
}

/// `issued on 9 Oct 2026, not fitted yet`, of what is on its way from a shelf to where it will be fitted.
/// What stands by itself is fitted to nothing.
pub fn issued(set: &PolicySet, fleet: &Fleet, id: ItemId, cutoff: Instant) -> Option<String> {
    let at = fleet.issued(id, cutoff).filter(|_| !stands_alone(set, fleet.item(id).kind))?;
    Some(format!("issued on {}, not fitted yet", day(fleet.zone_of(fleet.item(id)).date_of(at))))
}

/// When something was last logged at a station, as local time.
pub fn last_log(fleet: &Fleet, station: Option<&str>) -> Option<Instant> {
    let here = |item: &&Item| {
        station.is_none_or(|slug| fleet.station_of(item).is_some_and(|have| *have.slug == *slug))
    };
    let logs = fleet.items.iter().filter(here).flat_map(|item| &item.logs);
    logs.filter_map(|(_, index)| fleet.logs[*index as usize].span).map(|(_, last)| last).max()
}

/// `diameter 15.88 mm` for each `name=value` of a record, units as the rule has them.
pub fn readings(set: &PolicySet, work: &Work) -> Vec<String> {
    let rule = set.find_rule(&work.rule).map(|rule| set.rule(rule));
    let pairs =
        work.measurements.as_deref().unwrap_or_default().split(';').filter_map(|pair| pair.split_once('='));
    let said = pairs.map(|(name, value)| {
        let reading = rule.and_then(|rule| rule.records.iter().find(|reading| reading.name == name));
        let unit = reading.and_then(|reading| reading.unit.as_deref());
        unit.map_or_else(|| format!("{name} {value}"), |unit| format!("{name} {value} {unit}"))
    });
    said.collect()
}

/// An event in words.
pub fn event(set: &PolicySet, event: Event) -> String {
    match event {
        Event::Meter(meter) => set.kinds.meter_name(meter).to_owned(),
        Event::Work(work) => work.to_string(),
        Event::Happening(happening) => happening.to_string(),
        Event::Reading(when) => condition(set, when),
    }
}

/// A condition on a reading in words: `severity of fall-measurement is at least 60 %`.
pub fn condition(set: &PolicySet, when: When) -> String {
    let rule = set.rule(when.of);
    let Some(reading) = rule.records.get(usize::from(when.reading)) else { return String::new() };
    let unit = reading.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
    let bound = match when.bound {
        Bound::AtLeast(least) => format!("at least {least}"),
        Bound::AtMost(most) => format!("at most {most}"),
    };
    format!("{} of {} is {bound}{unit}", reading.name, rule.id)
}
