//! What will stop a launch: every date to come that does, left undone, station by station.

use std::collections::HashMap;

use jiff::civil::Date;
use policies::facts::{ItemId, StationId};
use policies::forecast::Dates;
use policies::readiness::{Danger, Papers};
use policies::rule::{Effect, Work};

use super::ahead::OWN_HANDS;
use super::judged::{Bite, Judged};
use super::links::Link;
use super::place::View;
use super::words;

/// How far ahead is looked.
pub(super) const MONTHS: i16 = 18;
/// Tags that are spelt out.
const TAGS: usize = 6;
/// Two flanks are not worked on together, and a day is kept between them: dates no further apart than this clash.
const NEAR_DAYS: i32 = 1;

/// One thing that will stop a launch of one station.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Stop {
    pub(super) items: Vec<ItemId>,
    /// What is to be done.
    pub(super) task: String,
    /// Of what sort that is.
    pub(super) work: Option<Work>,
    /// Who does it; none: it is not laid down.
    pub(super) by: Option<String>,
    /// First day on which work counts.
    pub(super) opens: Option<Date>,
    /// The day it is planned by.
    pub(super) planned: Option<Date>,
    /// The last day on which it may be undone.
    pub(super) hard: Option<Date>,
    /// 10, 50 and 90 % dates of its count.
    pub(super) odds: Dates,
    /// It stops a launch as things are.
    pub(super) now: bool,
    /// Where the reckoning stands.
    pub(super) why: Option<String>,
}

impl Stop {
    /// The first day on which it may stop a launch.
    pub(super) fn first(&self) -> Option<Date> {
        self.hard.into_iter().chain(self.odds[0]).min()
    }

    /// Takes in what is done on the same visit.
    fn take_in(&mut self, other: Stop) {
        self.items.extend(other.items);
        self.opens = self.opens.max(other.opens);
        if self.task != other.task {
            self.task = other.work.map_or_else(|| other.task.clone(), |work| work.word().to_owned());
            self.why = None;
        }
    }

    /// The station's own hands see to it.
    pub(super) fn is_own(&self) -> bool {
        self.by.as_deref().is_some_and(|by| OWN_HANDS.contains(&by))
    }

    /// `last day 20 Oct`, `10 % by 28 Oct, 50 % by 9 Nov, 90 % by 26 Nov`.
    pub(super) fn when(&self, read_in: Date) -> String {
        if self.now {
            return "stops a launch now".to_owned();
        }
        let day = |date: Date| words::day(date, read_in);
        let mut parts: Vec<String> = Vec::new();
        if let Some(hard) = self.hard {
            let planned = self.planned.filter(|planned| *planned != hard);
            let due = planned.map(|planned| format!("due {}, ", day(planned))).unwrap_or_default();
            parts.push(format!("{due}last day {}", day(hard)));
        }
        let odds = ["10 %", "50 %", "90 %"].into_iter().zip(self.odds);
        let odds: Vec<String> =
            odds.filter_map(|(chance, date)| Some(format!("{chance} by {}", day(date?)))).collect();
        if !odds.is_empty() {
            parts.push(odds.join(", "));
        }
        parts.join("; ")
    }
}

impl View<'_> {
    pub(super) fn stops_horizon(&self) -> Date {
        self.as_of.checked_add(jiff::Span::new().months(MONTHS)).unwrap_or(Date::MAX)
    }

    /// Everything that stops a launch now or within the horizon, by station and date; alike things together.
    pub(super) fn stops(&self, judged: &[Judged], papers: &Papers) -> HashMap<StationId, Vec<Stop>> {
        let until = self.stops_horizon();
        let mut found: HashMap<StationId, Vec<Stop>> = HashMap::new();
        let stopping = judged
            .iter()
            .filter(|judged| judged.effect == Effect::StopsLaunch && judged.bite != Bite::Blocked);
        for group in self.alike(stopping) {
            let (Some(station), Some(stop)) =
                (group.first().and_then(|first| first.station), self.stop(&group))
            else {
                continue;
            };
            if stop.now || stop.first().is_some_and(|first| first <= until) {
                found.entry(station).or_default().push(stop);
            }
        }
        for (station, stop) in self.paper_stops(papers, until) {
            let own = found.entry(station).or_default();
            // An examination's own row says it already where its certificate lapses on the same day.
            let said = own.iter().any(|have| have.hard == stop.hard && have.items.contains(&stop.items[0]));
            if !said {
                own.push(stop);
            }
        }
        for stops in found.values_mut() {
            stops.sort_by_key(|stop| (!stop.now, stop.first(), stop.planned));
            *stops = together(std::mem::take(stops));
        }
        found
    }

    /// What a row, or rows alike, will stop.
    pub(super) fn stop(&self, group: &[&Judged]) -> Option<Stop> {
        let first = group.first()?;
        let (row, rule) = (&first.row, self.set.rule(first.row.rule));
        let conceded = first.concession.and_then(|concession| concession.until_date.parse::<Date>().ok());
        let dated = row.calendar_due.into_iter().chain(row.after_due).min();
        let hard = dated.map(|due| rule.window.late.after(due, 1));
        let now = first.bite == Bite::Stops;
        Some(Stop {
            items: group.iter().map(|judged| judged.row.item).collect(),
            task: words::lower_first(&rule.title),
            work: Some(rule.work),
            by: rule.by.clone(),
            opens: dated.map(|due| rule.window.early.before(due)).filter(|_| conceded.is_none()),
            planned: dated.filter(|_| conceded.is_none()),
            hard: conceded.or(hard).filter(|_| !now),
            odds: if conceded.is_some() { [None; 3] } else { row.forecast },
            now,
            why: Some(self.links.why(self.tag(row.item), &rule.id)),
        })
    }

    /// Certificates that lapse, and defects that become a danger.
    fn paper_stops(&self, papers: &Papers, until: Date) -> Vec<(StationId, Stop)> {
        let mut newest: HashMap<ItemId, (Date, Date, &str)> = HashMap::new();
        for paper in &papers.certificates {
            let ends = paper.valid_until.filter(|_| paper.issued_on <= self.day(paper.item));
            let Some(ends) = ends else { continue };
            let own = (paper.issued_on, ends, paper.number.as_str());
            let have = newest.entry(paper.item).or_insert(own);
            *have = own.max(*have);
        }
        let lapses = newest
            .into_iter()
            .map(|(item, (_, ends, number))| (item, ends, format!("certificate {number} lapses")));
        let dangers = papers.defects.iter().filter(|defect| defect.is_open(self.day(defect.item)));
        let dangers = dangers.filter_map(|defect| match defect.danger {
            Danger::By(day) => Some((defect.item, day, format!("defect, {}", defect.what))),
            Danger::Now | Danger::None => None,
        });
        let dated = lapses.chain(dangers).filter(|(item, day, _)| *day >= self.day(*item) && *day <= until);
        let mut found: Vec<_> = dated
            .filter_map(|(item, day, task)| {
                let why = Some(self.links.item(self.tag(item)));
                let stop = Stop { items: vec![item], task, hard: Some(day), why, ..Stop::default() };
                Some((self.counts_for(item)?, stop))
            })
            .collect();
        found.sort_by_key(|(station, stop)| (*station, stop.hard, stop.items.clone()));
        found
    }

    /// `F-0417, F-0418 and 3 more`.
    pub(super) fn tags_of(&self, stop: &Stop) -> (Vec<Link>, usize) {
        let mut tags: Vec<Link> = Vec::new();
        for item in &stop.items {
            let tag = self.links.to_item(self.tag(*item));
            if !tags.contains(&tag) {
                tags.push(tag);
            }
        }
        let more = tags.len().saturating_sub(TAGS);
        tags.truncate(TAGS);
        (tags, more)
    }
}

/// Work of one sort by one person on one day is one line; a count runs out for itself.
fn together(stops: Vec<Stop>) -> Vec<Stop> {
    let mut found: Vec<Stop> = Vec::new();
    for stop in stops {
        let alike = |have: &&mut Stop| {
            have.odds == [None; 3]
                && stop.odds == [None; 3]
                && (have.now, have.hard, have.planned) == (stop.now, stop.hard, stop.planned)
                && (&have.by, have.work) == (&stop.by, stop.work)
                && (have.task == stop.task || stop.work.is_some())
        };
        match found.iter_mut().rev().find(alike) {
            Some(have) => have.take_in(stop),
            None => found.push(stop),
        }
    }
    found
}

/// Days on which two flanking stations may both be stopped by what others must come for: pairs of dates with no
/// whole day between them.
pub(super) fn clashes(one: &[Stop], other: &[Stop]) -> Vec<(Date, Date)> {
    let dates = |stops: &[Stop]| {
        let others = stops.iter().filter(|stop| !stop.now && !stop.is_own());
        let mut dates: Vec<Date> = others.filter_map(Stop::first).collect();
        dates.sort_unstable();
        dates.dedup();
        dates
    };
    let (ours, theirs) = (dates(one), dates(other));
    let near = |a: Date, b: Date| (a - b).get_days().abs() <= NEAR_DAYS;
    ours.iter()
        .flat_map(|a| theirs.iter().filter(|b| near(*a, **b)).map(|b| (*a.min(b), *a.max(b))))
        .collect()
}
