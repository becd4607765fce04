//! An independent reckoning of the due table, written from the words of the contract
//! alone and kept slow on purpose: event by event, day by day, nothing summed ahead.
//! The tests hold the daemon's table against it.

mod after;
pub(crate) mod applies;
mod calendar;
mod chains;
mod civil;
mod decimal;
mod dials;
#[cfg(test)]
mod golden;
mod kinds;
pub(crate) mod moments;
pub(crate) mod overlaps;
pub(crate) mod policy;
pub(crate) mod register;
mod row;
mod rules;
mod sheets;
mod standing;
#[cfg(test)]
mod stories;
mod toml_cells;
mod usage;
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
    let policy = Policy::read(policy_files)?;
    let register = Register::read(files, &policy)?;
    overlaps::refuse(&register.fittings, &register.items, &policy)?;
    let world = World { policy, register, as_of };
    let mut rows = Vec::new();
    for item in &world.register.items {
        rows.extend(row::of_item(&world, item)?);
    }
    rows.sort_by(|a, b| (&a.item, &a.rule).cmp(&(&b.item, &b.rule)));
    Ok(rows)
}
