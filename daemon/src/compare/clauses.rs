//! Clauses side by side: what a rule no longer asks for, also where another of its clauses still comes first.

use std::collections::BTreeSet;

use jiff::civil::Date;
use policies::amount::Amount;
use policies::load::PolicySet;
use policies::rule::{
    After, Authority, Calendar, Effect, Event, Grid, Interval, Rule, Store, Timing, Usage, When,
};

use super::Move;
use super::rows::Rows;

/// One move for each rule that both sets have and of which a clause is loosened or gone, unless every row of the rule
/// is told to move later already.
pub(super) fn moves(before: &Rows, after: &Rows, told: &[Move], as_of: Date) -> Vec<Move> {
    let both = before.set.rules.iter().filter_map(|rule| {
        let now = after.set.rule(after.set.find_rule(&rule.id)?);
        Some((rule, now))
    });
    both.filter_map(|(was, now)| of_rule(before, after, was, now, told, as_of)).collect()
}

fn of_rule(before: &Rows, after: &Rows, was: &Rule, now: &Rule, told: &[Move], as_of: Date) -> Option<Move> {
    let sides = Sides { old: before.set, new: after.set, was, now };
    let loosened = sides.loosened();
    let later = was.overdue == Effect::StopsLaunch;
    let law = [was, now].iter().any(|rule| rule.authority == Authority::Law);
    let rows = before.table.iter().filter(|row| before.rule(row).id == was.id).count();
    let moved = told.iter().filter(|one| one.rule == was.id && (one.later || one.law_later));
    let moved = moved.map(|one| &one.item).collect::<BTreeSet<_>>().len();
    if loosened.is_empty() || !(later || law) || (rows > 0 && moved >= rows) {
        return None;
    }
    let (old, new): (Vec<String>, Vec<String>) = loosened.into_iter().unzip();
    Some(Move {
        effect_on: as_of.to_string(),
        what: "rule",
        station: String::new(),
        item: String::new(),
        rule: was.id.clone(),
        old: old.join(", "),
        new: new.join(", "),
        overdue_effect: now.overdue.word(),
        later,
        law_later: law,
        rows: rows.max(1),
    })
}

/// One rule in both sets.
struct Sides<'s> {
    old: &'s PolicySet,
    new: &'s PolicySet,
    was: &'s Rule,
    now: &'s Rule,
}

const GONE: &str = "nothing";

impl Sides<'_> {
    /// Every clause that asks less, with what stands in its place.
    fn loosened(&self) -> Vec<(String, String)> {
        let (was, now) = (self.was, self.now);
        let mut found = Vec::new();
        for clause in was.calendar.iter().filter(|old| !now.calendar.iter().any(|new| self.as_soon(new, old)))
        {
            found.push((calendar_words(clause), listed(now.calendar.iter().map(calendar_words))));
        }
        for clause in was.usage.iter().filter(|old| !now.usage.iter().any(|new| self.as_few(new, old))) {
            let meter = |set: &PolicySet, usage: &Usage| set.kinds.meter_name(usage.meter).to_owned();
            let name = meter(self.old, clause);
            let same = now.usage.iter().filter(|new| meter(self.new, new) == name);
            found.push((usage_words(&name, clause), listed(same.map(|new| usage_words(&name, new)))));
        }
        for clause in was.after.iter().filter(|old| !now.after.iter().any(|new| self.as_strict(new, old))) {
            let name = event(self.old, clause.event);
            let same = now.after.iter().filter(|new| event(self.new, new.event) == name);
            found.push((after_words(&name, clause), listed(same.map(|new| after_words(&name, new)))));
        }
        for alike in was
            .alike
            .iter()
            .filter(|old| !now.alike.iter().any(|new| new.column == old.column && new.within <= old.within))
        {
            let same = now.alike.iter().filter(|new| new.column == alike.column);
            let words = |within: Amount| format!("{} alike within {within}", alike.column);
            found.push((words(alike.within), listed(same.map(|new| words(new.within)))));
        }
        found.extend(self.beside_the_clauses());
        found
    }

    fn beside_the_clauses(&self) -> Vec<(String, String)> {
        let (was, now) = (self.was, self.now);
        let mut found = Vec::new();
        if !now.window.late.never_longer(was.window.late) {
            found.push((format!("late {}", was.window.late), format!("late {}", now.window.late)));
        }
        if now.overdue < was.overdue {
            found.push((was.overdue.to_string(), now.overdue.to_string()));
        }
        if was.before_use && !now.before_use {
            found.push(("before each use".to_owned(), GONE.to_owned()));
        }
        if was.certificate && !now.certificate {
            found.push(("certificate".to_owned(), GONE.to_owned()));
        }
        found
    }

    /// Whether a condition holds wherever another does.
    fn as_wide(&self, new: Option<When>, old: Option<When>) -> bool {
        let told = |set: &PolicySet, when: When| {
            let rule = set.rule(when.of);
            let reading = rule.records.get(usize::from(when.reading)).map(|reading| reading.name.clone());
            (rule.id.clone(), reading, when.bound)
        };
        match (new, old) {
            (None, _) => true,
            (Some(_), None) => false,
            (Some(new), Some(old)) => told(self.new, new) == told(self.old, old),
        }
    }

    fn as_soon(&self, new: &Calendar, old: &Calendar) -> bool {
        let as_soon = match (new.timing, old.timing) {
            (Timing::Every(new), Timing::Every(old)) => interval_as_soon(new, old),
            (Timing::Once(new), Timing::Once(old)) => new <= old,
            (new, old) => new == old,
        };
        as_soon && self.as_wide(new.when, old.when)
    }

    fn as_few(&self, new: &Usage, old: &Usage) -> bool {
        let meters = (self.new.kinds.meter_name(new.meter), self.old.kinds.meter_name(old.meter));
        meters.0 == meters.1
            && new.every <= old.every
            && new.every + new.late <= old.every + old.late
            && self.as_wide(new.when, old.when)
    }

    fn as_strict(&self, new: &After, old: &After) -> bool {
        let waived = match (new.unless_done_within, old.unless_done_within) {
            (None, _) => true,
            (Some(_), None) => false,
            (Some(new), Some(old)) => new.never_longer(old),
        };
        let used = match (new.once_used, old.once_used) {
            (None, _) => true,
            (Some(_), None) => false,
            (Some((meter, new)), Some((old_meter, old))) => {
                self.new.kinds.meter_name(meter) == self.old.kinds.meter_name(old_meter) && new <= old
            }
        };
        event(self.new, new.event) == event(self.old, old.event)
            && new.within.never_longer(old.within)
            && waived
            && used
    }
}

/// An event in words that both sets write alike.
fn event(set: &PolicySet, event: Event) -> String {
    match event {
        Event::Meter(meter) => set.kinds.meter_name(meter).to_owned(),
        Event::Work(work) => work.to_string(),
        Event::Happening(happening) => happening.to_string(),
        Event::Reading(when) => {
            let rule = set.rule(when.of);
            let reading = rule.records.get(usize::from(when.reading));
            format!("{} {} {:?}", rule.id, reading.map_or("", |one| &one.name), when.bound)
        }
    }
}

/// Never later from the same base. Another base, or another first day of the grid, cannot be held against the old.
fn interval_as_soon(new: Interval, old: Interval) -> bool {
    let base = new.from == old.from && (new.grid, new.anchor) == (old.grid, old.anchor);
    let store = new.store == old.store || new.store == Store::Runs;
    base && store && new.every.never_longer(old.every)
}

fn calendar_words(clause: &Calendar) -> String {
    match clause.timing {
        Timing::Every(interval) => {
            let grid = if interval.grid == Grid::Fixed { ", fixed" } else { "" };
            let store = if interval.store == Store::Pauses { ", pauses in store" } else { "" };
            format!("every {} from {}{grid}{store}", interval.every, interval.from)
        }
        Timing::EachYear(day) => format!("each year by {:02}-{:02}", day.month, day.day),
        Timing::Once(day) => format!("once by {day}"),
    }
}

fn usage_words(meter: &str, clause: &Usage) -> String {
    format!("{} {meter} + {} late", clause.every, clause.late)
}

fn after_words(event: &str, clause: &After) -> String {
    format!("{} after {event}", clause.within)
}

fn listed(clauses: impl Iterator<Item = String>) -> String {
    let clauses: Vec<String> = clauses.collect();
    if clauses.is_empty() { GONE.to_owned() } else { clauses.join(" or ") }
}
