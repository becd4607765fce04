//! After clauses: the events that make work due, and by when.

use super::World;
use super::chains::Counted;
use super::moments;
use super::register::{Fitting, Item, Outcome};
use super::rules::After;
use super::work_done;
use jiff::Timestamp;
use jiff::civil::Date;

/// A happening: its instant, and the local date on which it is reckoned.
struct Happening {
    at: Timestamp,
    day: Date,
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
    for happening in happenings(world, item, &clause.event, events) {
        let open = last_work.is_none_or(|last| happening.at > last) && happening.at < cutoff;
        if open {
            let date = clause.within.after(happening.day)?;
            earliest = Some(earliest.map_or(date, |known| known.min(date)));
        }
    }
    Ok(earliest)
}

fn happenings(world: &World, item: &Item, event: &str, events: &[Counted]) -> Vec<Happening> {
    let plain = |at: Timestamp| Happening { at, day: moments::date_at(at, &item.zone) };
    match event {
        "fitted" => own(world, item).map(|f| plain(f.from)).collect(),
        "removed" => own(world, item).filter_map(|f| removal(f, item)).collect(),
        _ => {
            let rows = events.iter().filter(|row| row.meter == event).map(|row| row.at);
            rows.chain(works(world, item, event)).map(plain).collect()
        }
    }
}

fn own<'a>(world: &'a World, item: &Item) -> impl Iterator<Item = &'a Fitting> {
    world.register.fittings.iter().filter(move |f| f.item == item.tag)
}

/// A removal of which only the date is known stands at 24:00, yet on the written date.
fn removal(fitting: &Fitting, item: &Item) -> Option<Happening> {
    let at = fitting.to?;
    let day = fitting.to_day.unwrap_or_else(|| moments::date_at(at, &item.zone));
    Some(Happening { at, day })
}

fn works(world: &World, item: &Item, event: &str) -> Vec<Timestamp> {
    let this = |tag: &str| tag == item.tag;
    match event {
        "set member renewed" => {
            let member = |tag: &str| tag != item.tag && same_set(world, item, tag);
            work_done::of_word(world, "renewal", Outcome::PassedOrDone, member)
        }
        "proof load failed" => work_done::of_word(world, "proof load test", Outcome::Failed, this),
        done => work_done::of_word(world, done, Outcome::PassedOrDone, this),
    }
}

fn same_set(world: &World, item: &Item, tag: &str) -> bool {
    let other = world.register.item(tag).ok();
    item.set.is_some() && other.is_some_and(|other| other.set == item.set)
}
