//! An independent reckoning of the due table, written from the words of the contract
//! alone and kept slow on purpose: event by event, day by day, nothing summed ahead.
//! The tests hold the daemon's table against it.

mod after;
mod alike;
pub(crate) mod applies;
mod calendar;
mod chains;
pub(crate) mod civil;
mod decimal;
mod dials;
mod fellows;
#[cfg(test)]
mod golden;
mod kinds;
pub(crate) mod moments;
pub(crate) mod overlaps;
mod place;
pub(crate) mod policy;
pub(crate) mod register;
mod row;
pub(crate) mod rules;
mod sheets;
mod standing;
#[cfg(test)]
mod stories;
mod toml_cells;
mod usage;
mod when;
mod work_done;

use jiff::Timestamp;
use jiff::civil::Date;
use policy::Policy;
use register::{Item, Register};
use std::collections::BTreeMap;

/// One item under one rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    pub item: String,
    pub rule: String,
    pub no_base: bool,
    pub calendar_due: Option<Date>,
    /// The earliest date on which a limit was reached.
    pub usage_due: Option<Date>,
    pub after_due: Option<Date>,
    /// Meter, used, limit: in the order of the rule.
    pub used: Vec<(String, String, String)>,
    pub standing_without_forecast: &'static str,
}

/// Everything known, seen from 24:00 of the as-of date.
pub(crate) struct World {
    policy: Policy,
    register: Register,
    as_of: Date,
}

impl World {
    /// Records count with an instant before this, wherever they were entered.
    fn cutoff(&self, item: &Item) -> Result<Timestamp, String> {
        moments::end_of(self.as_of, &item.zone)
    }
}

/// Reckons the due table of a register (file name to CSV text) under a policy set (file
/// name to TOML text) as of a date; sorted by item and rule.
pub fn reckon(
    files: &BTreeMap<String, String>,
    policy_files: &BTreeMap<String, String>,
    as_of: Date,
) -> Result<Vec<Row>, String> {
    let mut tables = reckon_each(files, policy_files, &[as_of])?;
    Ok(tables.remove(0))
}

/// The same on each of several dates, from one reading of the files.
pub fn reckon_each(
    files: &BTreeMap<String, String>,
    policy_files: &BTreeMap<String, String>,
    days: &[Date],
) -> Result<Vec<Vec<Row>>, String> {
    let policy = Policy::read(policy_files)?;
    let register = Register::read(files, &policy)?;
    overlaps::refuse(&register.fittings, &register.items, &policy)?;
    let mut world = World { policy, register, as_of: Date::ZERO };
    let mut tables = Vec::new();
    for day in days {
        world.as_of = *day;
        tables.push(table(&world)?);
    }
    Ok(tables)
}

fn table(world: &World) -> Result<Vec<Row>, String> {
    let mut rows = Vec::new();
    for item in &world.register.items {
        rows.extend(row::of_item(world, item)?);
    }
    rows.sort_by(|a, b| (&a.item, &a.rule).cmp(&(&b.item, &b.rule)));
    Ok(rows)
}
