//! The due table: one row an item and rule, whatever comes first.

use std::collections::BTreeSet;
use std::sync::{Arc, OnceLock};

use jiff::civil::Date;

use crate::after::{self, Open};
use crate::alike::{self, Unlike};
use crate::amount::Amount;
use crate::as_of::AsOf;
use crate::calendar::{self, CalendarDue};
use crate::condition;
use crate::facts::{Done, Fleet, Item, ItemId, Outcome, State, Station};
use crate::forecast::{Dates, Forecaster};
use crate::holds::uses::Logged;
use crate::kept::Kept;
use crate::kinds::MeterId;
use crate::load::PolicySet;
use crate::odds::Learnt;
use crate::rule::{
    After, Authority, Calendar, Effect, Event, Grid, Rule, RuleId, Timing, Usage, When, words,
};
use crate::standing::{self, Standing};
use crate::usage::{self, Period, Reached};
use crate::zone::Instant;

words! {
    /// The clause that gives the due date.
    Because {
        /// A calendar clause.
        Calendar = "calendar",
        /// A usage clause.
        Usage = "usage",
        /// An after clause.
        After = "after",
        /// There is no date to count from: overdue now.
        NoBase = "no base",
    }
}

/// One row of the due table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DueRow {
    /// Item.
    pub item: ItemId,
    /// Rule.
    pub rule: RuleId,
    /// Standing on the as-of date.
    pub standing: Standing,
    /// Earliest of the calendar, usage and after dates.
    pub due_on: Option<Date>,
    /// The clause that gives it.
    pub because: Option<Because>,
    /// Calendar date.
    pub calendar_due: Option<Date>,
    /// Date on which a use limit was reached.
    pub usage_due: Option<Date>,
    /// 10, 50 and 90 % dates while none is reached.
    pub forecast: Dates,
    /// Date of the open after clause.
    pub after_due: Option<Date>,
    /// Meter of the usage clause that comes first.
    pub meter: Option<MeterId>,
    /// Used of it.
    pub used: Amount,
    /// Its limit.
    pub limit: Amount,
    /// No use is left: used >= limit + late of some usage clause.
    pub used_up: bool,
    /// An after clause with nothing allowed is open.
    pub held: bool,
}

/// What a calendar clause says on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CalendarFound {
    /// Nothing: its condition does not hold, or it was met once for all.
    Silent,
    /// There is no date to count from.
    NoBase,
    /// A date.
    Due(CalendarDue),
}

/// A usage clause worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UsageDue {
    /// Meter.
    pub meter: MeterId,
    /// Used since the last work that counts.
    pub used: Amount,
    /// How the limit was reached.
    pub reached: Option<Reached>,
    /// When, as a local date.
    pub reached_on: Option<Date>,
    /// Forecast of a limit not yet reached.
    pub dates: Dates,
}

/// Judges a fleet under a policy set at the end of a day.
pub struct Evaluator<'f> {
    pub(crate) set: &'f PolicySet,
    pub(crate) fleet: &'f Fleet,
    /// Zone by zone: the day that is judged, and its end.
    days: Vec<Date>,
    cutoffs: Vec<Instant>,
    rules: Vec<Vec<RuleId>>,
    pub(crate) forecaster: Option<Forecaster<'f>>,
    /// Found when a hold first asks for it.
    pub(crate) logged: OnceLock<Logged>,
}

impl<'f> Evaluator<'f> {
    /// With forecasts.
    pub fn new(set: &'f PolicySet, fleet: &'f Fleet, as_of: impl Into<AsOf>) -> Evaluator<'f> {
        let as_of = as_of.into();
        let forecaster = Some(Forecaster::new(set, fleet, as_of));
        Evaluator { forecaster, ..Evaluator::without_forecasts(set, fleet, as_of) }
    }

    /// With forecasts from what was learnt before: the same for every day of a month, as long as no record of an
    /// earlier month comes in.
    pub fn with_learnt(
        set: &'f PolicySet,
        fleet: &'f Fleet,
        as_of: impl Into<AsOf>,
        learnt: Arc<Learnt>,
    ) -> Evaluator<'f> {
        let as_of = as_of.into();
        let forecaster = Some(Forecaster::with_learnt(set, fleet, as_of, learnt));
        Evaluator { forecaster, ..Evaluator::without_forecasts(set, fleet, as_of) }
    }

    /// What the fleet teaches its forecasts; none without them.
    pub fn learnt(&self) -> Option<&Arc<Learnt>> {
        self.forecaster.as_ref().map(Forecaster::learnt)
    }

    /// While `today` is not over: its records count so far, and the rest of its use may still come, so that
    /// forecasts start with today itself.
    pub fn during(set: &'f PolicySet, fleet: &'f Fleet, today: Date) -> Evaluator<'f> {
        let yesterday = today.yesterday().unwrap_or(today);
        let forecaster = Some(Forecaster::new(set, fleet, yesterday));
        Evaluator { forecaster, ..Evaluator::without_forecasts(set, fleet, today) }
    }

    /// Certain dates only.
    pub fn without_forecasts(set: &'f PolicySet, fleet: &'f Fleet, as_of: impl Into<AsOf>) -> Evaluator<'f> {
        let as_of = as_of.into();
        let mut rules = vec![Vec::new(); set.kinds.kinds.len()];
        for (index, rule) in (0u16..).zip(&set.rules) {
            if rule.has_due_row() {
                rules[usize::from(rule.applies_to.kind.0)].push(RuleId(index));
            }
        }
        let days: Vec<Date> = fleet.zones.iter().map(|zone| as_of.day_in(zone)).collect();
        let cutoffs = fleet.zones.iter().zip(&days).map(|(zone, day)| zone.end_of(*day)).collect();
        Evaluator { set, fleet, days, cutoffs, rules, forecaster: None, logged: OnceLock::new() }
    }

    /// The day that is judged, in an item's zone.
    pub fn day(&self, item: &Item) -> Date {
        self.days[usize::from(item.zone.0)]
    }

    /// The same at a station.
    pub fn day_at(&self, station: &Station) -> Date {
        self.days[usize::from(station.zone.0)]
    }

    /// 24:00 of it there.
    pub fn end_at(&self, station: &Station) -> Instant {
        self.cutoffs[usize::from(station.zone.0)]
    }

    /// 24:00 of the as-of date in an item's zone.
    pub fn cutoff(&self, item: &Item) -> Instant {
        self.cutoffs[usize::from(item.zone.0)]
    }

    /// Every row of the fleet, item by item.
    pub fn table(&self) -> Vec<DueRow> {
        let mut rows = Vec::with_capacity(self.fleet.items.len() * 4);
        for id in self.fleet.ids() {
            self.rows_of(id, &mut rows);
        }
        rows
    }

    /// The rows of one item; none once it is withdrawn.
    pub fn rows_of(&self, id: ItemId, rows: &mut Vec<DueRow>) {
        self.rows_under(id, |_| true, rows);
    }

    /// Of one item, the rows that can keep its station from a launch, or limit one.
    pub fn rows_limiting(&self, id: ItemId, rows: &mut Vec<DueRow>) {
        self.rows_under(id, |rule| rule.overdue != Effect::Advisory, rows);
    }

    fn rows_under(&self, id: ItemId, wanted: impl Fn(&Rule) -> bool, rows: &mut Vec<DueRow>) {
        let item = self.fleet.item(id);
        if self.is_withdrawn(item) {
            return;
        }
        let station = self.fleet.station_of(item).map(|station| &*station.slug);
        for rule in &self.rules[usize::from(item.kind.0)] {
            if wanted(self.set.rule(*rule)) && self.applies(item, id, *rule, station) {
                rows.push(self.row(id, *rule));
            }
        }
    }

    /// Of one item, the rows that use of these meters can move.
    pub fn rows_counting(&self, id: ItemId, meters: &BTreeSet<MeterId>, rows: &mut Vec<DueRow>) {
        let waits = |clause: &After| {
            let event = matches!(clause.event, Event::Meter(meter) if meters.contains(&meter));
            event || clause.once_used.is_some_and(|(meter, _)| meters.contains(&meter))
        };
        let counts = |clause: &Usage| meters.contains(&clause.meter);
        let moved = |rule: &Rule| rule.usage.iter().any(counts) || rule.after.iter().any(waits);
        self.rows_under(id, moved, rows);
    }

    /// Whether an item has a row for a rule; `station` owns it.
    pub fn applies(&self, item: &Item, id: ItemId, rule: RuleId, station: Option<&str>) -> bool {
        let rule = self.set.rule(rule);
        let to = &rule.applies_to;
        rule.is_for(item, station)
            && to.in_store.is_none_or(|wanted| wanted == (self.fleet.chain(id, self.cutoff(item)).len() == 1))
            && to.laid_up.is_none_or(|wanted| wanted == self.is_laid_up(item))
    }

    /// Whether a clause under this condition counts for an item.
    pub(crate) fn counts(&self, id: ItemId, when: Option<When>) -> bool {
        when.is_none_or(|when| condition::holds(self.fleet, id, when, self.cutoff(self.fleet.item(id))))
    }

    /// How an item and its fellows differ in what a rule wants them to agree in.
    pub(crate) fn unlike(&self, id: ItemId, rule: &Rule) -> Option<Unlike> {
        alike::unlike(self.fleet, id, &rule.alike, self.cutoff(self.fleet.item(id)))
    }

    /// Whether an item is out of service for good.
    pub fn is_withdrawn(&self, item: &Item) -> bool {
        let cutoff = self.cutoff(item);
        item.states.iter().any(|change| change.state == State::Withdrawn && change.at < cutoff)
    }

    /// Work recorded before the cut-off that satisfies a rule, in time order.
    pub fn counting<'s>(
        &'s self,
        item: &'s Item,
        rule: RuleId,
    ) -> impl DoubleEndedIterator<Item = &'s Done> + Clone {
        let cutoff = self.cutoff(item);
        item.works.iter().filter(move |done| {
            let meets = done.outcome != Outcome::Failed && self.set.counts_for(done.rule, rule);
            done.at < cutoff && meets && (done.certified || !self.set.wants_certificate(done.rule, rule))
        })
    }

    /// Work that would count before the cut-off, were its certificate in.
    pub fn not_proved<'s>(&'s self, item: &'s Item, rule: RuleId) -> impl Iterator<Item = &'s Done> + Clone {
        let cutoff = self.cutoff(item);
        item.works.iter().filter(move |done| {
            let meets = done.outcome != Outcome::Failed && self.set.counts_for(done.rule, rule);
            done.at < cutoff && meets && !done.certified && self.set.wants_certificate(done.rule, rule)
        })
    }

    /// The row of one item and rule.
    pub fn row(&self, id: ItemId, rule_id: RuleId) -> DueRow {
        self.row_keeping(id, rule_id, None)
    }

    /// The row with the earlier dates that are kept for it.
    pub(crate) fn row_keeping(&self, id: ItemId, rule_id: RuleId, kept: Option<&Kept>) -> DueRow {
        let item = self.fleet.item(id);
        let rule = self.set.rule(rule_id);
        let last = self.counting(item, rule_id).next_back();
        let period = Period { after: last.map(|done| done.at), before: self.cutoff(item) };
        let mut row = DueRow {
            item: id,
            rule: rule_id,
            standing: Standing::InDate,
            due_on: None,
            because: None,
            calendar_due: None,
            usage_due: None,
            forecast: [None; 3],
            after_due: None,
            meter: None,
            used: Amount::ZERO,
            limit: Amount::ZERO,
            used_up: false,
            held: false,
        };
        let last = last.map(|done| done.date);
        let based = self.add_calendar(&mut row, rule, last, kept);
        self.add_after(&mut row, rule, period, last);
        if let Some((kept, due)) = kept.and_then(|kept| Some((kept, kept.after_due?))) {
            self.add_event(&mut row, rule, due, kept.held);
        }
        self.add_usage(&mut row, rule, period, kept);
        conclude(&mut row, based);
        row
    }

    /// Adds the calendar clauses; false when one of them has no base.
    fn add_calendar(&self, row: &mut DueRow, rule: &Rule, last: Option<Date>, kept: Option<&Kept>) -> bool {
        let mut based = true;
        for clause in &rule.calendar {
            match self.calendar_due(row.item, row.rule, clause, last) {
                CalendarFound::Silent => {}
                CalendarFound::NoBase => based = false,
                CalendarFound::Due(found) => {
                    row.calendar_due = Some(row.calendar_due.map_or(found.due, |due| due.min(found.due)));
                }
            }
        }
        row.calendar_due = row.calendar_due.into_iter().chain(kept.and_then(|kept| kept.calendar_due)).min();
        based &= !kept.is_some_and(|kept| kept.no_base);
        if !based {
            row.calendar_due = None;
        }
        if let Some(due) = row.calendar_due {
            let day = self.day(self.fleet.item(row.item));
            row.standing = standing::by_date(day, due, rule.window, rule.notice.lead);
        }
        based
    }

    /// One calendar clause. `last` is the local date of the last work that counts.
    pub(crate) fn calendar_due(
        &self,
        id: ItemId,
        rule_id: RuleId,
        clause: &Calendar,
        last: Option<Date>,
    ) -> CalendarFound {
        if !self.counts(id, clause.when) {
            return CalendarFound::Silent;
        }
        let rule = self.set.rule(rule_id);
        let item = self.fleet.item(id);
        let early = rule.window.early;
        let found = match clause.timing {
            Timing::Once(date) => {
                return calendar::once(date, early, last).map_or(CalendarFound::Silent, CalendarFound::Due);
            }
            Timing::EachYear(day) => calendar::each_year(item, day, early, last),
            Timing::Every(interval) if interval.grid == Grid::Fixed => {
                let dates = self.counting(item, rule_id).map(|done| done.date);
                calendar::fixed(item, &interval, dates, early, rule.authority == Authority::Law)
            }
            Timing::Every(interval) => calendar::floating(item, &interval, last).map(|due| {
                calendar::pause(self.fleet, item, &interval, due, self.day(item), self.cutoff(item))
            }),
        };
        found.map_or(CalendarFound::NoBase, CalendarFound::Due)
    }

    fn add_after(&self, row: &mut DueRow, rule: &Rule, period: Period, last: Option<Date>) {
        for clause in &rule.after {
            if let Some(Open { due, .. }) = after::open(self.set, self.fleet, row.item, clause, period, last)
            {
                self.add_event(row, rule, due, clause.within.is_zero());
            }
        }
        if let Some(unlike) = self.unlike(row.item, rule) {
            self.add_event(row, rule, unlike.since, true);
        }
    }

    fn add_event(&self, row: &mut DueRow, rule: &Rule, due: Date, holds: bool) {
        row.after_due = Some(row.after_due.map_or(due, |earlier| earlier.min(due)));
        row.held |= holds;
        let day = self.day(self.fleet.item(row.item));
        row.standing = row.standing.max(standing::by_event(day, due, rule.window, rule.notice.lead));
    }

    fn add_usage(&self, row: &mut DueRow, rule: &Rule, period: Period, kept: Option<&Kept>) {
        let mut first: Option<(UsageDue, Amount)> = None;
        let mut any_reached = false;
        for clause in rule.usage.iter().filter(|clause| self.counts(row.item, clause.when)) {
            let more = kept.map_or(Amount::ZERO, |kept| kept.more_of(clause.meter));
            let mut found =
                self.usage_due(row.item, &Usage { every: clause.every - more, ..*clause }, period);
            found.used += more;
            any_reached |= found.reached.is_some();
            row.used_up |= found.used >= clause.every + clause.late;
            let day = self.day(self.fleet.item(row.item));
            let standing = standing::by_usage(day, found.used, clause, found.dates[0], rule.notice.lead);
            row.standing = row.standing.max(standing);
            if first.as_ref().is_none_or(|(have, _)| self.comes_before(&found, have)) {
                first = Some((found, clause.every));
            }
        }
        let Some((found, limit)) = first else { return };
        row.meter = Some(found.meter);
        row.used = found.used;
        row.limit = limit;
        row.usage_due = found.reached_on;
        row.forecast = if any_reached { [None; 3] } else { found.dates };
    }

    /// One usage clause over a period.
    pub(crate) fn usage_due(&self, id: ItemId, clause: &Usage, period: Period) -> UsageDue {
        let (used, reached) = usage::used_and_reached(self.fleet, id, clause.meter, period, clause.every);
        let mut found = UsageDue { meter: clause.meter, used, reached, reached_on: None, dates: [None; 3] };
        if used >= clause.every {
            found.reached_on = reached.map(|reached| self.reached_on(id, reached));
        } else if let Some(forecaster) = &self.forecaster
            && let Some(host) = forecaster.host(id, clause.meter, period.before)
        {
            found.dates = forecaster.dates(host, clause.meter, self.fleet.item(id).zone, clause.every - used);
        }
        found
    }

    /// Use before the records has no day of its own: the item came into service with it.
    fn reached_on(&self, id: ItemId, reached: Reached) -> Date {
        let item = self.fleet.item(id);
        match reached {
            Reached::At(at) => self.fleet.zone_of(item).date_of(at),
            Reached::Opening => item.entered_service_on.or(item.manufactured_on).unwrap_or(self.day(item)),
        }
    }

    /// Reached before unreached; then the earlier date, empty last; then the meter's name.
    fn comes_before(&self, one: &UsageDue, other: &UsageDue) -> bool {
        let key = |found: &UsageDue| {
            let date = found.reached_on.or(found.dates[0]);
            (found.reached.is_none(), date.is_none(), date)
        };
        let name = |found: &UsageDue| self.set.kinds.meter_name(found.meter);
        (key(one), name(one)) < (key(other), name(other))
    }

    /// Whether a rule takes its station off (or limits it): overdue, nothing left, or held.
    pub fn bites(row: &DueRow) -> bool {
        row.standing == Standing::Overdue || row.used_up || row.held
    }
}

/// The earliest of the three dates and its clause, in the order calendar, usage, after on a tie.
fn conclude(row: &mut DueRow, based: bool) {
    if !based {
        row.standing = Standing::Overdue;
        row.because = Some(Because::NoBase);
        return;
    }
    let usage = row.usage_due.or(row.forecast[0]);
    let dates =
        [(row.calendar_due, Because::Calendar), (usage, Because::Usage), (row.after_due, Because::After)];
    for (date, because) in dates {
        let Some(date) = date else { continue };
        if row.due_on.is_none_or(|earliest| date < earliest) {
            row.due_on = Some(date);
            row.because = Some(because);
        }
    }
}
