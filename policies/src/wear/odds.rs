//! Wear in the odds: by when a reading lies beyond its limit, and renewal is needed for it.
//!
//! How far the readings scatter gives, use by use, the chance that one more reading is beyond the limit (Student's t
//! with n - 2 degrees of freedom). How busy the host is gives the chance of so many uses by a day (negative binomial).
//! The chance by a day is the one averaged over the other, use by use; what is beyond once stays beyond.

use jiff::civil::Date;

use super::{GAUGE_MILLIONTHS, Wear};
use crate::amount::Amount;
use crate::due::{Because, DueRow, Evaluator};
use crate::facts::ItemId;
use crate::forecast::{Dates, LEVELS, UsesAhead};
use crate::rule::{RuleId, Work};
use crate::trend::{Limit, NoTrend, Trend};
use crate::zone::Instant;

const STEP: Amount = Amount::from_millionths(GAUGE_MILLIONTHS);
/// So likely, it is as good as certain.
const CERTAIN: f64 = 1.0 - 1e-9;
/// A line that is less sure to move towards the limit has no dates (house): the 90 % date would never come.
const SURE: f64 = 0.90;
/// Up to twice so many uses ahead each is reckoned, then one in ever more, with straight lines between.
const GRAIN: u64 = 256;

/// Why a reading says nothing of when renewal is needed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoOdds {
    /// No rule and no criterion bounds it.
    #[error("nothing bounds it")]
    NoLimit,
    /// A jump towards the limit.
    #[error("sudden loss, look for its cause first")]
    SuddenLoss,
    /// A jump away from the limit.
    #[error("the latest reading is in doubt, measure again first")]
    InDoubt,
    /// Renewal is needed now.
    #[error("the latest reading is beyond the limit already")]
    Beyond,
    /// No line.
    #[error(transparent)]
    NoTrend(#[from] NoTrend),
    /// It may scatter, but it does not wear.
    #[error("the readings do not move towards the limit")]
    NotTowards,
    /// It may wear, but nobody can tell by these readings.
    #[error("the readings scatter more than they wear, so no line through them is sure")]
    Unsure,
    /// Nothing tells how fast it will be used.
    #[error("it is fitted to nothing that counts its use")]
    NotFitted,
}

/// By when renewal is needed for wear.
#[derive(Clone, Debug, PartialEq)]
pub struct WearOdds {
    /// 10, 50 and 90 % dates; never later than those of a renewal that is fixed.
    pub dates: Dates,
    /// The same by wear alone; none beyond twenty years.
    pub by_wear: Dates,
    /// The renewal that comes before the wear, at the first of the dates that it brings forward.
    pub fixed: Option<RuleId>,
    /// The item's use by which one more reading is beyond the limit with 10, 50 and 90 %; none where twenty years
    /// hardly bring that use.
    pub uses: [Option<Amount>; 3],
    /// That chance now, after one more use, after two.
    chances: Vec<f64>,
    ahead: UsesAhead,
}

impl WearOdds {
    /// Whether wear asks for renewal before every renewal that is fixed does, at one of the three chances at least.
    pub fn comes_first(&self) -> bool {
        self.by_wear.iter().zip(&self.dates).any(|(wear, date)| wear.is_some() && wear == date)
    }

    /// Chance that the reading lies beyond its limit by the end of a day, whatever is fixed besides; none beyond
    /// twenty years.
    pub fn chance_by(&self, day: Date) -> Option<f64> {
        self.ahead.chance_by(day, &self.chances)
    }
}

impl Wear {
    /// Whether the latest reading is beyond its limit.
    pub fn is_beyond(&self) -> bool {
        let latest = self.points.last().map(|(_, point)| point.reading);
        self.limit.zip(latest).is_some_and(|(limit, latest)| limit.is_passed_by(latest))
    }

    /// Chance that the reading lies beyond its limit by the end of a day; none where nothing is foreseen.
    pub fn chance_by(&self, day: Date) -> Option<f64> {
        if self.is_beyond() {
            return Some(1.0);
        }
        self.odds.as_ref().ok()?.chance_by(day)
    }
}

/// Chance that one item needs renewal for wear by the end of a day: that of its likeliest reading, since readings of
/// one item wear together. None where nothing is foreseen of any.
pub fn chance_by(readings: &[Wear], day: Date) -> Option<f64> {
    readings.iter().filter_map(|wear| wear.chance_by(day)).reduce(f64::max)
}

impl Evaluator<'_> {
    pub(super) fn wear_odds(&self, wear: &Wear, id: ItemId, cutoff: Instant) -> Result<WearOdds, NoOdds> {
        let limit = wear.limit.ok_or(NoOdds::NoLimit)?;
        if let Some(jump) = wear.jump {
            return Err(if jump.towards_limit { NoOdds::SuddenLoss } else { NoOdds::InDoubt });
        }
        if wear.is_beyond() {
            return Err(NoOdds::Beyond);
        }
        let trend = wear.trend?;
        trend.crossing(limit).ok_or(NoOdds::NotTowards)?;
        if trend.sureness(limit, STEP) < SURE {
            return Err(NoOdds::Unsure);
        }
        let forecaster = self.forecaster.as_ref().ok_or(NoOdds::NotFitted)?;
        let host = forecaster.host(id, wear.meter, cutoff).ok_or(NoOdds::NotFitted)?;
        let ahead = forecaster.uses_ahead(host, wear.meter, self.fleet.item(id).zone);
        let chances = chances(&trend, limit, wear.used, ahead.most());
        let by_wear = ahead.dates(&chances);
        let (dates, fixed) = self.no_later(id, by_wear);
        let uses = LEVELS.map(|level| use_at(&chances, wear.used, level));
        Ok(WearOdds { dates, by_wear, fixed, uses, chances, ahead })
    }

    /// Dates brought forward to those of the renewals that are fixed by calendar, use or events.
    fn no_later(&self, id: ItemId, mut dates: Dates) -> (Dates, Option<RuleId>) {
        let mut first = [None; 3];
        for (rule, limits) in self.renewals(id) {
            for ((date, limit), by) in dates.iter_mut().zip(limits).zip(&mut first) {
                if limit.is_some_and(|limit| date.is_none_or(|date| limit < date)) {
                    (*date, *by) = (limit, Some(rule));
                }
            }
        }
        (dates, first.into_iter().flatten().next())
    }

    /// The rules that renew an item, and the dates by which each does.
    fn renewals(&self, id: ItemId) -> impl Iterator<Item = (RuleId, Dates)> {
        let item = self.fleet.item(id);
        let station = self.fleet.station_of(item).map(|station| &*station.slug);
        let rules = (0u16..).zip(&self.set.rules);
        let own = rules.filter(move |(index, rule)| {
            rule.work == Work::Renewal
                && rule.has_due_row()
                && self.applies(item, id, RuleId(*index), station)
        });
        own.map(move |(index, _)| {
            let row = self.as_it_stands(&self.row(id, RuleId(index)));
            (RuleId(index), limits(&row, self.day(item)))
        })
    }
}

/// The dates of a row at 10, 50 and 90 %; today where it has no base and is overdue for that.
fn limits(row: &DueRow, today: Date) -> Dates {
    if row.because == Some(Because::NoBase) {
        return [Some(today); 3];
    }
    row.forecast.map(|forecast| {
        [row.calendar_due, row.usage_due.or(forecast), row.after_due].into_iter().flatten().min()
    })
}

/// Chance that one more reading is beyond the limit, now and after each further use, up to `most` or certainty.
fn chances(trend: &Trend, limit: Limit, used: Amount, most: u64) -> Vec<f64> {
    let at = |more: u64| trend.chance_beyond(used.to_f64() + count(more), limit, STEP);
    let mut last = at(0);
    let mut chances = vec![last];
    let mut reckoned = 0;
    while reckoned < most && last < CERTAIN {
        let next = (reckoned + (reckoned / GRAIN).max(1)).min(most);
        // Far beyond its readings a line says less and less: what has worn stays worn.
        let chance = at(next).max(last);
        let rise = (chance - last) / count(next - reckoned);
        chances.extend((reckoned + 1..next).map(|more| last + rise * count(more - reckoned)));
        chances.push(chance);
        (reckoned, last) = (next, chance);
    }
    chances
}

fn use_at(chances: &[f64], used: Amount, level: f64) -> Option<Amount> {
    let more = chances.partition_point(|chance| *chance < level);
    let more = i64::try_from(more).ok().filter(|_| more < chances.len())?;
    Some(used + Amount::whole(more))
}

#[expect(clippy::cast_precision_loss, reason = "counts are below 65,536")]
fn count(uses: u64) -> f64 {
    uses as f64
}

#[cfg(test)]
mod tests;
