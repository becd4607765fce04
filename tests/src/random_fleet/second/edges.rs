//! Days on which a clause of a rule turns, so that work and as-of dates can stand on them.

use super::super::busy::Busy;
use super::super::clock::later;
use super::super::dice::Dice;
use crate::slow_checker::register::Fitting;
use crate::slow_checker::rules::{Rule, Turn};
use jiff::civil::Date;

/// The days on which windows of yearly days and of days that come once open.
pub fn openings(rule: &Rule, busy: &Busy) -> Result<Vec<Date>, String> {
    let mut days = Vec::new();
    for clause in &rule.calendars {
        match &clause.turn {
            Turn::Every(_) => {}
            Turn::Once(day) => days.push(rule.early.before(*day)?),
            Turn::By { month, day } => {
                for year in busy.start.year()..=busy.end.year() {
                    let date = Date::new(year, *month, *day).map_err(|e| e.to_string())?;
                    days.push(rule.early.before(date)?);
                }
            }
        }
    }
    Ok(days)
}

/// Where work stands on that day, an event of some busy day was done for lately, or just was not.
pub fn lately(dice: &mut Dice, rule: &Rule, busy: &Busy) -> Result<Option<Date>, String> {
    let spans: Vec<_> = rule.afters.iter().filter_map(|clause| clause.unless_done_within).collect();
    if spans.is_empty() {
        return Ok(None);
    }
    let day = *dice.pick(&busy.days);
    dice.pick(&spans).before(day).map(Some)
}

/// The day of a removal known by date, the eve of a state, and days on which something happens.
pub fn as_of(dice: &mut Dice, fittings: &[Fitting], busy: &Busy) -> Result<Vec<Date>, String> {
    let earliest = later(busy.start, 200)?;
    let latest = later(busy.end, 300)?;
    let removals: Vec<Date> = fittings.iter().filter_map(|f| f.to_day).collect();
    let mut days = Vec::new();
    for choice in [&removals, &busy.eves, &busy.days] {
        let mut choice: Vec<Date> = choice.clone();
        choice.retain(|day| (earliest..=latest).contains(day));
        if !choice.is_empty() {
            days.push(*dice.pick(&choice));
        }
    }
    Ok(days)
}
