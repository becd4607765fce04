//! Calendar clauses: floating and fixed due dates, the law's cap, store time that pauses the clock.

use jiff::civil::Date;

use crate::facts::{Fitting, Fleet, Item};
use crate::rule::{From, Interval, Store, YearDay};
use crate::span::Span;
use crate::zone::{Instant, Zone};

/// What a base date is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Base {
    /// Local date of the last work that counts.
    LastDone(Date),
    /// Entry into service.
    EntryIntoService(Date),
    /// Manufacture.
    Manufacture(Date),
    /// The anchor of a fixed grid.
    Anchor(Date),
    /// The first work ever, where a fixed grid has nothing else.
    FirstDone(Date),
    /// A date that the rule itself names.
    Named(Date),
}

impl Base {
    /// The date.
    pub const fn date(self) -> Date {
        match self {
            Base::LastDone(date)
            | Base::EntryIntoService(date)
            | Base::Manufacture(date)
            | Base::Anchor(date)
            | Base::FirstDone(date)
            | Base::Named(date) => date,
        }
    }
}

/// A calendar clause worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CalendarDue {
    /// What it counts from; on a fixed grid the base now in force.
    pub base: Base,
    /// How many spans after the base; 1 but for a fixed grid.
    pub times: u32,
    /// Days in store that were added.
    pub paused_days: u32,
    /// The law's interval brought the grid's date forward.
    pub capped: bool,
    /// The due date.
    pub due: Date,
}

/// Entry into service, or manufacture where that is unknown.
fn in_service(item: &Item) -> Option<Base> {
    let entered = item.entered_service_on.map(Base::EntryIntoService);
    entered.or(item.manufactured_on.map(Base::Manufacture))
}

fn made(item: &Item) -> Option<Base> {
    let made = item.manufactured_on.map(Base::Manufacture);
    made.or(item.entered_service_on.map(Base::EntryIntoService))
}

/// A floating clause or a life limit; none when there is no base.
pub fn floating(item: &Item, clause: &Interval, last_done: Option<Date>) -> Option<CalendarDue> {
    let base = match clause.from {
        From::LastDone => last_done.map(Base::LastDone).or_else(|| in_service(item)),
        From::EntryIntoService => in_service(item),
        From::Manufacture => made(item),
    }?;
    Some(CalendarDue {
        base,
        times: 1,
        paused_days: 0,
        capped: false,
        due: clause.every.after(base.date(), 1),
    })
}

/// A latest day of every year: the first whose window opens after the last work; never done, the first from the
/// base on. None when there is no base.
pub fn each_year(item: &Item, day: YearDay, early: Span, last_done: Option<Date>) -> Option<CalendarDue> {
    let base = last_done.map(Base::LastDone).or_else(|| in_service(item))?;
    let (from, done) = (base.date(), last_done.is_some());
    let mut years = from.year()..=i16::MAX;
    let due = years.find_map(|year| {
        let due = day.of(year)?;
        let meets = if done { early.before(due) > from } else { due >= from };
        meets.then_some(due)
    });
    Some(CalendarDue { base, times: 1, paused_days: 0, capped: false, due: due? })
}

/// A single date; none once work was done in its window or later.
pub fn once(date: Date, early: Span, last_done: Option<Date>) -> Option<CalendarDue> {
    let met = last_done.is_some_and(|done| done >= early.before(date));
    let due = CalendarDue { base: Base::Named(date), times: 1, paused_days: 0, capped: false, due: date };
    (!met).then_some(due)
}

/// A fixed grid after work on `dates`, ascending. `early` is the window's; `law` caps the date at the last
/// work + interval. None when there is no base.
pub fn fixed(
    item: &Item,
    clause: &Interval,
    dates: impl Iterator<Item = Date> + Clone,
    early: Span,
    law: bool,
) -> Option<CalendarDue> {
    let first = dates.clone().next().map(Base::FirstDone);
    let mut base = clause.anchor.map(Base::Anchor).or_else(|| in_service(item)).or(first)?;
    let mut times = 1;
    let mut last = None;
    for day in dates {
        if last == Some(day) {
            continue;
        }
        last = Some(day);
        if early.before(clause.every.after(base.date(), times)) > day {
            base = Base::LastDone(day);
            times = 1;
        } else {
            while early.before(clause.every.after(base.date(), times)) <= day {
                times += 1;
            }
        }
    }
    let grid = clause.every.after(base.date(), times);
    let cap = last.filter(|_| law).map(|day| clause.every.after(day, 1));
    let due = cap.map_or(grid, |cap| cap.min(grid));
    Some(CalendarDue { base, times, paused_days: 0, capped: due < grid, due })
}

/// Adds store time to a floating clause that pauses: local days after the base, up to the as-of date, on no
/// moment of which the item was fitted to anything.
pub fn pause(
    fleet: &Fleet,
    item: &Item,
    clause: &Interval,
    due: CalendarDue,
    as_of: Date,
    cutoff: Instant,
) -> CalendarDue {
    if clause.store == Store::Runs {
        return due;
    }
    let paused_days = days_in_store(fleet.zone_of(item), &item.fittings, due.base.date(), as_of, cutoff);
    CalendarDue { paused_days, due: Span::days(paused_days).after(due.due, 1), ..due }
}

fn days_in_store(zone: &Zone, fittings: &[Fitting], base: Date, as_of: Date, cutoff: Instant) -> u32 {
    let Ok(first) = base.tomorrow() else { return 0 };
    let mut in_store = days_from_to(first, as_of);
    // The first day not yet looked at; fittings stand in time order.
    let mut open = first;
    for fit in fittings.iter().filter(|fit| fit.from < cutoff && fit.from < fit.to) {
        let from = zone.date_of(fit.from).max(open);
        let last = if fit.to >= cutoff { as_of } else { zone.date_of(Instant(fit.to.0 - 1)).min(as_of) };
        in_store -= days_from_to(from, last);
        open = open.max(last.tomorrow().unwrap_or(Date::MAX));
    }
    u32::try_from(in_store.max(0)).unwrap_or(0)
}

/// Days from `first` to `last`, both counted; nought when `last` lies before.
fn days_from_to(first: Date, last: Date) -> i64 {
    if last < first { 0 } else { i64::from((last - first).get_days()) + 1 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kinds::KindId;
    use crate::rule::Grid;
    use jiff::civil::date;

    fn item(entered: Option<Date>, made: Option<Date>) -> Item {
        Item {
            tag: "F-1".into(),
            kind: KindId(0),
            station: None,
            zone: crate::facts::ZoneId(0),
            set: None,
            manufactured_on: made,
            entered_service_on: entered,
            attributes: Box::new([]),
            opening: Box::new([]),
            cut_from: None,
            taken_from: None,
            fittings: Vec::new(),
            works: Vec::new(),
            states: Vec::new(),
            logs: Vec::new(),
            reach: Vec::new(),
            day_reach: Vec::new(),
        }
    }

    fn clause(every: &str, grid: Grid, anchor: Option<Date>) -> Interval {
        Interval { every: every.parse().unwrap(), from: From::LastDone, grid, anchor, store: Store::Runs }
    }

    fn days(text: &str) -> Span {
        text.parse().unwrap()
    }

    /// domain brief 4.4 A: the grid says 31 Oct 2026 (reckoned from the anchor 31 Oct 2025), the statutory
    /// cap 9 Oct 2026.
    #[test]
    fn the_law_caps_a_fixed_grid_at_the_last_work() {
        let clause = clause("6 months", Grid::Fixed, Some(date(2025, 10, 31)));
        let done = [date(2026, 4, 9)];
        let law = fixed(&item(None, None), &clause, done.into_iter(), days("30 days"), true).unwrap();
        assert_eq!((law.due, law.capped), (date(2026, 10, 9), true));
        let house = fixed(&item(None, None), &clause, done.into_iter(), days("30 days"), false).unwrap();
        assert_eq!((house.due, house.capped), (date(2026, 10, 31), false));
    }

    /// domain brief 4.4 B: weekly Mondays; done Wed 7 Oct for 5 Oct, then Tue 20 Oct for 19 Oct.
    #[test]
    fn fixed_mondays_go_past_what_was_missed() {
        let clause = clause("1 week", Grid::Fixed, Some(date(2026, 9, 28)));
        let next = |done: &[Date]| {
            fixed(&item(None, None), &clause, done.iter().copied(), days("2 days"), false).unwrap().due
        };
        assert_eq!(next(&[date(2026, 10, 7)]), date(2026, 10, 12));
        assert_eq!(next(&[date(2026, 10, 7), date(2026, 10, 20)]), date(2026, 10, 26));
        assert_eq!(next(&[date(2026, 10, 3)]), date(2026, 10, 12), "at the window's edge it meets the date");
        assert_eq!(next(&[date(2026, 10, 2)]), date(2026, 10, 9), "a day before, the grid starts again");
        let floating = Interval { grid: Grid::Floating, ..clause };
        let due = super::floating(&item(None, None), &floating, Some(date(2026, 10, 7))).unwrap().due;
        assert_eq!(due, date(2026, 10, 14));
    }

    /// domain brief 4.17 A: 36 months in service against 72 months from manufacture.
    #[test]
    fn life_limits_ignore_work_and_fall_back_on_the_other_date() {
        let made_on = date(2021, 5, 10);
        let entered = date(2024, 11, 12);
        let life = |every: &str, from| Interval { from, ..clause(every, Grid::Floating, None) };
        let old = item(Some(entered), Some(made_on));
        let done = Some(date(2026, 1, 1));
        let service = floating(&old, &life("36 months", From::EntryIntoService), done).unwrap();
        let made = floating(&old, &life("72 months", From::Manufacture), done).unwrap();
        assert_eq!((service.due, made.due), (date(2027, 11, 12), date(2027, 5, 10)));
        let unmarked = item(Some(entered), None);
        let fallback = floating(&unmarked, &life("72 months", From::Manufacture), None).unwrap();
        assert_eq!(fallback.base, Base::EntryIntoService(entered));
        assert_eq!(floating(&item(None, None), &life("72 months", From::Manufacture), done), None);
    }

    #[test]
    fn store_days_are_those_on_no_moment_of_which_it_was_fitted() {
        let zone = Zone::parse("Europe/London").unwrap();
        let at = |day, hour| zone.instant(date(2026, 3, day).at(hour, 0, 0, 0));
        let fit =
            |from, to| Fitting { host: crate::facts::ItemId(0), position: None, from, to, to_day: false };
        let fittings = [fit(at(3, 10), at(5, 9)), fit(at(5, 15), at(8, 0)), fit(at(12, 0), Instant::MAX)];
        let store = |base: i8, as_of: i8| {
            let as_of = date(2026, 3, as_of);
            days_in_store(&zone, &fittings, date(2026, 3, base), as_of, zone.end_of(as_of))
        };
        assert_eq!(store(1, 2), 1, "2 March only");
        assert_eq!(store(1, 7), 1);
        assert_eq!(store(1, 9), 3, "removed at 00:00 on the 8th: the 8th counts");
        assert_eq!(store(1, 20), 5, "2, 8, 9, 10, 11 March");
        assert_eq!(store(20, 10), 0);
    }

    /// A stay without a moment takes nothing from the days in store.
    #[test]
    fn an_empty_stay_is_no_fitting() {
        let zone = Zone::utc();
        let noon = zone.instant(date(2026, 3, 5).at(12, 0, 0, 0));
        let host = crate::facts::ItemId(0);
        let empty = [Fitting { host, position: None, from: noon, to: noon, to_day: false }];
        let as_of = date(2026, 3, 10);
        assert_eq!(days_in_store(&zone, &empty, date(2026, 3, 1), as_of, zone.end_of(as_of)), 9);
    }
}
