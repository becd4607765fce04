//! Which notices a row has come to, and whom it is to be told.

use jiff::civil::Date;

use crate::due::{Because, DueRow, Evaluator};
use crate::rule::{Effect, Rule, Work};
use crate::standing::Standing;

/// How far a row's notices have come. Each stage is told once for each time the work falls due.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// The first notice.
    Lead,
    /// So many reminders.
    Remind(usize),
    /// The due date is here.
    Due,
    /// Past the last allowed day for so many whole weeks, no use left, or held.
    Overdue(u32),
}

impl std::fmt::Display for Stage {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Stage::Lead => f.write_str("lead"),
            Stage::Remind(count) => write!(f, "reminder {count}"),
            Stage::Due => f.write_str("due"),
            Stage::Overdue(weeks) => write!(f, "overdue {weeks}"),
        }
    }
}

/// The last allowed day of a row: due date and tolerance.
pub fn last_day(rule: &Rule, row: &DueRow) -> Option<Date> {
    row.due_on.map(|due| rule.window.late.after(due, 1))
}

/// The newest stage a row has reached by the end of `today`; none while it is in date, or its first notice is
/// not yet owed.
pub fn stage(rule: &Rule, row: &DueRow, today: Date) -> Option<Stage> {
    if row.standing == Standing::InDate {
        return None;
    }
    // What bites already is told as such, whatever its date says: no use left, or a hold.
    if Evaluator::bites(row) {
        return Some(Stage::Overdue(weeks_past(last_day(rule, row), today)));
    }
    let Some((due, last)) = row.due_on.zip(last_day(rule, row)) else { return Some(Stage::Lead) };
    // A likely date is odds, not a day that has come: the limit itself is not reached.
    let likely = row.because == Some(Because::Usage) && row.usage_due.is_none();
    if today >= due && !likely {
        return Some(Stage::Due);
    }
    let reminders = rule.notice.remind.iter().filter(|span| today >= span.before(last)).count();
    if reminders > 0 {
        return Some(Stage::Remind(reminders));
    }
    let by_use = row.because == Some(Because::Usage);
    (by_use || today >= rule.notice.lead.before(last)).then_some(Stage::Lead)
}

/// A test house is asked so many days before the report is needed, again.
const ASKED_AGAIN: i64 = 10;

/// The newest stage at which a test house is asked: when it is to be booked, ten days before, and while it is past.
pub fn asked(rule: &Rule, row: &DueRow, today: Date) -> Option<Stage> {
    let reached = stage(rule, row, today)?;
    if matches!(reached, Stage::Overdue(_)) {
        return Some(reached);
    }
    let again = row.due_on.and_then(|due| due.checked_sub(jiff::Span::new().days(ASKED_AGAIN)).ok());
    Some(if again.is_some_and(|again| today >= again) { Stage::Remind(1) } else { Stage::Lead })
}

fn weeks_past(last: Option<Date>, today: Date) -> u32 {
    let days = last.filter(|last| today > *last).map_or(0, |last| (today - last).get_days());
    u32::try_from(days / 7).unwrap_or(0)
}

/// Whether the rule's ladder has reached a role by the end of `today`.
pub fn escalated(rule: &Rule, row: &DueRow, today: Date, to: &str) -> bool {
    let Some(step) = rule.notice.escalate.iter().find(|step| step.role == to) else { return false };
    if row.standing == Standing::InDate {
        return false;
    }
    let Some(last) = last_day(rule, row) else { return row.because == Some(Because::NoBase) };
    last.checked_add(jiff::Span::new().days(step.days)).is_ok_and(|day| today >= day)
}

/// What a person is told of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Audience<'a> {
    /// A mechanic: everything of the stations they answer for.
    Mechanic(Scope<'a>),
    /// An engineer: what stops a launch already, and what has climbed the ladder.
    Engineer(Scope<'a>),
    /// The head of engineering: what has climbed further.
    Head(Scope<'a>),
    /// The clerk: gear in central stores, and renewals.
    Clerk(Scope<'a>),
    /// The test house: proof load tests.
    TestHouse(Scope<'a>),
}

/// The station a person answers for; none for the whole region.
pub type Scope<'a> = Option<&'a str>;

/// Whether a row whose owner is `station` (none: central stores) is told to an audience.
pub fn is_told(audience: Audience, station: Option<&str>, rule: &Rule, row: &DueRow, today: Date) -> bool {
    match audience {
        Audience::Mechanic(own) => {
            let climbed = escalated(rule, row, today, "mechanic");
            within(own, station) && station.is_some() && (stage(rule, row, today).is_some() || climbed)
        }
        Audience::Engineer(own) => {
            let stops = rule.overdue == Effect::StopsLaunch && Evaluator::bites(row) && station.is_some();
            within(own, station) && (stops || escalated(rule, row, today, "engineer"))
        }
        Audience::Head(own) => within(own, station) && escalated(rule, row, today, "head"),
        Audience::Clerk(own) => {
            let theirs = station.is_none() || (rule.work == Work::Renewal && within(own, station));
            let climbed = within(own, station) && escalated(rule, row, today, "clerk");
            (theirs && stage(rule, row, today).is_some()) || climbed
        }
        Audience::TestHouse(own) => {
            let theirs = rule.work == Work::ProofLoadTest && stage(rule, row, today).is_some();
            within(own, station) && (theirs || escalated(rule, row, today, "test house"))
        }
    }
}

fn within(own: Scope, station: Option<&str>) -> bool {
    own.is_none() || own == station
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::amount::Amount;
    use crate::facts::ItemId;
    use crate::load::{PolicyFile, load};
    use crate::rule::RuleId;
    use jiff::civil::date;

    fn rule() -> Rule {
        let text = r#"
            [[kind]]
            name = "fall"
            [[rule]]
            id = "r"
            title = "t"
            applies_to = { kind = "fall" }
            work = "check"
            calendar = { every = "1 month" }
            window = { late = "5 days" }
            notice = { lead = "7 days", remind = ["3 days", "1 day"], escalate = { engineer = "2 days before", head = "1 day after" } }
            overdue = "stops launch"
            authority = "house"
        "#;
        let files = [PolicyFile { name: "kinds.toml".to_owned(), text: text.to_owned() }];
        load(&files).unwrap().rules.remove(0)
    }

    /// Due 15 Oct, last allowed day 20 Oct.
    fn row(standing: Standing) -> DueRow {
        DueRow {
            item: ItemId(0),
            rule: RuleId(0),
            standing,
            due_on: Some(date(2026, 10, 15)),
            because: Some(Because::Calendar),
            calendar_due: Some(date(2026, 10, 15)),
            usage_due: None,
            forecast: [None; 3],
            after_due: None,
            meter: None,
            used: Amount::ZERO,
            limit: Amount::ZERO,
            used_up: false,
            held: false,
        }
    }

    /// Lead, reminders and escalation count from the last allowed day, as the contract says.
    #[test]
    fn stages_on_both_sides_of_each_day() {
        let at = |day: i8, standing| stage(&rule(), &row(standing), date(2026, 10, day));
        assert_eq!(at(12, Standing::InDate), None);
        assert_eq!(at(12, Standing::FallingDue), None);
        assert_eq!(at(13, Standing::FallingDue), Some(Stage::Lead));
        assert_eq!(at(14, Standing::FallingDue), Some(Stage::Lead));
        assert_eq!(at(15, Standing::Due), Some(Stage::Due));
        assert_eq!(at(20, Standing::InTolerance), Some(Stage::Due));
        assert_eq!(at(21, Standing::Overdue), Some(Stage::Overdue(0)));
        assert_eq!(at(27, Standing::Overdue), Some(Stage::Overdue(1)));
        let near = DueRow { due_on: Some(date(2026, 10, 12)), ..row(Standing::FallingDue) };
        let no_tolerance =
            Rule { window: crate::rule::Window { late: crate::span::Span::ZERO, ..rule().window }, ..rule() };
        assert_eq!(stage(&no_tolerance, &near, date(2026, 10, 9)), Some(Stage::Remind(1)));
        assert_eq!(stage(&no_tolerance, &near, date(2026, 10, 11)), Some(Stage::Remind(2)));
    }

    /// At booking and ten days before, on both sides of the day, whatever reminders the rule has; then while overdue.
    #[test]
    fn a_test_house_is_asked_at_booking_and_ten_days_before() {
        let early = Rule {
            notice: crate::rule::Notice { lead: crate::span::Span::days(70), ..rule().notice },
            ..rule()
        };
        let at = |month, day, standing| asked(&early, &row(standing), date(2026, month, day));
        assert_eq!(at(8, 10, Standing::FallingDue), None);
        assert_eq!(at(8, 11, Standing::FallingDue), Some(Stage::Lead));
        assert_eq!(at(10, 4, Standing::FallingDue), Some(Stage::Lead));
        assert_eq!(at(10, 5, Standing::FallingDue), Some(Stage::Remind(1)));
        assert_eq!(at(10, 15, Standing::Due), Some(Stage::Remind(1)));
        assert_eq!(at(10, 21, Standing::Overdue), Some(Stage::Overdue(0)));
    }

    #[test]
    fn the_ladder_climbs_by_role() {
        let up = |day: i8, role| escalated(&rule(), &row(Standing::InTolerance), date(2026, 10, day), role);
        assert!(!up(17, "engineer"));
        assert!(up(18, "engineer"));
        assert!(!up(20, "head"));
        assert!(up(21, "head"));
        assert!(!up(21, "clerk"));
        assert!(!escalated(&rule(), &row(Standing::InDate), date(2026, 10, 30), "head"));
    }

    #[test]
    fn each_is_told_what_is_theirs() {
        let (rule, row, day) = (rule(), row(Standing::Overdue), date(2026, 10, 21));
        assert!(is_told(Audience::Mechanic(Some("qua")), Some("qua"), &rule, &row, day));
        assert!(!is_told(Audience::Mechanic(Some("qua")), Some("net"), &rule, &row, day));
        assert!(is_told(Audience::Engineer(None), Some("qua"), &rule, &row, day));
        assert!(is_told(Audience::Clerk(None), None, &rule, &row, day));
        assert!(!is_told(Audience::Clerk(None), Some("qua"), &rule, &row, day));
        assert!(!is_told(Audience::TestHouse(None), Some("qua"), &rule, &row, day));
    }
}
