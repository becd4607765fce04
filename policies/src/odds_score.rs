//! Forecasts tried on the fleet's own history: of the limits foreseen at past month ends, how many were crossed
//! before the 10, 50 and 90 % dates.
//!
//! A limit counts as crossed on the day on which the host that the item was fitted to had made the uses then
//! left, whether or not the item was renewed or moved in the meantime: that is what was foreseen. A date is
//! judged once its day is over, crossed or not; were it judged as soon as its limit is crossed, the early
//! ones alone would be counted.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use crate::amount::Amount;
use crate::due::{DueRow, Evaluator};
use crate::facts::{Fleet, ItemId, Log};
use crate::forecast::Dates;
use crate::kinds::{KindId, MeterId};
use crate::load::PolicySet;
use crate::zone::{Instant, Zone};

/// Month ends that are gone back.
pub const MONTHS_BACK: u32 = 24;

/// How many of so many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Share {
    /// Judged.
    pub of: u32,
    /// Crossed before.
    pub crossed: u32,
}

impl Share {
    /// In percent; none of none.
    pub fn percent(&self) -> Option<f64> {
        (self.of > 0).then(|| 100.0 * f64::from(self.crossed) / f64::from(self.of))
    }

    fn add(&mut self, crossed: bool) {
        self.of += 1;
        self.crossed += u32::from(crossed);
    }
}

/// How forecasts of one kind of item did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Score {
    /// Forecasts looked back on: one a month end, item and rule.
    pub forecasts: u32,
    /// Hosts they were made from: forecasts of one host share its luck.
    pub hosts: BTreeSet<ItemId>,
    /// Crossed by the as-of date.
    pub crossed: u32,
    /// Crossed before the 10, 50 and 90 % date, of those whose date is over.
    pub before: [Share; 3],
    /// Crossed from the 10 % to the 90 % date, of those whose 90 % date is over.
    pub inside: Share,
}

impl Score {
    /// Not crossed by the as-of date.
    pub fn open(&self) -> u32 {
        self.forecasts - self.crossed
    }

    /// Adds a forecast and when it was crossed, if it is; `last` is the last day whose uses are known.
    pub fn add(&mut self, dates: Dates, crossed: Option<Date>, last: Date) {
        self.forecasts += 1;
        self.crossed += u32::from(crossed.is_some());
        let over = dates.map(|date| date.filter(|date| *date <= last));
        let before = over.map(|date| crossed.zip(date).is_some_and(|(crossed, date)| crossed < date));
        for ((share, date), before) in self.before.iter_mut().zip(over).zip(before) {
            if date.is_some() {
                share.add(before);
            }
        }
        if let Some(last) = over[2] {
            self.inside.add(crossed.is_some_and(|crossed| !before[0] && crossed <= last));
        }
    }
}

/// The score of each kind of item, from the month ends of the last [`MONTHS_BACK`] months before `as_of`.
/// Rows whose host had logged nothing by then are left out.
pub fn scores(set: &PolicySet, fleet: &Fleet, as_of: Date) -> BTreeMap<KindId, Score> {
    let mut scores = BTreeMap::new();
    for end in month_ends(as_of) {
        let evaluator = Evaluator::new(set, fleet, end);
        for row in evaluator.table().iter().filter(|row| row.forecast[0].is_some()) {
            add_row(&evaluator, row, as_of, &mut scores);
        }
    }
    scores
}

/// Month ends before a day, the earliest first.
fn month_ends(as_of: Date) -> Vec<Date> {
    let mut ends = Vec::new();
    let mut first = as_of.first_of_month();
    for _ in 0..MONTHS_BACK {
        let Ok(end) = first.yesterday() else { break };
        ends.push(end);
        first = end.first_of_month();
    }
    ends.reverse();
    ends
}

fn add_row(evaluator: &Evaluator, row: &DueRow, as_of: Date, scores: &mut BTreeMap<KindId, Score>) {
    let Some((meter, forecaster)) = row.meter.zip(evaluator.forecaster.as_ref()) else { return };
    let fleet = evaluator.fleet;
    let item = fleet.item(row.item);
    let cutoff = evaluator.cutoff(item);
    let Some(host) = forecaster.host(row.item, meter, cutoff) else { return };
    if forecaster.rate(host, meter, item.zone).months <= 0.0 {
        return;
    }
    let crossed = crossing(fleet, host, meter, cutoff, row.limit - row.used).filter(|date| *date <= as_of);
    let score = scores.entry(item.kind).or_default();
    score.hosts.insert(host);
    score.add(row.forecast, crossed, as_of);
}

/// The day on which a host had made so many uses since a moment.
fn crossing(fleet: &Fleet, host: ItemId, meter: MeterId, since: Instant, left: Amount) -> Option<Date> {
    let log = fleet.log(host, meter)?;
    let zone = fleet.zone_of(fleet.item(host));
    if log.days.iter().any(|use_| use_.at >= since) {
        return crossing_by_event(log, zone, since, left);
    }
    log.reaches(log.part(since, Instant::MAX), left).map(|at| zone.date_of(at))
}

/// The plain way, for logs with uses known to the day only.
fn crossing_by_event(log: &Log, zone: &Zone, since: Instant, left: Amount) -> Option<Date> {
    let mut uses: Vec<(Instant, Amount)> =
        log.days.iter().filter(|use_| use_.at >= since).map(|use_| (use_.at, use_.amount)).collect();
    uses.extend(log.uses(log.part(since, Instant::MAX)));
    uses.sort_by_key(|(at, _)| *at);
    let mut made = Amount::ZERO;
    let reached = uses.into_iter().find(|(_, amount)| {
        made += *amount;
        made >= left
    });
    reached.map(|(at, _)| zone.date_of(at))
}

#[cfg(test)]
mod tests;
