//! Which use an item counts: every event tried against every chain of its fittings.

use super::decimal::Decimal;
use super::moments;
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
    let counts =
        |used: &&Use| used.host == item || leads(item, used, &register.fittings, &mut vec![item.to_owned()]);
    let mine = register.uses.iter().filter(counts);
    let mut mine: Vec<Counted> =
        mine.map(|u| Counted { meter: u.meter.clone(), amount: u.amount, at: u.at }).collect();
    mine.sort_by_key(|event| event.at);
    mine
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

/// Use that stands before the item's own records: its opening use, and for a cut piece
/// whatever its parent had by the cut, at 00:00 of the piece's entry into service.
pub fn inherited(item: &Item, meter: &str, until: Timestamp, register: &Register) -> Result<Decimal, String> {
    let own = item.opening.iter().filter(|(name, _)| name == meter);
    let mut sum = own.fold(Decimal::ZERO, |sum, (_, value)| sum + *value);
    let Some(parent) = &item.cut_from else {
        return Ok(sum);
    };
    let entered = item.entered.ok_or_else(|| format!("{}: cut, but never entered", item.tag))?;
    let cut = moments::start_of(entered, &item.zone)?.min(until);
    for event in counted(parent, register) {
        if event.meter == meter && event.at < cut {
            sum = sum + event.amount;
        }
    }
    Ok(sum + inherited(register.item(parent)?, meter, cut, register)?)
}
