//! Calendar clauses: base, span, grid, law's cap and pauses.

use super::civil::Length;
use super::moments;
use super::register::{Fitting, Item};
use super::rules::{Calendar, From, Interval, Rule, Turn};
use jiff::civil::Date;

/// What a calendar clause needs to know beside itself.
pub struct Ground<'a> {
    pub item: &'a Item,
    pub rule: &'a Rule,
    /// Local dates of the work that counts, in order of time.
    pub done: &'a [Date],
    pub fittings: &'a [Fitting],
    pub as_of: Date,
}

/// What a clause comes to.
#[derive(Debug, PartialEq, Eq)]
pub enum Found {
    NoBase,
    /// It has had its day.
    Nothing,
    Due(Date),
}

pub fn due(clause: &Calendar, ground: &Ground) -> Result<Found, String> {
    match &clause.turn {
        Turn::Every(interval) => repeated(interval, ground).map(found),
        Turn::By { month, day } => yearly(*month, *day, ground).map(found),
        Turn::Once(day) => once(*day, ground),
    }
}

fn found(date: Option<Date>) -> Found {
    date.map_or(Found::NoBase, Found::Due)
}

/// The first such day whose window was not open yet at the last work; for an item never done, the
/// first on which it may stand in service. Nothing where it has no base.
fn yearly(month: i8, day: i8, ground: &Ground) -> Result<Option<Date>, String> {
    let last = ground.done.last().copied();
    let Some(base) = last.or(ground.item.entered).or(ground.item.made) else {
        return Ok(None);
    };
    let mut year = base.year();
    loop {
        let date = Date::new(year, month, day).map_err(|e| e.to_string())?;
        let stands = match last {
            Some(worked) => ground.rule.early.before(date)? > worked,
            None => date >= base,
        };
        if stands {
            return Ok(Some(date));
        }
        year += 1;
    }
}

fn once(day: Date, ground: &Ground) -> Result<Found, String> {
    let opens = ground.rule.early.before(day)?;
    let met = ground.done.last().is_some_and(|worked| *worked >= opens);
    Ok(if met { Found::Nothing } else { Found::Due(day) })
}

/// The date of an interval; nothing where it has no base.
fn repeated(clause: &Interval, ground: &Ground) -> Result<Option<Date>, String> {
    let Ground { item, done, .. } = ground;
    let base = match clause.from {
        From::Entry => item.entered.or(item.made),
        From::Manufacture => item.made.or(item.entered),
        From::LastDone if clause.fixed => return fixed(clause, ground),
        From::LastDone => done.last().copied().or(item.entered).or(item.made),
    };
    let Some(base) = base else { return Ok(None) };
    let date = clause.every.after(base)?;
    if clause.pauses {
        return paused(date, base, ground).map(Some);
    }
    Ok(Some(date))
}

fn fixed(clause: &Interval, ground: &Ground) -> Result<Option<Date>, String> {
    let Ground { item, rule, done, .. } = ground;
    let first = clause.anchor.or(item.entered).or(item.made).or(done.first().copied());
    let Some(first) = first else { return Ok(None) };
    let date = grid(first, clause.every, rule.early, done)?;
    match done.last() {
        Some(last) if rule.law => Ok(Some(date.min(clause.every.after(*last)?))),
        _ => Ok(Some(date)),
    }
}

/// The next date of the grid once every day of work has been gone through in order.
fn grid(first: Date, every: Length, early: Length, done: &[Date]) -> Result<Date, String> {
    let (mut base, mut k) = (first, 1);
    let mut before = None;
    for day in done {
        if before == Some(day) {
            continue;
        }
        before = Some(day);
        let opens = early.before(every.times(k).after(base)?)?;
        if opens > *day {
            (base, k) = (*day, 1);
            continue;
        }
        while early.before(every.times(k).after(base)?)? <= *day {
            k += 1;
        }
    }
    every.times(k).after(base)
}

/// Adds each local day after the base, up to the as-of date, that the item lay unfitted.
fn paused(date: Date, base: Date, ground: &Ground) -> Result<Date, String> {
    let mut date = date;
    let mut day = base;
    while day < ground.as_of {
        day = day.tomorrow().map_err(|e| e.to_string())?;
        if !fitted_on(day, ground)? {
            date = date.tomorrow().map_err(|e| e.to_string())?;
        }
    }
    Ok(date)
}

fn fitted_on(day: Date, ground: &Ground) -> Result<bool, String> {
    let begin = moments::start_of(day, &ground.item.zone)?;
    let end = moments::end_of(day, &ground.item.zone)?;
    let touches = |f: &Fitting| f.item == ground.item.tag && f.from < end && f.to.is_none_or(|to| to > begin);
    Ok(ground.fittings.iter().any(touches))
}

#[cfg(test)]
mod tests {
    use super::grid;
    use crate::slow_checker::civil::Length;
    use jiff::civil::{Date, date};

    fn next(first: Date, every: &str, early: &str, done: &[Date]) -> Date {
        let (every, early) = (Length::parse(every).unwrap(), Length::parse(early).unwrap());
        grid(first, every, early, done).unwrap()
    }

    /// Domain 4.4 B: weekly Monday, done late, a missed turn, done late again.
    #[test]
    fn a_weekly_grid_keeps_its_monday() {
        let first = date(2026, 9, 28);
        assert_eq!(next(first, "1 week", "2 days", &[date(2026, 10, 7)]), date(2026, 10, 12));
        let done = [date(2026, 10, 7), date(2026, 10, 20)];
        assert_eq!(next(first, "1 week", "2 days", &done), date(2026, 10, 26));
    }

    #[test]
    fn work_too_early_starts_the_grid_again() {
        let done = [date(2026, 3, 1)];
        let due = next(date(2025, 10, 31), "6 months", "30 days", &done);
        assert_eq!(due, date(2026, 9, 1));
    }

    /// Domain 4.4 A before the cap: 30 Apr done within its window leaves 31 Oct standing.
    #[test]
    fn a_grid_is_reckoned_from_its_own_base() {
        let done = [date(2026, 4, 9)];
        let due = next(date(2025, 10, 31), "6 months", "30 days", &done);
        assert_eq!(due, date(2026, 10, 31));
    }
}
