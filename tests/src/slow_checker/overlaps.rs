//! Fittings that the contract refuses: an item in two places, a position overfull.

use super::policy::Policy;
use super::register::{Fitting, Item, find};

pub fn refuse(fittings: &[Fitting], items: &[Item], policy: &Policy) -> Result<(), String> {
    for (n, fitting) in fittings.iter().enumerate() {
        for other in &fittings[n + 1..] {
            if fitting.item == other.item && overlap(fitting, other) {
                return Err(format!("{} is in two places at once", fitting.item));
            }
        }
        let room = room(fitting, items, policy)?;
        if crowd(fitting, fittings) > room {
            let Fitting { host, position, .. } = fitting;
            return Err(format!("{position} of {host} holds {room}"));
        }
    }
    Ok(())
}

fn room(fitting: &Fitting, items: &[Item], policy: &Policy) -> Result<usize, String> {
    let host = policy.kind(&find(items, &fitting.host)?.kind)?;
    let position = host.positions.iter().find(|position| position.name == fitting.position);
    let position = position.ok_or_else(|| format!("{} has no such position", fitting.host))?;
    let kind = &find(items, &fitting.item)?.kind;
    if position.takes == *kind {
        Ok(position.count)
    } else {
        Err(format!("{} takes no {kind}", position.name))
    }
}

/// How many stand in the position at the moment when this one is fitted, itself included.
fn crowd(fitting: &Fitting, fittings: &[Fitting]) -> usize {
    let there = |other: &&Fitting| {
        let same_place = other.host == fitting.host && other.position == fitting.position;
        let holds = other.from <= fitting.from && other.to.is_none_or(|to| to > fitting.from);
        same_place && holds && (std::ptr::eq(*other, fitting) || !swap(other, fitting))
    };
    fittings.iter().filter(there).count()
}

fn overlap(one: &Fitting, other: &Fitting) -> bool {
    let begins_within = |a: &Fitting, b: &Fitting| a.to.is_none_or(|to| b.from < to);
    begins_within(one, other) && begins_within(other, one) && !swap(one, other) && !swap(other, one)
}

/// A removal and a fitting known to be of the same day, and no closer.
fn swap(first: &Fitting, second: &Fitting) -> bool {
    first.to_day.is_some() && first.to_day == second.from_day && first.zone == second.zone
}
