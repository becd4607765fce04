//! By when, and because of what: the second half of a line of gear.

use jiff::civil::Date;
use policies::amount::Amount;
use policies::calendar::Base;
use policies::due::{Because, CalendarFound, DueRow};
use policies::explain::Derivation;
use policies::rule::{Grid, Interval, Rule, Timing};

use super::place::View;
use super::words;
use crate::why::year_day;

/// By when something is to be done, and why then.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct When {
    /// The figure, which leads to its derivation.
    pub(super) by: String,
    /// The reason.
    pub(super) because: String,
}

impl View<'_> {
    /// When the work of a row is to be done.
    pub(super) fn when(&self, found: &Derivation) -> When {
        let (row, rule) = (&found.row, self.set.rule(found.row.rule));
        match row.because {
            Some(Because::NoBase) => said("now", "because no date to count from is known"),
            _ if row.held => self.held(found),
            _ if row.used_up => self.used_up(row),
            Some(Because::Calendar) => When { by: self.by_date(row, rule), because: self.base(found) },
            Some(Because::After) => When { by: self.by_date(row, rule), because: self.event(found, false) },
            Some(Because::Usage) => self.by_use(row, rule),
            None => {
                said(if rule.after.is_empty() { "no date foreseen" } else { "nothing calls for it now" }, "")
            }
        }
    }

    fn held(&self, found: &Derivation) -> When {
        said("before the next launch", &self.event(found, true))
    }

    /// The open event that decides, as a reason.
    fn event(&self, found: &Derivation, holds: bool) -> String {
        if let Some(unlike) =
            found.unlike.as_ref().filter(|unlike| holds || found.row.after_due == Some(unlike.since))
        {
            let columns = unlike.columns.join(", ");
            let since = words::day(unlike.since, self.as_of);
            return format!("with its fellows unlike in {columns} since {since}");
        }
        let open = found.after.iter().filter(|working| !holds || working.clause.within.is_zero());
        let open = open.filter_map(|working| Some((working.clause.event, working.open?)));
        let first = open.min_by_key(|(_, open)| open.due);
        first.map_or_else(String::new, |(event, open)| {
            format!("after {} on {}", words::event(self.set, event), words::day(open.on, self.as_of))
        })
    }

    fn used_up(&self, row: &DueRow) -> When {
        let meter = row.meter.map_or("uses", |meter| self.set.kinds.meter_name(meter));
        let since = row.usage_due.map(|day| format!("reached {}", words::day(day, self.as_of)));
        said(&format!("no {meter} left, {} of {} used", row.used, row.limit), &since.unwrap_or_default())
    }

    fn by_date(&self, row: &DueRow, rule: &Rule) -> String {
        let Some(due) = row.due_on else { return String::new() };
        let last = rule.window.late.after(due, 1);
        let day = words::day(due, self.as_of);
        if self.as_of > last {
            format!("overdue since {day}")
        } else if self.as_of > due {
            format!("was due {day}, last day {}", words::day(last, self.as_of))
        } else if last > due {
            format!("by {day}, at the latest {}", words::day(last, self.as_of))
        } else {
            format!("by {day}")
        }
    }

    /// The base of the calendar clause that decides.
    fn base(&self, found: &Derivation) -> String {
        let dated = found.calendar.iter().filter_map(|working| match working.found {
            CalendarFound::Due(due) => Some((working.clause.timing, due)),
            _ => None,
        });
        let Some((timing, due)) = dated.min_by_key(|(_, due)| due.due) else { return String::new() };
        let clause = match timing {
            Timing::Every(clause) => clause,
            Timing::EachYear(day) => return format!("each year by {}", year_day(day)),
            Timing::Once(_) => return "once".to_owned(),
        };
        if clause.grid == Grid::Fixed {
            return format!("{} on {}", words::every(clause.every), weekday_or_grid(&clause, due.due));
        }
        let base = match due.base {
            Base::LastDone(_) => "the last",
            Base::EntryIntoService(_) => "entry into service",
            Base::Manufacture(_) => "manufacture",
            Base::Anchor(_) => "the grid's first day",
            Base::FirstDone(_) => "the first",
            Base::Named(_) => "the rule's own date",
        };
        format!("{} after {base} on {}", clause.every, words::day(due.base.date(), self.as_of))
    }

    fn by_use(&self, row: &DueRow, rule: &Rule) -> When {
        let meter = row.meter.map_or("uses", |meter| self.set.kinds.meter_name(meter));
        let left = row.limit - row.used;
        if left.is_positive() {
            return said(
                &format!("{} left of {}{}", words::amount(left, meter), row.limit, self.likely(row)),
                "",
            );
        }
        let late =
            rule.usage.iter().find(|clause| Some(clause.meter) == row.meter).map_or(Amount::ZERO, |c| c.late);
        let reached =
            row.usage_due.map(|day| format!("{} reached {}", row.limit, words::day(day, self.as_of)));
        let more = row.limit + late - row.used;
        said(
            &format!("{} used, {more} more tolerated", words::amount(row.used, meter)),
            &reached.unwrap_or_default(),
        )
    }

    /// `, likely 28 Oct to 26 Nov`.
    fn likely(&self, row: &DueRow) -> String {
        let [first, _, last] = row.forecast.map(|date| date.map(|date| words::day(date, self.as_of)));
        match (first, last) {
            (Some(first), Some(last)) => format!(", likely {first} to {last}"),
            (Some(first), None) => format!(", likely from {first}"),
            _ => String::new(),
        }
    }
}

/// A grid of weeks stands on one weekday.
fn weekday_or_grid(clause: &Interval, due: Date) -> String {
    let days = |times: u32| (clause.every.after(due, times) - due).get_days();
    // Months differ in length, so three steps tell them from weeks.
    let weeks = days(1) > 0 && days(1) % 7 == 0 && days(3) == 3 * days(1);
    if weeks { due.strftime("%As").to_string() } else { "a fixed grid".to_owned() }
}

fn said(by: &str, because: &str) -> When {
    When { by: by.to_owned(), because: because.to_owned() }
}
