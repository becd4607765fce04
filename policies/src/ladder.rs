//! The notices of a row from its first to its first overdue day, as they stand now: what a change of the rules
//! would move. [`crate::owed`] says which of them is owed on a day.

use jiff::civil::Date;

use crate::due::{Because, DueRow, Evaluator};
use crate::owed::last_day;
use crate::rule::{Effect, Rule, Work};
use crate::standing::Standing;

/// One notice: the day it is owed, and the role it goes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Step<'r> {
    /// The day; for what is owed already, today.
    pub on: Date,
    /// The role.
    pub to: &'r str,
}

/// Every step of a row, in order of days and roles. `stationed`: the gear has a station, so that a mechanic
/// answers for it.
pub fn steps<'r>(rule: &'r Rule, row: &DueRow, stationed: bool, today: Date) -> Vec<Step<'r>> {
    let readers = readers(rule, stationed);
    let mut found = Vec::new();
    let mut add = |on: Date, to: &'r str| found.push(Step { on: on.max(today), to });
    for on in told_on(rule, row, today) {
        for to in &readers {
            add(on, to);
        }
    }
    if let Some(on) = bites_on(rule, row, today).filter(|_| rule.overdue == Effect::StopsLaunch && stationed)
    {
        add(on, "engineer");
    }
    for step in &rule.notice.escalate {
        let on = match last_day(rule, row) {
            Some(last) => last.checked_add(jiff::Span::new().days(step.days)).ok(),
            None => (row.because == Some(Because::NoBase)).then_some(today),
        };
        if let Some(on) = on {
            add(on.max(opens(rule, row)), &step.role);
        }
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// Who is told of a row before anybody climbs the ladder.
fn readers(rule: &Rule, stationed: bool) -> Vec<&'static str> {
    let told = [
        ("mechanic", stationed),
        ("clerk", !stationed || rule.work == Work::Renewal),
        ("test house", rule.work == Work::ProofLoadTest),
    ];
    told.into_iter().filter(|(_, is_told)| *is_told).map(|(role, _)| role).collect()
}

/// Before this day the row is in date and nothing is owed.
fn opens(rule: &Rule, row: &DueRow) -> Date {
    let due = row.due_on.filter(|_| row.standing == Standing::InDate);
    due.map_or(Date::MIN, |due| rule.notice.lead.before(due))
}

/// First notice, reminders, due date, and the day after the last allowed one.
fn told_on(rule: &Rule, row: &DueRow, today: Date) -> Vec<Date> {
    let Some((due, last)) = row.due_on.zip(last_day(rule, row)) else {
        return if row.standing == Standing::InDate { Vec::new() } else { vec![today] };
    };
    let opens = opens(rule, row);
    let by_use = row.because == Some(Because::Usage);
    // A likely date is odds, not a day that has come.
    let likely = by_use && row.usage_due.is_none();
    let first = if by_use { opens } else { rule.notice.lead.before(last) };
    let reminders = rule.notice.remind.iter().map(|span| span.before(last));
    let mut days: Vec<Date> =
        std::iter::once(first).chain(reminders).filter(|on| likely || *on < due).collect();
    if !likely {
        days.push(due);
        days.push(last.tomorrow().unwrap_or(last));
    }
    days.into_iter().map(|day| day.max(opens)).collect()
}

/// The day from which an engineer is told whatever the ladder says: the rule stops a launch.
fn bites_on(rule: &Rule, row: &DueRow, today: Date) -> Option<Date> {
    if Evaluator::bites(row) {
        return Some(today);
    }
    if row.because == Some(Because::Usage) {
        return None;
    }
    last_day(rule, row).and_then(|last| last.tomorrow().ok())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::amount::Amount;
    use crate::facts::ItemId;
    use crate::load::{PolicyFile, load};
    use crate::owed::{Audience, is_told, stage};
    use crate::rule::RuleId;
    use crate::standing::by_date;
    use jiff::civil::date;

    fn rule(more: &str) -> Rule {
        let text = format!(
            "[[kind]]\nname = \"fall\"\n[[rule]]\nid = \"r\"\ntitle = \"t\"\napplies_to = {{ kind = \"fall\" }}\n\
             overdue = \"stops launch\"\nauthority = \"house\"\ncalendar = {{ every = \"1 month\" }}\n{more}\n"
        );
        load(&[PolicyFile { name: "kinds.toml".to_owned(), text }]).unwrap().rules.remove(0)
    }

    fn row(rule: &Rule, today: Date) -> DueRow {
        let due = date(2026, 10, 15);
        DueRow {
            item: ItemId(0),
            rule: RuleId(0),
            standing: by_date(today, due, rule.window, rule.notice.lead),
            due_on: Some(due),
            because: Some(Because::Calendar),
            calendar_due: Some(due),
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

    const MARKS: [&str; 3] = [
        "work = \"check\"\nwindow = { late = \"5 days\" }\nnotice = { lead = \"7 days\", remind = [\"6 days\", \"3 days\"], escalate = { engineer = \"2 days before\" } }",
        "work = \"renewal\"\nnotice = { lead = \"10 days\", escalate = { engineer = \"3 days after\" } }",
        "work = \"check\"\nwindow = { late = \"2 days\" }",
    ];

    /// What is foretold today is what `owed` tells each role on the day itself.
    #[test]
    fn each_role_is_first_told_on_the_day_foretold() {
        let audiences = [
            ("mechanic", Audience::Mechanic(None)),
            ("engineer", Audience::Engineer(None)),
            ("clerk", Audience::Clerk(None)),
        ];
        for rule in MARKS.map(rule) {
            let today = date(2026, 9, 20);
            let steps = steps(&rule, &row(&rule, today), true, today);
            for (role, audience) in audiences {
                let foretold = steps.iter().find(|step| step.to == role).map(|step| step.on);
                let mut days = today.series(jiff::Span::new().days(1)).take(60);
                let told = days.find(|day| is_told(audience, Some("qua"), &rule, &row(&rule, *day), *day));
                assert_eq!(foretold, told, "{role} of {:?}", rule.notice);
            }
        }
    }

    #[test]
    fn every_change_of_stage_has_its_step() {
        let rule = rule(MARKS[0]);
        let today = date(2026, 9, 20);
        let steps = steps(&rule, &row(&rule, today), true, today);
        let told: Vec<Date> = steps.iter().filter(|step| step.to == "mechanic").map(|step| step.on).collect();
        let reached = |day: Date| stage(&rule, &row(&rule, day), day);
        let days = today.series(jiff::Span::new().days(1)).take(33);
        let changes: Vec<Date> =
            days.filter(|day| reached(*day) != reached(day.yesterday().unwrap())).collect();
        assert_eq!(told, changes);
    }

    #[test]
    fn what_is_owed_already_is_owed_today() {
        let rule = rule(MARKS[1]);
        let today = date(2026, 10, 20);
        let steps = steps(&rule, &row(&rule, today), false, today);
        assert_eq!(steps, [Step { on: today, to: "clerk" }, Step { on: today, to: "engineer" }]);
    }
}
