//! Work done, laid out so that each rule was kept: the turn of the calendar, the count, and what each event asked.

use std::collections::BTreeMap;

use jiff::civil::{Date, Weekday, date, time};
use jiff::{Span, Timestamp};

use super::chance::Chance;
use super::coast::{FIRST_DAY, LAST_DAY, days_after, instant, local, minutes_after};
use super::exposure::Exposure;
use super::gear::{Fleet, Item};
use super::measured;
use super::rules::{By, Clause, RULES, Rule};
use super::told::Told;
use super::visits;

#[derive(Clone, Debug)]
pub struct Work {
    pub item: String,
    pub rule: &'static str,
    pub at: Timestamp,
    pub outcome: &'static str,
    pub by: String,
    pub certificate: Option<String>,
    pub measurements: String,
    pub note: &'static str,
}

/// A year of the rules that stop a launch is kept; of the others the last alone.
const HISTORY_FROM: Date = date(2025, 10, 11);

pub fn lay_out(fleet: &Fleet, exposure: &Exposure, told: &Told) -> Vec<Work> {
    let mut all = Vec::new();
    for item in &fleet.items {
        let mut done: BTreeMap<&str, Vec<Timestamp>> = BTreeMap::new();
        for rule in RULES.iter().filter(|rule| rule.kind == item.kind && asked_of(fleet, item, rule)) {
            let planner = Planner { item, rule, exposure, told, done: &done };
            let times = planner.times();
            done.entry(rule.work).or_default().extend(&times);
            all.extend(kept(item, rule, &times, told, exposure));
        }
    }
    all.extend(told.works.iter().cloned());
    all.sort_by(|a, b| (a.at, &a.item, a.rule).cmp(&(b.at, &b.item, b.rule)));
    all
}

fn asked_of(fleet: &Fleet, item: &Item, rule: &Rule) -> bool {
    if rule.id.ends_with("-in-store") {
        return !fleet.fittings.iter().any(|fitting| fitting.item == item.tag && fitting.to.is_none());
    }
    rule.id != "tractor-laid-up" || item.attribute("duty") == Some("relief")
}

struct Planner<'a> {
    item: &'a Item,
    rule: &'static Rule,
    exposure: &'a Exposure<'a>,
    told: &'a Told,
    done: &'a BTreeMap<&'a str, Vec<Timestamp>>,
}

/// Events of one clause, gathered once.
struct Watch {
    clause: Clause,
    rows: Vec<(Timestamp, f64)>,
}

impl Planner<'_> {
    fn times(&self) -> Vec<Timestamp> {
        let watches: Vec<Watch> = self.rule.clauses.iter().map(|clause| self.watch(*clause)).collect();
        let end = self.end();
        let mut times: Vec<Timestamp> = Vec::new();
        while times.len() < 6_000 {
            let last = times.last().copied();
            let next = watches.iter().filter_map(|watch| self.next(watch, last)).min();
            match self.or_told(last, next) {
                Some(at) if at < end => times.push(at),
                _ => break,
            }
        }
        times
    }

    fn end(&self) -> Timestamp {
        let midnight = instant(&self.item.zone(), days_after(LAST_DAY, 1).to_datetime(time(0, 0, 0, 0)));
        let held = self.told.held(&self.item.tag, self.rule.id);
        [self.item.withdrawn, held].into_iter().flatten().fold(midnight, Timestamp::min)
    }

    /// A story's own work takes the place of what would have been done shortly before it.
    fn or_told(&self, last: Option<Timestamp>, next: Option<Timestamp>) -> Option<Timestamp> {
        let told = self
            .told
            .passed(&self.item.tag, self.rule.id)
            .into_iter()
            .find(|at| last.is_none_or(|last| *at > last));
        match (told, next) {
            (Some(told), Some(next)) if told.as_second() - next.as_second() < 5 * 86_400 => Some(told),
            (Some(told), None) => Some(told),
            (_, next) => next,
        }
    }

    fn watch(&self, clause: Clause) -> Watch {
        let rows = match clause {
            Clause::Months(..) | Clause::Mondays | Clause::EachYear(..) => Vec::new(),
            Clause::Limit(meter, _, _) => self.exposure.rows(&self.item.tag, meter),
            Clause::After("fitted") => {
                let mut rows: Vec<_> = self
                    .exposure
                    .fittings(&self.item.tag)
                    .iter()
                    .map(|fitting| (fitting.from, 1.0))
                    .collect();
                rows.sort_by_key(|(at, _)| *at);
                rows
            }
            Clause::After(event) => match self.work_done(event) {
                Some(times) => times.into_iter().map(|at| (at, 1.0)).collect(),
                None => self.exposure.rows(&self.item.tag, event),
            },
        };
        Watch { clause, rows }
    }

    fn work_done(&self, event: &str) -> Option<Vec<Timestamp>> {
        (event == "crop").then(|| self.done.get(event).cloned().unwrap_or_default())
    }

    fn next(&self, watch: &Watch, last: Option<Timestamp>) -> Option<Timestamp> {
        match watch.clause {
            Clause::Months(months, early) => Some(self.calendar(months, early, last)),
            Clause::Mondays => Some(self.monday(last)),
            Clause::EachYear(month, day) => self.each_year(month, day, last),
            Clause::Limit(meter, limit, margin) => self.limit(watch, meter, limit - margin, last),
            Clause::After(event) => watch
                .rows
                .iter()
                .find(|(at, _)| last.is_none_or(|last| *at > last))
                .map(|(at, _)| self.after(event, *at)),
        }
    }

    fn base(&self, last: Option<Timestamp>) -> Date {
        last.map_or_else(
            || self.item.first_day().unwrap_or(FIRST_DAY),
            |last| local(&self.item.zone(), last).date(),
        )
    }

    fn calendar(&self, months: i64, early: i64, last: Option<Timestamp>) -> Timestamp {
        let base = self.base(last);
        let due = base.checked_add(Span::new().months(months)).unwrap_or(base);
        let place = self.item.owner.unwrap_or("");
        let day = visits::day_for(place, self.rule.by, due, early, self.rule.id);
        self.on(if day > base { day } else { due })
    }

    /// A week or so before its day, from the first autumn of the records on.
    fn each_year(&self, month: i8, day: i8, last: Option<Timestamp>) -> Option<Timestamp> {
        let year = last.map_or(FIRST_DAY.year(), |last| local(&self.item.zone(), last).year() + 1);
        let by = Date::new(year, month, day).ok()?;
        let mut chance = Chance::of(&format!("{} {year}", self.item.tag));
        Some(self.on(visits::working_day(days_after(by, -chance.between(5, 14)))))
    }

    /// Mostly on the Monday itself, now and then on the Tuesday; the newest on its Monday.
    fn monday(&self, last: Option<Timestamp>) -> Timestamp {
        let from = last.map_or_else(
            || days_after(HISTORY_FROM.max(self.base(None)), 1),
            |last| days_after(local(&self.item.zone(), last).date(), 2),
        );
        let monday = (0..7)
            .map(|step| days_after(from, step))
            .find(|day| day.weekday() == Weekday::Monday)
            .unwrap_or(from);
        let mut chance = Chance::of(&format!("{:?} {monday}", self.item.owner));
        let settled = last.is_none() || monday > days_after(LAST_DAY, -14);
        self.on(if settled || chance.share() < 0.9 { monday } else { days_after(monday, 1) })
    }

    fn limit(&self, watch: &Watch, meter: &str, at_count: f64, last: Option<Timestamp>) -> Option<Timestamp> {
        let opening = self.item.opening.filter(|(own, _)| last.is_none() && *own == meter);
        let mut used = opening.map_or(0.0, |(_, count)| f64::from(count));
        if used >= at_count {
            let before = visits::working_day(days_after(FIRST_DAY, -12));
            return Some(self.on(before.max(self.base(None))));
        }
        for (at, count) in watch.rows.iter().filter(|(at, _)| last.is_none_or(|last| *at > last)) {
            used += count;
            if used >= at_count {
                return Some(self.morning_after(*at, if self.rule.work == "crop" { 435 } else { 615 }));
            }
        }
        None
    }

    fn after(&self, event: &str, at: Timestamp) -> Timestamp {
        match event {
            "fitted" => minutes_after(at, 90),
            "crop" => minutes_after(at, 55),
            _ => self.morning_after(at, 465),
        }
    }

    /// The next local morning; on the last day the same evening.
    fn morning_after(&self, at: Timestamp, minute: i64) -> Timestamp {
        let zone = self.item.zone();
        let next = days_after(local(&zone, at).date(), 1);
        if next > LAST_DAY {
            return minutes_after(at, 80);
        }
        minutes_after(instant(&zone, next.to_datetime(time(0, 0, 0, 0))), minute)
    }

    /// In working hours of `day`, each item at its own minute.
    fn on(&self, day: Date) -> Timestamp {
        let mut chance = Chance::of(&format!("{} {}", self.item.tag, self.rule.id));
        let minute = 9 * 60 + chance.between(0, 66) * 5;
        minutes_after(instant(&self.item.zone(), day.to_datetime(time(0, 0, 0, 0))), minute)
    }
}

/// Drops what the register does not need to carry, and what a story tells itself.
fn kept(
    item: &Item,
    rule: &'static Rule,
    times: &[Timestamp],
    told: &Told,
    exposure: &Exposure,
) -> Vec<Work> {
    let own = told.passed(&item.tag, rule.id);
    let from = instant(&item.zone(), HISTORY_FROM.to_datetime(time(0, 0, 0, 0)));
    let traced = matches!(rule.work, "crop" | "end for end" | "proof load test");
    let last = times.last().copied();
    // The one before the year began is what the first of the year is reckoned from.
    let since = times.iter().rev().find(|at| **at < from).copied().unwrap_or(from);
    times
        .iter()
        .enumerate()
        .filter(|(_, at)| Some(**at) == last || traced || (rule.stops && **at >= since))
        .filter(|(_, at)| !own.contains(at))
        .map(|(index, at)| one(item, rule, *at, index, exposure))
        .collect()
}

fn one(item: &Item, rule: &'static Rule, at: Timestamp, index: usize, exposure: &Exposure) -> Work {
    Work {
        item: item.tag.clone(),
        rule: rule.id,
        at,
        outcome: outcome(rule.work),
        by: done_by(item, rule.by),
        certificate: None,
        measurements: measured::values(item, rule.id, at, index, exposure),
        note: "",
    }
}

fn outcome(work: &str) -> &'static str {
    match work {
        "lubrication" | "crop" | "end for end" | "overhaul" | "renewal" => "done",
        _ => "passed",
    }
}

pub fn done_by(item: &Item, by: By) -> String {
    match by {
        By::Competent | By::TestHouse => "booking@testhouse.example".to_owned(),
        By::Loft | By::Clerk => "stores@mcbs.example".to_owned(),
        By::Crew | By::Mechanic => {
            item.station().map_or_else(|| "stores@mcbs.example".to_owned(), super::coast::Station::mechanic)
        }
    }
}
