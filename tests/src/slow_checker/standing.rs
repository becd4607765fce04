//! How a row stands at a date, with the forecast's share of the table left out.

use super::decimal::Decimal;
use super::rules::{Rule, Usage};
use jiff::civil::Date;

/// Worst last.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    InDate,
    FallingDue,
    Due,
    InTolerance,
    Overdue,
}

impl Standing {
    pub fn word(self) -> &'static str {
        match self {
            Standing::InDate => "in date",
            Standing::FallingDue => "falling due",
            Standing::Due => "due",
            Standing::InTolerance => "in tolerance",
            Standing::Overdue => "overdue",
        }
    }
}

pub fn of_calendar(due: Date, rule: &Rule, at: Date) -> Result<Standing, String> {
    if at > rule.late.after(due)? {
        return Ok(Standing::Overdue);
    }
    if due < at {
        return Ok(Standing::InTolerance);
    }
    if due == at {
        return Ok(Standing::Due);
    }
    if rule.lead.before(due)? <= at {
        return Ok(Standing::FallingDue);
    }
    Ok(Standing::InDate)
}

/// An open event is never in date.
pub fn of_after(due: Date, rule: &Rule, at: Date) -> Result<Standing, String> {
    Ok(of_calendar(due, rule, at)?.max(Standing::FallingDue))
}

pub fn of_usage(used: Decimal, clause: &Usage) -> Standing {
    let limit = clause.every;
    if used > limit + clause.late {
        return Standing::Overdue;
    }
    if used > limit {
        return Standing::InTolerance;
    }
    if used == limit {
        return Standing::Due;
    }
    if clause.early > Decimal::ZERO && used >= limit - clause.early {
        return Standing::FallingDue;
    }
    Standing::InDate
}
