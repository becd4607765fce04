//! Where an item is at 24:00 of the as-of date: fitted, in store, laid up, gone.

use super::World;
use super::register::{Fitting, Item, State};
use super::rules::Rule;
use jiff::Timestamp;

/// The fittings that hold at that instant. A removal of that very day, known by its date
/// alone, stands at 24:00 and has not happened yet.
pub fn fitted<'a>(world: &'a World, tag: &str, cutoff: Timestamp) -> impl Iterator<Item = &'a Fitting> {
    let holds = move |f: &&Fitting| f.from < cutoff && f.to.is_none_or(|to| to >= cutoff);
    world.register.fittings.iter().filter(move |f| f.item == tag).filter(holds)
}

pub fn withdrawn(world: &World, tag: &str, cutoff: Timestamp) -> bool {
    before(world, tag, cutoff).any(|state| state.word == "withdrawn")
}

/// At equal instants `laid up` counts as later.
pub fn laid_up(world: &World, tag: &str, cutoff: Timestamp) -> bool {
    let mut last: Option<&State> = None;
    for state in before(world, tag, cutoff) {
        let speaks = state.word == "laid up" || state.word == "returned";
        let is_later =
            last.is_none_or(|last| state.at > last.at || state.at == last.at && state.word == "laid up");
        if speaks && is_later {
            last = Some(state);
        }
    }
    last.is_some_and(|last| last.word == "laid up")
}

fn before<'a>(world: &'a World, tag: &str, cutoff: Timestamp) -> impl Iterator<Item = &'a State> {
    let states = world.register.states.iter();
    states.filter(move |state| state.item == tag && state.at < cutoff)
}

/// Whether the item is where the rule wants it.
pub fn suits(world: &World, item: &Item, rule: &Rule) -> Result<bool, String> {
    let cutoff = world.cutoff(item)?;
    let in_store = || fitted(world, &item.tag, cutoff).next().is_none();
    let laid_up = || laid_up(world, &item.tag, cutoff);
    Ok(rule.in_store.is_none_or(|wanted| wanted == in_store())
        && rule.laid_up.is_none_or(|wanted| wanted == laid_up()))
}
