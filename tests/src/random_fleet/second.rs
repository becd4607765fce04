//! A second drawing over the first, which stays as it was: strops that come and go, rules that
//! ask where an item is, what was read on it and whom it hangs beside, and records for them.

#[cfg(test)]
mod decided;
mod edges;
mod gear;
mod reopened;
mod rules;
mod states;
mod works;

use super::busy::Busy;
use super::dice::Dice;
use super::{RandomFleet, stints};
use crate::slow_checker::policy::Policy;
use crate::slow_checker::register::Register;
use jiff::civil::Date;
use reopened::Reopened;

pub fn lay_over(dice: &mut Dice, fleet: &mut RandomFleet, (start, end): (Date, Date)) -> Result<(), String> {
    let slugs = Reopened::of(&fleet.files["stations.csv"])?.column("station");
    let slugs: Vec<&str> = slugs.iter().map(String::as_str).collect();
    let rules = fleet.policies.entry("rules.toml".to_owned()).or_default();
    rules.push_str(&rules::draw(dice, start, &slugs)?);
    let policy = Policy::read(&fleet.policies)?;
    gear::draw(dice, fleet, start, &slugs)?;
    let items = Register::read(&fleet.files, &policy)?.items;
    let drawn = stints::of_strops(dice, &items, &policy, (start, end))?;
    add(dice, fleet, "fittings.csv", &drawn.csv)?;
    // The first drawing's fittings are as interesting as the strops'.
    let fittings = Register::read(&fleet.files, &policy)?.fittings;
    let mut busy = Busy::of(&fittings, start, end);
    let states = states::csv(dice, &items, &mut busy)?;
    add(dice, fleet, "states.csv", &states)?;
    let works = works::csv(dice, &items, &policy, &busy)?;
    add(dice, fleet, "work.csv", &works)?;
    let days = edges::as_of(dice, &fittings, &busy)?;
    fleet.as_of.extend(days);
    fleet.as_of.sort();
    fleet.as_of.dedup();
    Ok(())
}

/// Keys of the second drawing have letters of their own.
fn add(dice: &mut Dice, fleet: &mut RandomFleet, name: &str, more: &str) -> Result<(), String> {
    let first = fleet.files.get(name).map(String::as_str).unwrap_or_default();
    let mut sheet = Reopened::of(first)?;
    sheet.join(&Reopened::of(more)?);
    fleet.files.insert(name.to_owned(), sheet.write(dice)?);
    Ok(())
}
