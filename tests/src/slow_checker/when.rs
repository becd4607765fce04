//! Readings that work brought home: whether one of them meets a bound.

use super::World;
use super::decimal::Decimal;
use super::register::{Item, Work};
use super::rules::Rule;
use super::toml_cells as cells;
use jiff::Timestamp;
use toml::{Table, Value};

/// `when = { of = "rule-id", reading = "…", at_least = … }`.
pub struct When {
    /// Left out: the rule that the clause stands in.
    pub of: Option<String>,
    pub reading: String,
    bound: Bound,
}

enum Bound {
    AtLeast(Decimal),
    AtMost(Decimal),
}

impl When {
    pub fn read(table: &Table) -> Result<Option<When>, String> {
        let Some(when) = table.get("when").and_then(Value::as_table) else {
            return Ok(None);
        };
        let bound = match (cells::decimal(when, "at_least")?, cells::decimal(when, "at_most")?) {
            (Some(least), None) => Bound::AtLeast(least),
            (None, Some(most)) => Bound::AtMost(most),
            _ => return Err(format!("exactly one of at_least and at_most in {when}")),
        };
        Ok(Some(When { of: cells::text(when, "of"), reading: cells::need(when, "reading")?, bound }))
    }

    fn meets(&self, value: Decimal) -> bool {
        match self.bound {
            Bound::AtLeast(least) => value >= least,
            Bound::AtMost(most) => value <= most,
        }
    }

    /// Several values of one name in one row: one of them is enough.
    fn met_by(&self, work: &Work) -> bool {
        self.values(work).any(|value| self.meets(value))
    }

    fn values(&self, work: &Work) -> impl Iterator<Item = Decimal> {
        let named = work.readings.iter().filter(|(name, _)| *name == self.reading);
        named.map(|(_, value)| *value)
    }
}

/// Whether a clause of that rule counts: it has no condition, or its condition holds.
pub fn holds(world: &World, item: &Item, rule: &Rule, when: Option<&When>) -> Result<bool, String> {
    let Some(when) = when else { return Ok(true) };
    let cutoff = world.cutoff(item)?;
    let of = when.of.as_deref().unwrap_or(&rule.id);
    let mut carrying = carrying(world, item, of, when);
    carrying.retain(|work| work.at < cutoff);
    let latest = carrying.iter().map(|work| work.at).max();
    Ok(carrying.iter().any(|work| Some(work.at) == latest && when.met_by(work)))
}

/// The instants of work on the other rule whose reading meets the bound.
pub fn met(world: &World, item: &Item, when: &When) -> Vec<Timestamp> {
    let of = when.of.as_deref().unwrap_or_default();
    let carrying = carrying(world, item, of, when);
    carrying.into_iter().filter(|work| when.met_by(work)).map(|work| work.at).collect()
}

/// Work on that very rule, whatever came out of it, that carries the reading.
fn carrying<'a>(world: &'a World, item: &Item, of: &str, when: &When) -> Vec<&'a Work> {
    let carries =
        |work: &&Work| work.item == item.tag && work.rule == of && when.values(work).next().is_some();
    world.register.work.iter().filter(carries).collect()
}
