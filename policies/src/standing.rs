//! Standings: how a row stands on a day.

use jiff::civil::Date;

use crate::amount::Amount;
use crate::rule::{Usage, Window, words};
use crate::span::Span;

words! {
    /// How a row stands, worst last.
    Standing {
        /// Nothing to do yet.
        InDate = "in date",
        /// Its time is coming.
        FallingDue = "falling due",
        /// Due today, or at its limit.
        Due = "due",
        /// Past due, within what the rule tolerates.
        InTolerance = "in tolerance",
        /// Past everything.
        Overdue = "overdue",
    }
}

/// Standing of a calendar clause due on `due`, tested from the worst upward.
pub fn by_date(day: Date, due: Date, window: Window, lead: Span) -> Standing {
    if day > window.late.after(due, 1) {
        Standing::Overdue
    } else if day > due {
        Standing::InTolerance
    } else if day == due {
        Standing::Due
    } else if day >= lead.before(due) {
        Standing::FallingDue
    } else {
        Standing::InDate
    }
}

/// Standing of an after clause that is open: never in date.
pub fn by_event(day: Date, due: Date, window: Window, lead: Span) -> Standing {
    by_date(day, due, window, lead).max(Standing::FallingDue)
}

/// Standing of a usage clause; `soon` is the 10 % date, where there is a forecast.
pub fn by_usage(day: Date, used: Amount, clause: &Usage, soon: Option<Date>, lead: Span) -> Standing {
    if used > clause.every + clause.late {
        Standing::Overdue
    } else if used > clause.every {
        Standing::InTolerance
    } else if used == clause.every {
        Standing::Due
    } else {
        let near = clause.early.is_positive() && used >= clause.every - clause.early;
        let likely = soon.is_some_and(|date| lead.before(date) <= day);
        if near || likely { Standing::FallingDue } else { Standing::InDate }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kinds::MeterId;
    use jiff::civil::date;

    fn span(text: &str) -> Span {
        text.parse().unwrap()
    }

    /// domain brief 4.6 A: due 15 Oct, late 5 days: 17 Oct in tolerance, 20 Oct the last, 21 Oct overdue.
    #[test]
    fn windows_by_date_on_both_sides_of_each_edge() {
        let window = Window { early: span("7 days"), late: span("5 days") };
        let due = date(2026, 10, 15);
        let cases = [
            (7, Standing::InDate),
            (8, Standing::FallingDue),
            (14, Standing::FallingDue),
            (15, Standing::Due),
            (16, Standing::InTolerance),
            (17, Standing::InTolerance),
            (20, Standing::InTolerance),
            (21, Standing::Overdue),
        ];
        for (day, standing) in cases {
            assert_eq!(by_date(date(2026, 10, day), due, window, span("7 days")), standing, "{day} Oct");
        }
    }

    /// domain brief 4.6 B: limit 125, early 15, late 10.
    #[test]
    fn windows_by_use_on_both_sides_of_each_edge() {
        let whole = Amount::whole;
        let clause =
            Usage { meter: MeterId(0), every: whole(125), early: whole(15), late: whole(10), when: None };
        let day = date(2026, 10, 11);
        let cases = [
            (109, Standing::InDate),
            (110, Standing::FallingDue),
            (124, Standing::FallingDue),
            (125, Standing::Due),
            (126, Standing::InTolerance),
            (135, Standing::InTolerance),
            (136, Standing::Overdue),
        ];
        for (used, standing) in cases {
            assert_eq!(by_usage(day, whole(used), &clause, None, Span::ZERO), standing, "{used}");
        }
        let soon = Some(date(2026, 10, 28));
        assert_eq!(by_usage(day, whole(10), &clause, soon, span("16 days")), Standing::InDate);
        assert_eq!(by_usage(day, whole(10), &clause, soon, span("17 days")), Standing::FallingDue);
    }

    #[test]
    fn an_open_event_is_never_in_date() {
        let window = Window { early: Span::ZERO, late: Span::ZERO };
        let (day, due) = (date(2026, 10, 1), date(2026, 10, 9));
        assert_eq!(by_date(day, due, window, span("2 days")), Standing::InDate);
        assert_eq!(by_event(day, due, window, span("2 days")), Standing::FallingDue);
        assert_eq!(by_event(date(2026, 10, 10), due, window, span("2 days")), Standing::Overdue);
    }
}
