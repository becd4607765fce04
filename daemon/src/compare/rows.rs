//! Rows of the due table side by side: dates, tolerances, effects and standings.

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::amount::Amount;
use policies::due::{Because, DueRow, Evaluator};
use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;
use policies::owed::last_day;
use policies::readiness::Readiness;
use policies::rule::{Authority, Effect, Notice, Rule, RuleId, Window, Work};

use super::{Move, Side};
use crate::due_list::Line;
use crate::fitness::PaperRows;

/// The due table of one side, item by item.
pub(super) struct Rows<'s> {
    pub(super) set: &'s PolicySet,
    pub(super) fleet: &'s Fleet,
    pub(super) table: Vec<DueRow>,
    /// Where the rows of each item begin, and where those of the last one end.
    starts: Vec<usize>,
}

/// Rows of one item and rule.
pub(super) enum Pair {
    /// Of both sides, the old one first.
    Both(Box<[Row; 2]>),
    /// The new side has none.
    Gone(Row),
    /// The old side has none.
    Fresh(Row),
}

/// A row, in words and as it was judged.
pub(super) struct Row {
    pub(super) line: Line,
    pub(super) judged: DueRow,
}

impl<'s> Rows<'s> {
    pub(super) fn of(side: &Side<'s>, evaluator: &Evaluator) -> Rows<'s> {
        let table = evaluator.table();
        let ids = 0..=side.fleet.items.len();
        let starts = ids.map(|id| table.partition_point(|row| (row.item.0 as usize) < id)).collect();
        Rows { set: side.set, fleet: side.fleet, table, starts }
    }

    /// The rows of one item.
    fn of_item(&self, id: ItemId) -> &[DueRow] {
        &self.table[self.starts[id.0 as usize]..self.starts[id.0 as usize + 1]]
    }

    fn row(&self, judged: &DueRow) -> Row {
        Row { line: Line::of(self.set, self.fleet, judged), judged: *judged }
    }

    pub(super) fn rule(&self, row: &DueRow) -> &'s Rule {
        self.set.rule(row.rule)
    }

    fn is_law(&self, row: &DueRow) -> bool {
        self.rule(row).authority == Authority::Law
    }

    fn stops(&self, row: &DueRow) -> bool {
        self.rule(row).overdue == Effect::StopsLaunch
    }

    /// Rows that can stop a launch.
    pub(super) fn stopping(&self) -> usize {
        self.table.iter().filter(|row| self.stops(row)).count()
    }

    /// What each station's gear allows, by slug.
    pub(super) fn readiness(&self, papers: &PaperRows, as_of: Date) -> BTreeMap<&'s str, Readiness> {
        let evaluator = Evaluator::without_forecasts(self.set, self.fleet, as_of);
        let judged = evaluator.readiness(&papers.of(self.set, self.fleet));
        let slug = |station: usize| &*self.fleet.stations[station].slug;
        judged.iter().map(|found| (slug(found.station.0 as usize), found.readiness)).collect()
    }

    /// The last day and the last use that are allowed; those of a row that never stops a launch lie beyond all.
    fn allowed(&self, row: &Row) -> Allowed {
        let rule = self.rule(&row.judged);
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

/// Every pair of which something may move.
pub(super) fn apart(before: &Rows, after: &Rows) -> Vec<Pair> {
    let same = SameRules::of(before.set, after.set);
    let mut found = Vec::new();
    for id in before.fleet.ids() {
        let other = after.fleet.find(&before.fleet.item(id).tag);
        let (old, new) = (before.of_item(id), other.map_or(&[][..], |other| after.of_item(other)));
        for row in old {
            match new.iter().find(|now| same.is_rule(row, now)) {
                Some(now) if same.says_the_same(row, now) => {}
                Some(now) => found.push(Pair::Both(Box::new([before.row(row), after.row(now)]))),
                None => found.push(Pair::Gone(before.row(row))),
            }
        }
        let fresh = new.iter().filter(|now| !old.iter().any(|row| same.is_rule(row, now)));
        found.extend(fresh.map(|row| Pair::Fresh(after.row(row))));
    }
    let unknown = after.fleet.ids().filter(|id| before.fleet.find(&after.fleet.item(*id).tag).is_none());
    let fresh = unknown.flat_map(|id| after.of_item(id));
    found.extend(fresh.map(|row| Pair::Fresh(after.row(row))));
    found
}

/// Rules of the old set by those of the new one that have their identifiers.
struct SameRules<'s> {
    old: &'s PolicySet,
    new: &'s PolicySet,
    /// By rule of the old set: the rule of the new one, and whether rows that agree say the same under both.
    found: Vec<Option<(RuleId, bool)>>,
}

impl<'s> SameRules<'s> {
    fn of(old: &'s PolicySet, new: &'s PolicySet) -> SameRules<'s> {
        let same = |rule: &Rule| {
            let other = new.find_rule(&rule.id)?;
            Some((other, terms(old, rule) == terms(new, new.rule(other))))
        };
        SameRules { old, new, found: old.rules.iter().map(same).collect() }
    }

    fn is_rule(&self, old: &DueRow, new: &DueRow) -> bool {
        self.found[usize::from(old.rule.0)].is_some_and(|(rule, _)| rule == new.rule)
    }

    /// Nothing moves between these rows of one rule.
    fn says_the_same(&self, old: &DueRow, new: &DueRow) -> bool {
        let meter = |set: &'s PolicySet, row: &DueRow| row.meter.map(|meter| set.kinds.meter_name(meter));
        self.found[usize::from(old.rule.0)].is_some_and(|(_, same_terms)| same_terms)
            && DueRow { item: old.item, rule: old.rule, meter: old.meter, ..*new } == *old
            && meter(self.old, old) == meter(self.new, new)
    }
}

/// What is told of a row by its rule, beyond its dates: tolerances, effect, authority, work and notices.
type Terms<'s> = (Vec<(&'s str, Amount)>, Window, Effect, Authority, Work, &'s Notice);

fn terms<'s>(set: &'s PolicySet, rule: &'s Rule) -> Terms<'s> {
    let late = rule.usage.iter().map(|clause| (set.kinds.meter_name(clause.meter), clause.late));
    (late.collect(), rule.window, rule.overdue, rule.authority, rule.work, &rule.notice)
}

/// What moves from row to row.
pub(super) fn moves(before: &Rows, after: &Rows, apart: &[Pair], as_of: Date) -> Vec<Move> {
    let mut found = Vec::new();
    for pair in apart {
        match pair {
            Pair::Both(both) => {
                let [row, now] = &**both;
                between(before, row, after, now, as_of, &mut found);
            }
            Pair::Gone(row) => found.push(gone(before, row, as_of)),
            Pair::Fresh(row) => found.push(Move {
                old: "no such row".to_owned(),
                new: told(&row.line),
                ..blank("row", &row.line, as_of)
            }),
        }
    }
    found
}

fn gone(before: &Rows, row: &Row, as_of: Date) -> Move {
    Move {
        old: told(&row.line),
        new: "no such row".to_owned(),
        later: before.stops(&row.judged),
        law_later: before.is_law(&row.judged),
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
        rows: 1,
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
    let (stopped, stops) = (before.stops(&old.judged), after.stops(&new.judged));
    let (a, b) = (&old.line, &new.line);
    let law = before.is_law(&old.judged) || after.is_law(&new.judged);
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
