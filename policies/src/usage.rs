//! Attribution: which use an item bore, through every fitting it had, and when a limit was reached.

mod origin;

use jiff::civil::Date;

use crate::amount::Amount;
use crate::facts::{DayReach, DayUse, Fleet, ItemId, Log, Reach};
use crate::fitting::DEEPEST;
use crate::kinds::MeterId;
use crate::zone::{Instant, Zone};

/// Days that two links may touch without overlapping as instants: zones differ by a day at most.
const SLACK_MICROS: i64 = 2 * 86_400 * 1_000_000;

/// A stretch of time in which use counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Period {
    /// Strictly after this moment; from the very beginning, with use before the records, when absent.
    pub after: Option<Instant>,
    /// Strictly before this moment.
    pub before: Instant,
}

impl Period {
    fn first(self) -> Instant {
        self.after.map_or(Instant::MIN, Instant::next)
    }

    pub(crate) fn holds(self, at: Instant) -> bool {
        at >= self.first() && at < self.before
    }
}

/// How a limit was reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reached {
    /// By use before the records begin, or inherited from the wire it was cut from.
    Opening,
    /// By the use at this moment.
    At(Instant),
}

/// One chain of links from an item up to a host.
struct Path {
    host: ItemId,
    links: Vec<(Instant, Instant)>,
}

fn paths(fleet: &Fleet, item: ItemId) -> Vec<Path> {
    let mut found = Vec::new();
    climb(fleet, item, &mut Vec::new(), &mut found);
    found
}

fn climb(fleet: &Fleet, item: ItemId, links: &mut Vec<(Instant, Instant)>, found: &mut Vec<Path>) {
    if links.len() >= DEEPEST {
        return;
    }
    for fit in &fleet.item(item).fittings {
        links.push((fit.from, fit.to));
        let (from, to) = overlap(links);
        if from.0.saturating_sub(SLACK_MICROS) < to.0 {
            found.push(Path { host: fit.host, links: links.clone() });
            climb(fleet, fit.host, links, found);
        }
        links.pop();
    }
}

fn overlap(links: &[(Instant, Instant)]) -> (Instant, Instant) {
    links.iter().fold((Instant::MIN, Instant::MAX), |(from, to), link| (from.max(link.0), to.min(link.1)))
}

/// Every host above an item, at any time.
pub(crate) fn hosts(fleet: &Fleet, item: ItemId) -> Vec<ItemId> {
    let mut hosts: Vec<ItemId> = paths(fleet, item).into_iter().map(|path| path.host).collect();
    hosts.sort_unstable();
    hosts.dedup();
    hosts
}

/// Whether a host has use known to the day only.
pub(crate) fn has_undated(fleet: &Fleet, host: ItemId) -> bool {
    fleet.item(host).logs.iter().any(|(_, index)| !fleet.logs[*index as usize].days.is_empty())
}

/// Whose use an item bears: itself always, and every host link by link. Stretches on one host are
/// merged, so that a use counts once however many fittings lead to it.
pub(crate) fn reach(fleet: &Fleet, item: ItemId) -> (Vec<Reach>, Vec<DayReach>) {
    let mut dated = vec![Reach { host: item, from: Instant::MIN, to: Instant::MAX }];
    let mut days = Vec::new();
    for path in paths(fleet, item) {
        let (from, to) = overlap(&path.links);
        if from < to {
            dated.push(Reach { host: path.host, from, to });
        }
        if has_undated(fleet, path.host) {
            let zone = fleet.zone_of(fleet.item(path.host));
            days.extend(day_overlap(zone, &path.links).map(|(first, last)| DayReach {
                host: path.host,
                first,
                last,
            }));
        }
    }
    if has_undated(fleet, item) {
        days.push(DayReach { host: item, first: Date::MIN, last: Date::MAX });
    }
    (merge(dated), merge_days(days))
}

/// The local days on some moment of which each link stood, taken link by link.
fn day_overlap(zone: &Zone, links: &[(Instant, Instant)]) -> Option<(Date, Date)> {
    let mut first = Date::MIN;
    let mut last = Date::MAX;
    for (from, to) in links {
        first = first.max(zone.date_of(*from));
        if *to != Instant::MAX {
            last = last.min(zone.date_of(Instant(to.0 - 1)));
        }
    }
    (first <= last).then_some((first, last))
}

fn merge(mut reach: Vec<Reach>) -> Vec<Reach> {
    reach.sort_by_key(|part| (part.host, part.from));
    let mut merged: Vec<Reach> = Vec::with_capacity(reach.len());
    for part in reach {
        match merged.last_mut() {
            Some(last) if last.host == part.host && part.from <= last.to => last.to = last.to.max(part.to),
            _ => merged.push(part),
        }
    }
    merged.sort_by_key(|part| part.from);
    merged
}

fn merge_days(mut reach: Vec<DayReach>) -> Vec<DayReach> {
    reach.sort_by_key(|part| (part.host, part.first));
    let mut merged: Vec<DayReach> = Vec::with_capacity(reach.len());
    for part in reach {
        match merged.last_mut() {
            Some(last) if last.host == part.host && part.first <= last.last => {
                last.last = last.last.max(part.last);
            }
            _ => merged.push(part),
        }
    }
    merged
}

/// Use before the records begin: the item's own, and what the wire or batch it came out of bore until then.
pub fn opening(fleet: &Fleet, item: ItemId, meter: MeterId) -> Amount {
    opening_before(fleet, item, meter, Instant::MAX)
}

/// The same, of what it came out of only use before a moment.
pub fn opening_before(fleet: &Fleet, item: ItemId, meter: MeterId, before: Instant) -> Amount {
    origin::before_records(fleet, item, meter, before, DEEPEST)
}

/// The logs an item bears of one meter, each with the stretch it bears.
pub fn stretches(
    fleet: &Fleet,
    item: ItemId,
    meter: MeterId,
    period: Period,
) -> impl Iterator<Item = (ItemId, &Log, Instant, Instant)> {
    let first = period.first();
    fleet.item(item).reach.iter().filter_map(move |part| {
        let (from, to) = (part.from.max(first), part.to.min(period.before));
        if from >= to {
            return None;
        }
        Some((part.host, fleet.log(part.host, meter)?, from, to))
    })
}

/// The undated uses an item bears of one meter.
pub fn undated(
    fleet: &Fleet,
    item: ItemId,
    meter: MeterId,
    period: Period,
) -> impl Iterator<Item = (ItemId, &DayUse)> {
    fleet.item(item).day_reach.iter().flat_map(move |part| {
        let days = fleet.log(part.host, meter).map_or(&[][..], |log| &log.days);
        let borne = days.iter().filter(move |use_| use_.day >= part.first && use_.day <= part.last);
        borne.filter(move |use_| period.holds(use_.at)).map(move |use_| (part.host, use_))
    })
}

/// Use in the records over a period.
fn recorded(fleet: &Fleet, item: ItemId, meter: MeterId, period: Period) -> Amount {
    let dated: Amount =
        stretches(fleet, item, meter, period).map(|(_, log, from, to)| log.between(from, to)).sum();
    dated + undated_sum(fleet, item, meter, period)
}

/// Use of a period that is known to the day only.
fn undated_sum(fleet: &Fleet, item: ItemId, meter: MeterId, period: Period) -> Amount {
    undated(fleet, item, meter, period).map(|(_, use_)| use_.amount).sum()
}

/// What a period starts with.
pub(crate) fn opening_of(fleet: &Fleet, item: ItemId, meter: MeterId, period: Period) -> Amount {
    match period.after {
        None => opening_before(fleet, item, meter, period.before),
        Some(_) => Amount::ZERO,
    }
}

/// Everything an item used over a period; from the beginning, that includes use before the records.
pub fn used(fleet: &Fleet, item: ItemId, meter: MeterId, period: Period) -> Amount {
    let opening = opening_of(fleet, item, meter, period);
    opening + recorded(fleet, item, meter, period)
}

/// Everything an item used over a period, as [`used`] has it, and how it reached a limit, if it did.
pub fn used_and_reached(
    fleet: &Fleet,
    item: ItemId,
    meter: MeterId,
    period: Period,
    limit: Amount,
) -> (Amount, Option<Reached>) {
    let opening = opening_of(fleet, item, meter, period);
    let mut so_far = opening;
    let mut reached = (opening >= limit).then_some(Reached::Opening);
    let mut end = Instant::MIN;
    let mut apart = fleet.item(item).day_reach.is_empty();
    for (_, log, from, to) in stretches(fleet, item, meter, period) {
        apart &= end <= from;
        end = to;
        let part = log.part(from, to);
        let here = log.sum(part);
        if reached.is_none() && so_far + here >= limit {
            reached = log.reaches(part, limit - so_far).map(Reached::At);
        }
        so_far += here;
    }
    let used = so_far + undated_sum(fleet, item, meter, period);
    if !apart && reached != Some(Reached::Opening) && used >= limit {
        return (used, reached_by_event(fleet, item, meter, period, limit - opening));
    }
    (used, reached)
}

/// The plain way, event by event, for stretches that overlap in time.
fn reached_by_event(
    fleet: &Fleet,
    item: ItemId,
    meter: MeterId,
    period: Period,
    wanted: Amount,
) -> Option<Reached> {
    let mut events = events(fleet, item, meter, period);
    events.sort_by_key(|(at, _)| *at);
    let mut so_far = Amount::ZERO;
    for (at, amount) in events {
        so_far += amount;
        if so_far >= wanted {
            return Some(Reached::At(at));
        }
    }
    None
}

fn events(fleet: &Fleet, item: ItemId, meter: MeterId, period: Period) -> Vec<(Instant, Amount)> {
    let mut events: Vec<(Instant, Amount)> = Vec::new();
    for (_, log, from, to) in stretches(fleet, item, meter, period) {
        events.extend(log.uses(log.part(from, to)));
    }
    events.extend(undated(fleet, item, meter, period).map(|(_, use_)| (use_.at, use_.amount)));
    events
}

/// The first use over a period.
pub fn first_use(fleet: &Fleet, item: ItemId, meter: MeterId, period: Period) -> Option<Instant> {
    let dated =
        stretches(fleet, item, meter, period).filter_map(|(_, log, from, to)| log.first_between(from, to));
    dated.chain(undated(fleet, item, meter, period).map(|(_, use_)| use_.at)).min()
}
