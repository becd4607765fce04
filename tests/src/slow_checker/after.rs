//! After clauses: the events that make work due, and by when.

use super::chains::{self, Counted};
use super::decimal::Decimal;
use super::register::{Fitting, Item, Outcome};
use super::rules::After;
use super::{World, fellows, moments, when, work_done};
use jiff::Timestamp;
use jiff::civil::Date;

/// A happening: its instant, and the local date on which it is reckoned.
pub struct Happening {
    at: Timestamp,
    day: Date,
}

impl Happening {
    pub fn at(at: Timestamp, item: &Item) -> Happening {
        Happening { at, day: moments::date_at(at, &item.zone) }
    }

    /// A removal of which only the date is known stands at 24:00, yet on the written date.
    pub fn removal(fitting: &Fitting, item: &Item) -> Option<Happening> {
        let at = fitting.to?;
        let day = fitting.to_day.unwrap_or_else(|| moments::date_at(at, &item.zone));
        Some(Happening { at, day })
    }
}

pub fn due(
    world: &World,
    item: &Item,
    clause: &After,
    events: &[Counted],
    last_work: Option<Timestamp>,
) -> Result<Option<Date>, String> {
    let cutoff = world.cutoff(item)?;
    let mut earliest: Option<Date> = None;
    for happening in happenings(world, item, clause, events)? {
        let open = last_work.is_none_or(|last| happening.at > last) && happening.at < cutoff;
        if open && !done_lately(item, clause, last_work, happening.day)? {
            let Some(day) = opens_on(item, clause, &happening, events) else { continue };
            let date = clause.within.after(day)?;
            earliest = Some(earliest.map_or(date, |known| known.min(date)));
        }
    }
    Ok(earliest)
}

/// The day of the event; under `once_used`, the day on which the use after the event came up to the count, if it has.
fn opens_on(item: &Item, clause: &After, happening: &Happening, events: &[Counted]) -> Option<Date> {
    let Some(wanted) = &clause.once_used else {
        return Some(happening.day);
    };
    let mut used = Decimal::ZERO;
    for row in events.iter().filter(|row| row.meter == wanted.meter && row.at > happening.at) {
        used = used + row.amount;
        if used >= wanted.count {
            return Some(moments::date_at(row.at, &item.zone));
        }
    }
    None
}

/// Whether `unless_done_within` lets an event of that day pass: the last work, or without any the
/// making of the item, is near enough.
fn done_lately(
    item: &Item,
    clause: &After,
    last_work: Option<Timestamp>,
    event: Date,
) -> Result<bool, String> {
    let last = last_work.map(|at| moments::date_at(at, &item.zone)).or(item.made);
    match (clause.unless_done_within, last) {
        (Some(span), Some(last)) => Ok(span.after(last)? >= event),
        _ => Ok(false),
    }
}

fn happenings(
    world: &World,
    item: &Item,
    clause: &After,
    events: &[Counted],
) -> Result<Vec<Happening>, String> {
    let plain = |at: Timestamp| Happening::at(at, item);
    Ok(match clause.event.as_str() {
        "fitted" => own(world, item).map(|f| plain(f.from)).collect(),
        "removed" => own(world, item).filter_map(|f| Happening::removal(f, item)).collect(),
        "issued from stores" => fellows::issues(world, item)?,
        "fellow fitted" => fellows::fitted(world, item),
        "fellow removed" => fellows::removed(world, item),
        "returned from lay-up" => returns(world, item).map(plain).collect(),
        "reading" => {
            let when = clause.when.as_ref().ok_or("a reading event without when")?;
            when::met(world, item, when).into_iter().map(plain).collect()
        }
        event => {
            let rows = events.iter().filter(|row| row.meter == event).map(|row| row.at);
            rows.chain(works(world, item, event)).map(plain).collect()
        }
    })
}

fn returns(world: &World, item: &Item) -> impl Iterator<Item = Timestamp> {
    let states = world.register.states.iter();
    states.filter(|state| state.item == item.tag && state.word == "returned").map(|state| state.at)
}

fn own<'a>(world: &'a World, item: &Item) -> impl Iterator<Item = &'a Fitting> {
    world.register.fittings.iter().filter(move |f| f.item == item.tag)
}

fn works(world: &World, item: &Item, event: &str) -> Vec<Timestamp> {
    let this = |tag: &str| tag == item.tag;
    match event {
        "set member renewed" => {
            let member = |tag: &str| tag != item.tag && same_set(world, item, tag);
            work_done::of_word(world, "renewal", Outcome::PassedOrDone, member)
        }
        "path proof load failed" => in_path(world, item),
        "proof load failed" => work_done::of_word(world, "proof load test", Outcome::Failed, this),
        done => work_done::of_word(world, done, Outcome::PassedOrDone, this),
    }
}

/// Failed proof loads of what hung on the item at that instant, or what it hung on.
fn in_path(world: &World, item: &Item) -> Vec<Timestamp> {
    let mut found = Vec::new();
    for work in world.register.work.iter().filter(|work| work.outcome == Outcome::Failed) {
        let is_proof = world.policy.rule(&work.rule).is_some_and(|rule| rule.work == "proof load test");
        let hangs = |one: &str, on: &str| chains::hangs_on(one, on, work.at, &world.register);
        let other = work.item != item.tag;
        if is_proof && other && (hangs(&item.tag, &work.item) || hangs(&work.item, &item.tag)) {
            found.push(work.at);
        }
    }
    found
}

fn same_set(world: &World, item: &Item, tag: &str) -> bool {
    let other = world.register.item(tag).ok();
    item.set.is_some() && other.is_some_and(|other| other.set == item.set)
}
