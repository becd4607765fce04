//! A policy change rehearsed: both sets over the same records, and everything that moves, earliest effect first.

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::facts::Fleet;
use policies::load::PolicySet;
use serde::Serialize;

use crate::due_list::{self, Line, Wanted};
use crate::fitness::{self, PaperRows};

/// One thing that moves.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Move {
    /// The day from which it is felt: the earlier of both due dates, or the as-of date.
    pub effect_on: String,
    /// `due date`, `standing`, `row` or `readiness`.
    pub what: &'static str,
    /// Owner's slug.
    pub station: String,
    /// Tag; empty for readiness.
    pub item: String,
    /// Rule; empty for readiness.
    pub rule: String,
    /// Under the old set.
    pub old: String,
    /// Under the new set.
    pub new: String,
    /// What being overdue does, under the new set where it has the rule.
    pub overdue_effect: &'static str,
    /// A date that stops a launch moves later: that wants a second word.
    pub later: bool,
}

/// One side of a comparison.
pub struct Side<'s> {
    /// Rules.
    pub set: &'s PolicySet,
    /// The fleet under them.
    pub fleet: &'s Fleet,
}

/// Everything that moves between two sets at the end of a day.
pub fn moves(old: &Side, new: &Side, papers: &PaperRows, as_of: Date) -> Vec<Move> {
    let mut found = row_moves(&lines(old, as_of), &lines(new, as_of), as_of);
    found.extend(readiness_moves(old, new, papers, as_of));
    found.sort_by(|a, b| key(a).cmp(&key(b)));
    found
}

fn key(found: &Move) -> (&str, &str, &str, &str, &str) {
    (&found.effect_on, &found.station, &found.item, &found.rule, found.what)
}

type Rows = BTreeMap<(String, String), Line>;

fn lines(side: &Side, as_of: Date) -> Rows {
    let lines = due_list::lines(side.set, side.fleet, as_of, &Wanted::default());
    lines.into_iter().map(|line| ((line.item.clone(), line.rule.clone()), line)).collect()
}

fn row_moves(old: &Rows, new: &Rows, as_of: Date) -> Vec<Move> {
    let mut found = Vec::new();
    for (key, line) in old {
        match new.get(key) {
            None => found.push(moved("row", line, told(line), "no such row".to_owned(), as_of, false)),
            Some(now) => found.extend(between(line, now, as_of)),
        }
    }
    let fresh = new.iter().filter(|(key, _)| !old.contains_key(*key));
    found.extend(
        fresh.map(|(_, line)| moved("row", line, "no such row".to_owned(), told(line), as_of, false)),
    );
    found
}

fn told(line: &Line) -> String {
    match (line.due_on.as_str(), line.because) {
        ("", "no base") => "overdue, no base".to_owned(),
        ("", _) => line.standing.to_owned(),
        (due, because) => format!("{due} ({because}), {}", line.standing),
    }
}

fn between(old: &Line, new: &Line, as_of: Date) -> Vec<Move> {
    let mut found = Vec::new();
    if (&old.due_on, old.because) != (&new.due_on, new.because) {
        let stops = [old, new].iter().any(|line| line.overdue_effect == "stops launch");
        let later = !old.due_on.is_empty() && (new.due_on.is_empty() || new.due_on > old.due_on);
        found.push(moved("due date", new, told(old), told(new), as_of, stops && later));
    } else if old.standing != new.standing {
        found.push(moved("standing", new, old.standing.to_owned(), new.standing.to_owned(), as_of, false));
    }
    if let Some(first) = found.first_mut()
        && !old.due_on.is_empty()
        && (old.due_on < first.effect_on || new.due_on.is_empty())
    {
        first.effect_on.clone_from(&old.due_on);
    }
    found
}

fn moved(what: &'static str, line: &Line, old: String, new: String, as_of: Date, later: bool) -> Move {
    let effect_on = if line.due_on.is_empty() { as_of.to_string() } else { line.due_on.clone() };
    Move {
        effect_on,
        what,
        station: line.station.clone(),
        item: line.item.clone(),
        rule: line.rule.clone(),
        old,
        new,
        overdue_effect: line.overdue_effect,
        later,
    }
}

fn readiness_moves(old: &Side, new: &Side, papers: &PaperRows, as_of: Date) -> Vec<Move> {
    let judged = |side: &Side| {
        let lines = fitness::lines(side.set, side.fleet, as_of, &papers.of(side.set, side.fleet));
        lines.into_iter().map(|line| (line.station.clone(), line)).collect::<BTreeMap<_, _>>()
    };
    let (before, after) = (judged(old), judged(new));
    let apart = before.iter().filter_map(|(slug, line)| Some((line, after.get(slug)?)));
    let apart = apart.filter(|(old, new)| old.readiness != new.readiness);
    apart
        .map(|(old, new)| Move {
            effect_on: as_of.to_string(),
            what: "readiness",
            station: old.station.clone(),
            item: String::new(),
            rule: String::new(),
            old: old.readiness.to_owned(),
            new: new.readiness.to_owned(),
            overdue_effect: "",
            later: false,
        })
        .collect()
}
