//! Which use an item counts: every event tried against every chain of its fittings.

use super::decimal::Decimal;
use super::moments::{self, Moment};
use super::register::{Fitting, Item, Register, Use};
use jiff::Timestamp;

/// A row of use that an item counts, once, however many chains lead to its host.
#[derive(Clone)]
pub struct Counted {
    pub meter: String,
    pub amount: Decimal,
    pub at: Timestamp,
}

pub fn counted(item: &str, register: &Register) -> Vec<Counted> {
    let mine = register.uses.iter().filter(|used| counts(item, used, register));
    let mut mine: Vec<Counted> =
        mine.map(|u| Counted { meter: u.meter.clone(), amount: u.amount, at: u.at }).collect();
    mine.sort_by_key(|event| event.at);
    mine
}

fn counts(item: &str, used: &Use, register: &Register) -> bool {
    used.host == item || leads(item, used, &register.fittings, &mut vec![item.to_owned()])
}

/// Whether some chain of fittings leads from the item to the host of the use. On a day
/// without a time the links are tried one by one: they need not have held together.
fn leads(item: &str, used: &Use, fittings: &[Fitting], path: &mut Vec<String>) -> bool {
    let links = fittings.iter().filter(|f| f.item == item && holds(f, used));
    for link in links {
        if link.host == used.host {
            return true;
        }
        if path.contains(&link.host) {
            continue;
        }
        path.push(link.host.clone());
        if leads(&link.host, used, fittings, path) {
            return true;
        }
        path.pop();
    }
    false
}

/// Whether one item was fitted to another at an instant, climbing every link: on the day of a swap of which no time
/// is known an item sits on both hosts.
pub fn hangs_on(item: &str, host: &str, at: Timestamp, register: &Register) -> bool {
    climbs(item, host, at, register, &mut vec![item.to_owned()])
}

fn climbs(item: &str, host: &str, at: Timestamp, register: &Register, path: &mut Vec<String>) -> bool {
    let stands = |f: &&Fitting| f.item == item && f.from <= at && f.to.is_none_or(|to| at < to);
    for link in register.fittings.iter().filter(stands) {
        if link.host == host {
            return true;
        }
        if path.contains(&link.host) {
            continue;
        }
        path.push(link.host.clone());
        if climbs(&link.host, host, at, register, path) {
            return true;
        }
        path.pop();
    }
    false
}

fn holds(fitting: &Fitting, used: &Use) -> bool {
    match used.whole_day {
        Some((begin, end)) => fitting.from < end && fitting.to.is_none_or(|to| to > begin),
        None => fitting.from <= used.at && fitting.to.is_none_or(|to| used.at < to),
    }
}

/// What an item came out of. It was a part of a batch until the very moment; a cut is dated to the start of a day.
struct Origin<'a> {
    parent: &'a str,
    until: Timestamp,
    was_part: bool,
}

fn origins(item: &Item) -> Result<Vec<Origin<'_>>, String> {
    let mut origins = Vec::new();
    if let Some(parent) = &item.cut_from {
        let entered = item.entered.ok_or_else(|| format!("{}: cut, but never entered", item.tag))?;
        let until = moments::start_of(entered, &item.zone)?;
        origins.push(Origin { parent, until, was_part: false });
    }
    if let Some((parent, moment)) = &item.taken_from {
        let until = match moment {
            Moment::Exact(at) => *at,
            Moment::Day(day) => moments::end_of(*day, &item.zone)?,
        };
        let cut = origins.iter().position(|origin| origin.parent == parent);
        let cut = cut.map(|at| origins.remove(at).until);
        origins.push(Origin { parent, until: cut.map_or(until, |cut| cut.max(until)), was_part: true });
    }
    Ok(origins)
}

/// Use that stands before the item's own records: its opening use, and whatever it came out of had by then. A use that
/// reached a part both by its parent and by itself is one use.
pub fn inherited(item: &Item, meter: &str, until: Timestamp, register: &Register) -> Result<Decimal, String> {
    let own = item.opening.iter().filter(|(name, _)| name == meter);
    let mut sum = own.fold(Decimal::ZERO, |sum, (_, value)| sum + *value);
    for origin in origins(item)? {
        let end = origin.until.min(until);
        for used in register.uses.iter().filter(|used| used.meter == meter) {
            let before = match used.whole_day {
                Some((begin, _)) if origin.was_part => begin < origin.until && used.at < until,
                _ => used.at < end,
            };
            let twice = origin.was_part && counts(&item.tag, used, register);
            if before && !twice && counts(origin.parent, used, register) {
                sum = sum + used.amount;
            }
        }
        sum = sum + inherited(register.item(origin.parent)?, meter, end, register)?;
    }
    Ok(sum)
}
