//! What comes with use: chances that are known use by use, foreseen day by day.

use std::sync::Arc;

use jiff::civil::Date;
use statrs::distribution::{Discrete, NegativeBinomial};

use super::{Ahead, Dates, Forecaster, LEVELS, Rate, Stretch, uses_within};
use crate::facts::{ItemId, ZoneId};
use crate::kinds::MeterId;

/// More uses ahead than these are taken for these.
const MOST: f64 = 65_536.0;
/// How many standard deviations above their mean uses ahead are still told apart.
const DEVIATIONS: f64 = 8.0;
/// Counts less likely than this are left out of a sum.
const RARE: f64 = 1e-16;

/// Uses of a host's meter from the as-of date on, as far as its log foretells them.
#[derive(Clone, Debug, PartialEq)]
pub struct UsesAhead {
    rate: Rate,
    ahead: Arc<Ahead>,
}

impl UsesAhead {
    /// At that rate from the end of `as_of` on; `months` as the host has them.
    pub fn new(rate: Rate, months: &[f64; 12], as_of: Date) -> UsesAhead {
        UsesAhead { rate, ahead: Arc::new(Ahead::new(months, as_of)) }
    }

    /// The chance, by the end of a day, of what has come with the chance `chances[k]` once `k` more uses are made,
    /// and no likelier after the last. On the as-of date none are made yet; none beyond twenty years.
    pub fn chance_by(&self, day: Date, chances: &[f64]) -> Option<f64> {
        let days = (day - self.ahead.as_of).get_days();
        let Some(index) = days.checked_sub(1).and_then(|index| usize::try_from(index).ok()) else {
            return chances.first().copied();
        };
        Some(chance_within(&self.rate, *self.ahead.stretches.get(index)?, chances))
    }

    /// The first days after the as-of date by which that chance is 10, 50 and 90 %; `chances` must not fall.
    pub fn dates(&self, chances: &[f64]) -> Dates {
        let days = &self.ahead.stretches;
        let mut index = 0;
        LEVELS.map(|level| {
            let short = |ahead: &Stretch| chance_within(&self.rate, *ahead, chances) < level;
            index += days[index..].partition_point(short);
            if index < days.len() { self.ahead.date(index) } else { None }
        })
    }

    /// Uses that are hardly exceeded in twenty years.
    pub fn most(&self) -> u64 {
        let far = self.ahead.stretches.last().and_then(|ahead| uses_within(&self.rate, *ahead));
        let most = far.map_or(0.0, |uses| {
            let mean = uses.r() * (1.0 - uses.p()) / uses.p();
            mean + DEVIATIONS * (mean / uses.p()).sqrt()
        });
        whole(most.min(MOST))
    }
}

impl Forecaster<'_> {
    /// The uses ahead of a host's meter, after the day in a zone.
    pub fn uses_ahead(&self, host: ItemId, meter: MeterId, zone: ZoneId) -> UsesAhead {
        let rate = self.rate(host, meter, zone);
        UsesAhead { rate, ahead: self.ahead(meter, zone, rate.southern) }
    }
}

/// What is expected of `chances` over the uses of a stretch.
fn chance_within(rate: &Rate, ahead: Stretch, chances: &[f64]) -> f64 {
    match (uses_within(rate, ahead), chances) {
        (_, []) => 0.0,
        (None, [now, ..]) => *now,
        (Some(uses), _) => expected(&uses, chances),
    }
}

/// The sum over all counts, from the likeliest one up and down, each made of its neighbour.
#[expect(clippy::cast_precision_loss, reason = "counts are below 65,536")]
fn expected(uses: &NegativeBinomial, chances: &[f64]) -> f64 {
    let (r, fails) = (uses.r(), 1.0 - uses.p());
    let end = chances.len() - 1;
    let likeliest = whole(((r - 1.0) * fails / uses.p()).clamp(0.0, end as f64));
    let start = usize::try_from(likeliest).unwrap_or(end);
    let top = uses.pmf(likeliest);
    let (mut mass, mut sum) = (top, top * chances[start]);
    let mut add = |part: f64, at: usize| {
        mass += part;
        sum += part * chances[at];
        part >= RARE
    };
    let mut part = top;
    for at in start + 1..=end {
        part *= fails * (r + at as f64 - 1.0) / at as f64;
        if !add(part, at) {
            break;
        }
    }
    part = top;
    for at in (0..start).rev() {
        part *= (at as f64 + 1.0) / (fails * (r + at as f64));
        if !add(part, at) {
            break;
        }
    }
    sum + (1.0 - mass).max(0.0) * chances[end]
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count in range")]
fn whole(count: f64) -> u64 {
    count.max(0.0) as u64
}

#[cfg(test)]
mod tests;
