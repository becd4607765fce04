//! Rows of the due table side by side: dates, tolerances, effects and standings.

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::amount::Amount;
use policies::due::{Because, DueRow, Evaluator};
use policies::load::PolicySet;
use policies::owed::last_day;
use policies::rule::{Authority, Effect, Rule};

use super::{Move, Side};
use crate::due_list::Line;

/// The due table of one side, by item and rule.
pub(super) struct Rows<'s> {
    pub(super) set: &'s PolicySet,
    pub(super) by_key: BTreeMap<(String, String), Row>,
}

/// A row, in words and as it was judged.
pub(super) struct Row {
    pub(super) line: Line,
    pub(super) judged: DueRow,
}

impl<'s> Rows<'s> {
    pub(super) fn of(side: &Side<'s>, as_of: Date) -> Rows<'s> {
        let table = Evaluator::new(side.set, side.fleet, as_of).table();
        let row = |judged: DueRow| {
            let line = Line::of(side.set, side.fleet, &judged);
            ((line.item.clone(), line.rule.clone()), Row { line, judged })
        };
        Rows { set: side.set, by_key: table.into_iter().map(row).collect() }
    }

    pub(super) fn rule(&self, row: &Row) -> &'s Rule {
        self.set.rule(row.judged.rule)
    }

    fn is_law(&self, row: &Row) -> bool {
        self.rule(row).authority == Authority::Law
    }

    fn stops(&self, row: &Row) -> bool {
        self.rule(row).overdue == Effect::StopsLaunch
    }

    /// Rows that can stop a launch.
    pub(super) fn stopping(&self) -> usize {
        self.by_key.values().filter(|row| self.stops(row)).count()
    }

    /// The last day and the last use that are allowed; those of a row that never stops a launch lie beyond all.
    fn allowed(&self, row: &Row) -> Allowed {
        let rule = self.rule(row);
        let clause = rule.usage.iter().find(|clause| Some(clause.meter) == row.judged.meter);
        let late = clause.map_or(Amount::ZERO, |clause| clause.late);
        let until = match row.judged.because {
            Some(Because::NoBase) => Date::MIN,
            _ => last_day(rule, &row.judged).unwrap_or(Date::MAX),
        };
        Allowed { until, uses: row.judged.limit + late, meter: row.line.meter.clone() }
    }
}

#[derive(PartialEq, Eq)]
struct Allowed {
    until: Date,
    uses: Amount,
    meter: String,
}

impl Allowed {
    fn until(&self) -> String {
        if self.until == Date::MAX { "none".to_owned() } else { self.until.to_string() }
    }

    fn uses(&self) -> String {
        if self.meter.is_empty() { "none".to_owned() } else { format!("{} {}", self.uses, self.meter) }
    }
}

/// What moves from row to row.
pub(super) fn moves(before: &Rows, after: &Rows, as_of: Date) -> Vec<Move> {
    let mut found = Vec::new();
    for (key, row) in &before.by_key {
        match after.by_key.get(key) {
            None => found.push(gone(before, row, as_of)),
            Some(now) => between(before, row, after, now, as_of, &mut found),
        }
    }
    let fresh = after.by_key.iter().filter(|(key, _)| !before.by_key.contains_key(*key));
    found.extend(fresh.map(|(_, row)| Move {
        old: "no such row".to_owned(),
        new: told(&row.line),
        ..blank("row", &row.line, as_of)
    }));
    found
}

fn gone(before: &Rows, row: &Row, as_of: Date) -> Move {
    Move {
        old: told(&row.line),
        new: "no such row".to_owned(),
        later: before.stops(row),
        law_later: before.is_law(row),
        ..blank("row", &row.line, as_of)
    }
}

/// A move of a row with nothing said yet.
pub(super) fn blank(what: &'static str, line: &Line, as_of: Date) -> Move {
    let effect_on = if line.due_on.is_empty() { as_of.to_string() } else { line.due_on.clone() };
    Move {
        effect_on,
        what,
        station: line.station.clone(),
        item: line.item.clone(),
        rule: line.rule.clone(),
        old: String::new(),
        new: String::new(),
        overdue_effect: line.overdue_effect,
        later: false,
        law_later: false,
    }
}

fn told(line: &Line) -> String {
    match (line.due_on.as_str(), line.because) {
        ("", "no base") => "overdue, no base".to_owned(),
        ("", _) => line.standing.to_owned(),
        (due, because) => format!("{due} ({because}), {}", line.standing),
    }
}

fn between(before: &Rows, old: &Row, after: &Rows, new: &Row, as_of: Date, found: &mut Vec<Move>) {
    let (was, now) = (before.allowed(old), after.allowed(new));
    let (stopped, stops) = (before.stops(old), after.stops(new));
    let (a, b) = (&old.line, &new.line);
    let law = before.is_law(old) || after.is_law(new);
    let longer = now.until > was.until || (now.meter == was.meter && now.uses > was.uses);
    let mut add = |what, old: String, new: String, later: bool| {
        let (later, law_later) = (later && stopped, later && law);
        found.push(Move {
            effect_on: earlier(a, b, as_of),
            old,
            new,
            later,
            law_later,
            ..blank(what, b, as_of)
        });
    };
    if (&a.due_on, a.because) != (&b.due_on, b.because) {
        add("due date", told(a), told(b), longer);
    } else if was.until != now.until {
        add("last day", was.until(), now.until(), longer);
    } else if (&was.meter, was.uses) != (&now.meter, now.uses) {
        add("allowed use", was.uses(), now.uses(), longer);
    } else if a.standing != b.standing {
        add("standing", a.standing.to_owned(), b.standing.to_owned(), false);
    }
    if a.overdue_effect != b.overdue_effect {
        add("overdue effect", a.overdue_effect.to_owned(), b.overdue_effect.to_owned(), !stops);
    }
}

/// The earlier of both due dates; today where either has none.
fn earlier(old: &Line, new: &Line, as_of: Date) -> String {
    let date = |line: &Line| if line.due_on.is_empty() { as_of.to_string() } else { line.due_on.clone() };
    date(old).min(date(new))
}
