//! Happenings of the item's fittings beside its own coming and going: its issue from
//! stores, and what its fellows on the same host do.

use super::World;
use super::after::Happening;
use super::moments;
use super::register::{Fitting, Item};
use jiff::{SignedDuration, Timestamp};

/// Fittings with a night in store before them, and the very first.
pub fn issues(world: &World, item: &Item) -> Result<Vec<Happening>, String> {
    let own: Vec<&Fitting> = world.register.fittings.iter().filter(|f| f.item == item.tag).collect();
    let mut issues = Vec::new();
    for fitting in &own {
        let earlier: Vec<&&Fitting> = own.iter().filter(|f| f.from < fitting.from).collect();
        if issued(item, &earlier, fitting.from)? {
            issues.push(Happening::at(fitting.from, item));
        }
    }
    Ok(issues)
}

fn issued(item: &Item, earlier: &[&&Fitting], from: Timestamp) -> Result<bool, String> {
    // A fitting that never ended leaves nothing in store.
    if earlier.iter().any(|f| f.to.is_none()) {
        return Ok(false);
    }
    let Some(removed) = earlier.iter().filter_map(|f| f.to).max() else {
        return Ok(true);
    };
    // 24:00 of a day still belongs to that day.
    let just_before = removed.checked_sub(SignedDuration::from_micros(1)).map_err(|e| e.to_string())?;
    let nights = moments::date_at(just_before, &item.zone) < moments::date_at(from, &item.zone);
    Ok(removed < from && nights)
}

/// Another item of the kind came to the host that this one was fitted to.
pub fn fitted(world: &World, item: &Item) -> Vec<Happening> {
    let fellows = fellows(world, item).into_iter();
    fellows.filter(|f| beside(world, item, f, f.from)).map(|f| Happening::at(f.from, item)).collect()
}

/// Another item of the kind left the host that this one was fitted to.
pub fn removed(world: &World, item: &Item) -> Vec<Happening> {
    let left = |f: &Fitting| f.to.is_some_and(|to| beside(world, item, f, to));
    let fellows = fellows(world, item).into_iter();
    fellows.filter(|f| left(f)).filter_map(|f| Happening::removal(f, item)).collect()
}

fn fellows<'a>(world: &'a World, item: &Item) -> Vec<&'a Fitting> {
    let kind = |tag: &str| world.register.item(tag).is_ok_and(|other| other.kind == item.kind);
    let fittings = world.register.fittings.iter();
    fittings.filter(|f| f.item != item.tag && kind(&f.item)).collect()
}

fn beside(world: &World, item: &Item, fellow: &Fitting, at: Timestamp) -> bool {
    let there = |f: &Fitting| {
        f.item == item.tag && f.host == fellow.host && f.from <= at && f.to.is_none_or(|to| at < to)
    };
    world.register.fittings.iter().any(there)
}
