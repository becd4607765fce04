//! Random discards: gear found unfit before its limits, at a rate that the fleet teaches, kind by kind.
//!
//! The rate is a gamma: a prior of so many discards in so many years of gear in service (a house figure, set by the
//! service), and the fleet's own on top. Discards ahead are then negative binomial with that gamma's shape, in one
//! count over all the gear that the rate is used for.

use jiff::civil::Date;

use super::counts::Counts;
use super::settings::DiscardPrior;
use crate::due::Evaluator;
use crate::facts::{Item, Outcome, State};
use crate::kinds::KindId;
use crate::zone::Instant;

/// A finding so long before a withdrawal is its reason (house).
const REASON_DAYS: i64 = 90;
const DAY: i64 = 24 * 60 * 60 * 1_000_000;
/// Days in a year of gear in service.
pub const YEAR_DAYS: f64 = 365.25;

/// What is known of one kind's random discards.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiscardRate {
    /// What was held before.
    pub prior: DiscardPrior,
    /// Found unfit in the records; nought where the fleet teaches nothing.
    pub found: u32,
    /// Years of gear in service in the records.
    pub years: f64,
}

impl DiscardRate {
    /// Shape of the gamma.
    pub fn shape(&self) -> f64 {
        self.prior.discards + f64::from(self.found)
    }

    /// Discards a year that one piece hangs in service.
    pub fn a_year(&self) -> f64 {
        self.shape() / (self.prior.years + self.years)
    }

    /// Discards ahead over so many years of gear in service.
    pub fn ahead(&self, years: f64) -> Counts {
        Counts::negative_binomial(self.a_year() * years, self.shape())
    }
}

/// The rates of every kind, as the fleet teaches them by the evaluator's day. `quantity` has the pieces that each item
/// stands for, by its own index: a batch is as many as it has.
pub fn learn(evaluator: &Evaluator, prior: DiscardPrior, quantity: &[u32]) -> Vec<DiscardRate> {
    let kinds = evaluator.set.kinds.kinds.len();
    let mut rates = vec![DiscardRate { prior, found: 0, years: 0.0 }; kinds];
    let starts = evaluator.fleet.logs.iter().filter_map(|log| log.span).map(|(first, _)| first);
    let Some(start) = starts.min().filter(|_| prior.learn) else { return rates };
    for (at, item) in evaluator.fleet.items.iter().enumerate() {
        let rate = &mut rates[usize::from(item.kind.0)];
        let pieces = quantity.get(at).copied().unwrap_or(1);
        rate.years += f64::from(pieces) * years_fitted(item, start, evaluator.cutoff(item));
        let unfit = found_unfit(item, start, evaluator.cutoff(item)) || condemned(evaluator, item, start);
        rate.found += if unfit { pieces } else { 0 };
    }
    rates
}

/// Withdrawn since the records began, on a finding.
fn found_unfit(item: &Item, start: Instant, cutoff: Instant) -> bool {
    withdrawn(item, start, cutoff).is_some_and(|at| {
        let reason = |done: &Instant| done.0 <= at.0 && at.0 - done.0 <= REASON_DAYS * DAY;
        item.works.iter().any(|done| done.outcome == Outcome::Failed && reason(&done.at))
    })
}

fn condemned(evaluator: &Evaluator, item: &Item, start: Instant) -> bool {
    let Some(at) = withdrawn(item, start, evaluator.cutoff(item)) else { return false };
    let Some(id) = evaluator.fleet.find(&item.tag) else { return false };
    evaluator.fleet.condemned(id).iter().any(|found| found.at <= at && at.0 - found.at.0 <= REASON_DAYS * DAY)
}

fn withdrawn(item: &Item, start: Instant, cutoff: Instant) -> Option<Instant> {
    let gone = item.states.iter().filter(|change| change.state == State::Withdrawn).map(|change| change.at);
    gone.filter(|at| *at >= start && *at < cutoff).min()
}

#[expect(clippy::cast_precision_loss, reason = "years for odds")]
fn years_fitted(item: &Item, start: Instant, cutoff: Instant) -> f64 {
    let stays = item.fittings.iter().map(|fit| fit.to.min(cutoff).0 - fit.from.max(start).0);
    stays.filter(|stay| *stay > 0).map(|stay| stay as f64 / DAY as f64 / YEAR_DAYS).sum()
}

/// Years between two days, none if they are the wrong way round.
pub fn years(from: Date, to: Date) -> f64 {
    f64::from((to - from).get_days().max(0)) / YEAR_DAYS
}

/// The rate of a kind.
pub fn of(rates: &[DiscardRate], kind: KindId) -> DiscardRate {
    rates[usize::from(kind.0)]
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUSE: DiscardPrior = DiscardPrior { discards: 4.0, years: 56.0, learn: true };

    #[test]
    fn the_fleet_s_own_discards_move_the_rate_and_make_it_surer() {
        let before = DiscardRate { prior: HOUSE, found: 0, years: 0.0 };
        assert!((before.a_year() - 1.0 / 14.0).abs() < 1e-12);
        let after = DiscardRate { prior: HOUSE, found: 12, years: 56.0 };
        assert!((after.a_year() - 1.0 / 7.0).abs() < 1e-12);
        let spread = |rate: &DiscardRate| rate.ahead(100.0).variance() / rate.ahead(100.0).mean();
        assert!(spread(&before) > spread(&after));
    }
}
