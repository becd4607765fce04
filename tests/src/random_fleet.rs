//! Small random fleets: valid registers and policy sets that crowd the edges of the
//! contract, drawn from a seed, for holding two reckonings against each other.

mod busy;
mod clock;
mod dice;
mod gear;
mod policy_text;
mod second;
mod sheet;
mod stints;
#[cfg(test)]
mod trials;
mod uses;
mod works;

use crate::slow_checker::policy::Policy;
use crate::slow_checker::register::Register;
use busy::Busy;
use dice::Dice;
use jiff::civil::Date;
use std::collections::BTreeMap;
use works::Works;

pub struct RandomFleet {
    /// Register file name to CSV text.
    pub files: BTreeMap<String, String>,
    /// Policy file name to TOML text.
    pub policies: BTreeMap<String, String>,
    /// Dates to reckon it at.
    pub as_of: Vec<Date>,
}

/// The same seed draws the same fleet.
///
/// # Panics
/// Only where the drawing itself is at fault: every seed has a fleet.
pub fn random_fleet(seed: u64) -> RandomFleet {
    match draw(seed) {
        Ok(fleet) => fleet,
        Err(fault) => panic!("fleet {seed}: {fault}"),
    }
}

fn draw(seed: u64) -> Result<RandomFleet, String> {
    let (mut fleet, span) = first(&mut Dice::new(seed))?;
    second::lay_over(&mut Dice::new(!seed), &mut fleet, span)?;
    Ok(fleet)
}

/// The fleet, and the first and last day of its records.
fn first(dice: &mut Dice) -> Result<(RandomFleet, (Date, Date)), String> {
    // The year after the first always has a 29 February.
    let year = *dice.pick(&[2023, 2027]);
    let start = clock::later(Date::new(year, 1, 1).map_err(|e| e.to_string())?, dice.between(0, 150))?;
    let end = clock::later(start, 730)?;
    let stations = gear::stations(dice);
    let slugs: Vec<&str> = stations.iter().map(|(slug, _)| *slug).collect();
    let mut drawn = policy_text::draw(dice, start, &slugs)?;
    if let Some(zone) = gear::home_zone(dice) {
        drawn.files.insert("service.toml".to_owned(), format!("home_zone = \"{zone}\"\n"));
    }
    let mut files = BTreeMap::new();
    files.insert("stations.csv".to_owned(), gear::stations_csv(dice, &stations)?);
    files.insert("items.csv".to_owned(), gear::items_csv(dice, start, &slugs)?);
    let policy = Policy::read(&drawn.files)?;
    let as_of = records(dice, &policy, &drawn.pace, &mut files, (start, end))?;
    Ok((RandomFleet { files, policies: drawn.files, as_of }, (start, end)))
}

/// Adds fittings, work, use and states to the stations and items; answers as-of dates.
fn records(
    dice: &mut Dice,
    policy: &Policy,
    pace: &BTreeMap<String, i32>,
    files: &mut BTreeMap<String, String>,
    (start, end): (Date, Date),
) -> Result<Vec<Date>, String> {
    let items = Register::read(files, policy)?.items;
    let stints = stints::draw(dice, &items, policy, (start, end))?;
    let mut busy = Busy::of(&stints.fittings, start, end);
    let works = Works { dice, policy, pace, busy: &mut busy }.csv(&items)?;
    files.insert("fittings.csv".to_owned(), stints.csv);
    files.insert("work.csv".to_owned(), works);
    files.insert("usage.csv".to_owned(), uses::csv(dice, &items, &busy)?);
    files.insert("states.csv".to_owned(), works::states_csv(dice, &items, &mut busy)?);
    works::as_of(dice, &items, &busy)
}
