//! Wear of one item: its readings against the use it had, the limit they move towards, and when they may reach it.

mod odds;
mod renewed;

use std::cmp::Ordering;

use jiff::civil::Date;

use crate::amount::Amount;
use crate::assess::{Regime, Verdict, assess_item, measure_of};
use crate::due::Evaluator;
use crate::facts::ItemId;
use crate::forecast::Dates;
use crate::kinds::{KindId, MeterId};
use crate::rule::{Reading, RuleId, Work};
use crate::trend::{Jump, Limit, NoTrend, Point, Trend, jump};
use crate::usage::{self, Period};
use crate::zone::Instant;

pub use odds::{NoOdds, WearOdds, chance_by};

/// Gauges read to the hundredth.
const GAUGE_MILLIONTHS: i64 = 10_000;
/// Limits are sought to the thousandth.
const STEP_MILLIONTHS: i64 = 1_000;
/// How far back, in hundredths of a reading, the limit is sought that it has passed.
const BACK: i64 = 30;
/// So often a growing reading is doubled in search of one that is discarded.
const DOUBLINGS: u32 = 10;

/// One reading of an item.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Read {
    /// Rule with whose work it was taken.
    pub rule: RuleId,
    /// Its name among the rule's records.
    pub name: String,
    /// When.
    pub at: Instant,
    /// Local date of that.
    pub on: Date,
    /// What was read.
    pub value: Amount,
}

/// How a reading wears.
#[derive(Clone, Debug, PartialEq)]
pub struct Wear {
    /// Rule.
    pub rule: RuleId,
    /// Name of the reading.
    pub name: String,
    /// Its unit.
    pub unit: Option<String>,
    /// Meter that its use is counted on.
    pub meter: MeterId,
    /// Earlier readings that are of a part since renewed by an overhaul, and count no more.
    pub outlived: usize,
    /// Readings in order of time, with the use at each; of the part that is in now.
    pub points: Vec<(Date, Point)>,
    /// Use by now.
    pub used: Amount,
    /// The limit; none where no rule and no criterion bounds it.
    pub limit: Option<Limit>,
    /// The line through the readings.
    pub trend: Result<Trend, NoTrend>,
    /// Whether the latest is off the line through the earlier ones.
    pub jump: Option<Jump>,
    /// Uses from now on for which one more reading stays within the limit with 95 % certainty.
    pub safe_uses: Option<Amount>,
    /// 10, 50 and 90 % dates of the use after those.
    pub dates: Dates,
    /// By when renewal is needed for wear, with the scatter of the readings and of the use together.
    pub odds: Result<WearOdds, NoOdds>,
}

impl Evaluator<'_> {
    /// The wear of every reading that was taken of an item before the as-of date's end. `attributes` are its
    /// columns as written.
    pub fn wear(&self, id: ItemId, reads: &[Read], attributes: &[(&str, &str)]) -> Vec<Wear> {
        let item = self.fleet.item(id);
        let Some(meter) = self.wear_meter(item.kind) else { return Vec::new() };
        let cutoff = self.cutoff(item);
        let mut names: Vec<(RuleId, &str)> =
            reads.iter().map(|read| (read.rule, read.name.as_str())).collect();
        names.sort_unstable();
        names.dedup();
        let overhauls = self.overhauls(id);
        let mut found = Vec::new();
        for (rule, name) in names {
            let Some(record) = self.set.rule(rule).records.iter().find(|record| record.name == name) else {
                continue;
            };
            let own = reads.iter().filter(|read| read.rule == rule && read.name == name && read.at < cutoff);
            let mut own: Vec<&Read> = own.collect();
            own.sort_by_key(|read| read.at);
            let mut points: Vec<(Date, Point)> =
                own.iter().map(|read| (read.on, self.point(id, meter, read))).collect();
            let kind = &self.set.kinds.kind(item.kind).name;
            let last = own.last().map(|read| read.value);
            let limit = last.and_then(|last| limit(kind, self.set.service.regime, record, attributes, last));
            let renewed = limit.and_then(|limit| renewed::outlived(&own, &points, limit, &overhauls));
            let outlived = renewed.unwrap_or(0);
            points.drain(..outlived);
            found.push(Wear { outlived, ..self.worn(id, meter, (rule, record), points, limit) });
        }
        found
    }

    fn point(&self, id: ItemId, meter: MeterId, read: &Read) -> Point {
        let period = Period { after: None, before: read.at.next() };
        let used = usage::used(self.fleet, id, meter, period) - self.not_yet(id, meter, read.at);
        Point { used, reading: read.value }
    }

    /// Of the use before the records begin, what had not been made by a moment before them: it is taken as spread
    /// evenly from entry into service to the first record.
    fn not_yet(&self, id: ItemId, meter: MeterId, at: Instant) -> Amount {
        let item = self.fleet.item(id);
        let own = item.reach.iter().filter_map(|reach| self.fleet.log(reach.host, meter)?.span);
        let (Some(first), Some(entered)) = (own.map(|(first, _)| first).min(), item.entered_service_on)
        else {
            return Amount::ZERO;
        };
        let entered = self.fleet.zone_of(item).start_of(entered);
        let (whole, left) = (first.0 - entered.0, first.0 - at.0.max(entered.0));
        if whole <= 0 || left <= 0 {
            return Amount::ZERO;
        }
        let opening = i128::from(usage::opening(self.fleet, id, meter).millionths());
        let share = opening * i128::from(left) / i128::from(whole);
        Amount::from_millionths(i64::try_from(share).unwrap_or(0))
    }

    /// The meter of the rule that renews the kind, else of any rule with a use limit.
    fn wear_meter(&self, kind: KindId) -> Option<MeterId> {
        let own = || self.set.rules.iter().filter(|rule| rule.applies_to.kind == kind);
        let renewal = own().filter(|rule| rule.work == Work::Renewal).find_map(|rule| rule.usage.first());
        renewal.or_else(|| own().find_map(|rule| rule.usage.first())).map(|clause| clause.meter)
    }

    fn worn(
        &self,
        id: ItemId,
        meter: MeterId,
        (rule, record): (RuleId, &Reading),
        points: Vec<(Date, Point)>,
        limit: Option<Limit>,
    ) -> Wear {
        let cutoff = self.cutoff(self.fleet.item(id));
        let used = usage::used(self.fleet, id, meter, Period { after: None, before: cutoff });
        let bare: Vec<Point> = points.iter().map(|(_, point)| *point).collect();
        let trend = Trend::fit(&bare);
        let step = Amount::from_millionths(GAUGE_MILLIONTHS);
        let mut wear = Wear {
            rule,
            name: record.name.clone(),
            unit: record.unit.clone(),
            meter,
            outlived: 0,
            jump: limit.and_then(|limit| jump(&bare, limit, step)),
            points,
            used,
            limit,
            trend,
            safe_uses: None,
            dates: [None; 3],
            odds: Err(NoOdds::NoLimit),
        };
        self.foresee(&mut wear, id, cutoff);
        wear.odds = self.wear_odds(&wear, id, cutoff);
        wear
    }

    /// Uses left by the bound, from the use there is by now, and when they may have been made. A line through a jump
    /// foresees nothing.
    fn foresee(&self, wear: &mut Wear, id: ItemId, cutoff: Instant) {
        let (Ok(trend), Some(limit), Some((_, last))) = (wear.trend, wear.limit, wear.points.last()) else {
            return;
        };
        if wear.jump.is_some() {
            return;
        }
        let Some(left) = trend.uses_left(limit).and_then(|left| i64::try_from(left).ok()) else { return };
        let since = wear.used - last.used;
        let safe = Amount::whole(left) - since;
        wear.safe_uses = Some(if safe.is_negative() { Amount::ZERO } else { safe });
        if let Some(forecaster) = &self.forecaster
            && let Some(host) = forecaster.host(id, wear.meter, cutoff)
            && !safe.is_negative()
        {
            wear.dates =
                forecaster.dates(host, wear.meter, self.fleet.item(id).zone, safe + Amount::whole(1));
        }
    }
}

/// The limit that a reading moves towards: the rule's own bound, else where the discard criteria turn to discard.
fn limit(
    kind: &str,
    regime: Regime,
    record: &Reading,
    attributes: &[(&str, &str)],
    last: Amount,
) -> Option<Limit> {
    if let Some(most) = record.max {
        return Some(Limit::Most(most));
    }
    if let Some(least) = record.min {
        return Some(Limit::Least(least));
    }
    let measure = measure_of(kind, &record.name, record.criterion.as_deref())?;
    let judged = |value: Amount| {
        let text = value.to_string();
        assess_item(kind, regime, attributes, &[(measure, &text)]).ok()
    };
    // What cannot be, or can no longer be, lies beyond the limit.
    let discards = |value: Amount| judged(value).is_none_or(|found| found.verdict == Verdict::Discard);
    // To the thousandth, since the criteria take no finer readings than to the fourth decimal.
    let scaled = |thousandths: i64| {
        let whole = last.millionths() / 1000 * thousandths;
        Amount::from_millionths(whole / STEP_MILLIONTHS * STEP_MILLIONTHS)
    };
    let (less, more) = (judged(scaled(995))?, judged(scaled(1005))?);
    match less.combined.cmp(&more.combined) {
        Ordering::Greater => Some(Limit::Least(turn(scaled(500), last, &discards)?)),
        Ordering::Less => {
            let mut doubled = (1..=DOUBLINGS).map(|times| scaled(1000 << times));
            Some(Limit::Most(turn(doubled.find(|value| discards(*value))?, last, &discards)?))
        }
        Ordering::Equal => None,
    }
}

/// The last value, to the thousandth, that is not discarded between one that is and one that may be.
fn turn(beyond: Amount, within: Amount, discards: &impl Fn(Amount) -> bool) -> Option<Amount> {
    let steps = |value: Amount| value.millionths() / STEP_MILLIONTHS;
    let value = |steps: i64| Amount::from_millionths(steps * STEP_MILLIONTHS);
    let (mut beyond, mut within) = (steps(beyond), steps(within));
    // A reading beyond its limit already: the limit lies a little way back.
    let way = (within - beyond).signum() * (within / 100).max(1);
    let back = (0..=BACK).map(|hundredths| within + way * hundredths);
    within = back.into_iter().find(|steps| !discards(value(*steps)))?;
    while (beyond - within).abs() > 1 {
        let middle = i64::midpoint(beyond, within);
        if discards(value(middle)) { beyond = middle } else { within = middle }
    }
    Some(value(within))
}
