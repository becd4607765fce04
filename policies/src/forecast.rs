//! By when a use limit will be crossed: gamma-Poisson odds with a season.
//!
//! Uses ahead of a host come at a rate that is known only as far as its log goes: with a prior of `a0`
//! uses in `b0` mean months and `n` uses in `e` mean months of log, the rate is Gamma(a0 + n, b0 + e), and
//! uses in `f` mean months ahead are negative binomial with r = a and p = b / (b + f).

use std::cell::RefCell;
use std::collections::HashMap;

use jiff::civil::Date;
use statrs::distribution::{DiscreteCDF, NegativeBinomial};

use crate::amount::Amount;
use crate::facts::{Fleet, ItemId, Log};
use crate::kinds::MeterId;
use crate::load::PolicySet;
use crate::service::Odds;
use crate::zone::Instant;

/// Beyond this many days a date is left empty: twenty years.
const HORIZON_DAYS: usize = 7_305;
/// The three chances that are dated.
pub const LEVELS: [f64; 3] = [0.10, 0.50, 0.90];

/// What is known of a host's rate of use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rate {
    /// Uses in the log.
    pub uses: f64,
    /// Exposure of the log in mean months.
    pub months: f64,
    /// Posterior shape: prior uses + uses.
    pub a: f64,
    /// Posterior exposure: prior months + months.
    pub b: f64,
    /// The season runs six months apart.
    pub southern: bool,
}

impl Rate {
    /// Uses a mean month.
    pub fn per_month(&self) -> f64 {
        self.a / self.b
    }

    /// How much of the answer is the prior's, from 0 to 1.
    pub fn borrowed(&self) -> f64 {
        1.0 - self.months / self.b
    }
}

/// Chance that at least `remaining` uses fall within `ahead` mean months.
pub fn chance(rate: &Rate, remaining: u64, ahead: f64) -> f64 {
    if remaining == 0 {
        return 1.0;
    }
    if ahead <= 0.0 {
        return 0.0;
    }
    match NegativeBinomial::new(rate.a, rate.b / (rate.b + ahead)) {
        Ok(uses) => uses.sf(remaining - 1),
        Err(_) => 0.0,
    }
}

/// Exposure of the days `from..=to` in mean months: each day weighs its month's factor over the days of
/// that month.
pub fn exposure(months: &[f64; 12], from: Date, to: Date) -> f64 {
    let mut total = 0.0;
    let mut day = from;
    while day <= to {
        let end = day.last_of_month().min(to);
        let days = f64::from(end.day() - day.day() + 1);
        total += factor(months, day) * days / f64::from(day.days_in_month());
        match end.tomorrow() {
            Ok(next) => day = next,
            Err(_) => break,
        }
    }
    total
}

fn factor(months: &[f64; 12], day: Date) -> f64 {
    months[usize::from(day.month().unsigned_abs()) - 1]
}

/// Months as a southern station sees them.
fn shifted(months: &[f64; 12]) -> [f64; 12] {
    std::array::from_fn(|month| months[(month + 6) % 12])
}

/// Exposure from the day after the as-of date on, day by day, for both hemispheres.
struct Ahead {
    as_of: Date,
    totals: [Vec<f64>; 2],
}

impl Ahead {
    fn new(odds: &Odds, as_of: Date) -> Ahead {
        let totals = [odds.months, shifted(&odds.months)].map(|months| totals_ahead(&months, as_of));
        Ahead { as_of, totals }
    }

    /// The first day by which the chance is at least `level`, not before index `start`. The chance rises from day
    /// to day, so a guess by the normal curve and steps that double from it find the day in few evaluations.
    fn crossing(&self, rate: &Rate, remaining: u64, level: f64, start: usize) -> Option<usize> {
        let totals = &self.totals[usize::from(rate.southern)];
        let short = |index: usize| chance(rate, remaining, totals[index]) < level;
        let guess = totals.partition_point(|ahead| *ahead < guess_ahead(rate, remaining, level));
        let (mut low, mut high) = (start, totals.len());
        if low >= high {
            return None;
        }
        let mut at = guess.clamp(low, high - 1);
        let mut step = 1;
        while low < high {
            if short(at) {
                low = at + 1;
                at = (at + step).min(high.saturating_sub(1));
            } else {
                high = at;
                at = at.saturating_sub(step).max(low);
            }
            step *= 2;
            if high.saturating_sub(low) <= step {
                break;
            }
        }
        while low < high {
            let middle = low + (high - low) / 2;
            if short(middle) {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        (low < totals.len()).then_some(low)
    }

    fn date(&self, index: usize) -> Option<Date> {
        let days = i64::try_from(index + 1).ok()?;
        self.as_of.checked_add(jiff::Span::new().try_days(days).ok()?).ok()
    }
}

/// Exposure by the end of each day ahead, month by month.
fn totals_ahead(months: &[f64; 12], as_of: Date) -> Vec<f64> {
    let mut totals = Vec::with_capacity(HORIZON_DAYS);
    let mut total = 0.0;
    let mut day = as_of.tomorrow().unwrap_or(as_of);
    while totals.len() < HORIZON_DAYS {
        let a_day = factor(months, day) / f64::from(day.days_in_month());
        for _ in day.day()..=day.days_in_month() {
            total += a_day;
            totals.push(total);
        }
        match day.last_of_month().tomorrow() {
            Ok(next) => day = next,
            Err(_) => break,
        }
    }
    totals.truncate(HORIZON_DAYS);
    totals
}

/// Mean months ahead by which `remaining` uses are made with about the chance `level`, by the normal curve. Only
/// where to look first.
fn guess_ahead(rate: &Rate, remaining: u64, level: f64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a first guess")]
    let wanted = remaining as f64;
    let below = if level < 0.3 {
        1.28
    } else if level > 0.7 {
        -1.28
    } else {
        0.0
    };
    let spread = (wanted * (1.0 + wanted / rate.a)).sqrt();
    (wanted - below * spread).max(0.0) / rate.per_month()
}

/// The 10, 50 and 90 % dates; empty beyond twenty years.
pub type Dates = [Option<Date>; 3];

/// Forecasts of one fleet on one day; rates and dates are worked out once each.
pub struct Forecaster<'f> {
    fleet: &'f Fleet,
    set: &'f PolicySet,
    ahead: Ahead,
    rates: RefCell<HashMap<(ItemId, MeterId), Rate>>,
    dates: RefCell<HashMap<(ItemId, MeterId, u64), Dates>>,
}

impl<'f> Forecaster<'f> {
    /// For forecasts made at the end of `as_of`.
    pub fn new(set: &'f PolicySet, fleet: &'f Fleet, as_of: Date) -> Forecaster<'f> {
        let ahead = Ahead::new(&set.service.odds, as_of);
        Forecaster { fleet, set, ahead, rates: RefCell::default(), dates: RefCell::default() }
    }

    /// The host whose log an item's use of a meter is foreseen from: the nearest of the item and the hosts it
    /// is fitted to now whose kind carries that meter. None for an item fitted nowhere.
    pub fn host(&self, item: ItemId, meter: MeterId, cutoff: Instant) -> Option<ItemId> {
        let carries = |id: &ItemId| self.set.kinds.kind(self.fleet.item(*id).kind).meter(meter).is_some();
        self.fleet.chain(item, cutoff).into_iter().find(carries)
    }

    /// A host's rate, from its whole log before `cutoff`.
    pub fn rate(&self, host: ItemId, meter: MeterId, cutoff: Instant) -> Rate {
        *self
            .rates
            .borrow_mut()
            .entry((host, meter))
            .or_insert_with(|| self.work_out_rate(host, meter, cutoff))
    }

    fn work_out_rate(&self, host: ItemId, meter: MeterId, cutoff: Instant) -> Rate {
        let item = self.fleet.item(host);
        let odds = &self.set.service.odds;
        let southern = self.fleet.station_of(item).is_some_and(|station| station.southern);
        let seasons = if southern { shifted(&odds.months) } else { odds.months };
        let uses = self.fleet.log(host, meter).map_or(Amount::ZERO, |log| log.sum_before(cutoff)).to_f64();
        let months = self.log_start(host).filter(|start| *start < cutoff).map_or(0.0, |start| {
            exposure(&seasons, self.fleet.zone_of(item).date_of(start), self.ahead.as_of)
        });
        Rate { uses, months, a: odds.prior_uses + uses, b: odds.prior_months + months, southern }
    }

    /// A host's log begins with its first entry on any meter.
    fn log_start(&self, host: ItemId) -> Option<Instant> {
        let logs =
            self.fleet.item(host).logs.iter().filter_map(|(_, index)| self.fleet.logs.get(*index as usize));
        logs.filter_map(|log: &Log| log.span).map(|(first, _)| first).min()
    }

    /// The three dates by which `remaining` more uses will have been made of a host's meter.
    pub fn dates(&self, host: ItemId, meter: MeterId, cutoff: Instant, remaining: Amount) -> Dates {
        let remaining = remaining.ceil_u64();
        if let Some(known) = self.dates.borrow().get(&(host, meter, remaining)) {
            return *known;
        }
        let dates = self.work_out(&self.rate(host, meter, cutoff), remaining);
        self.dates.borrow_mut().insert((host, meter, remaining), dates);
        dates
    }

    fn work_out(&self, rate: &Rate, remaining: u64) -> Dates {
        let mut start = 0;
        LEVELS.map(|level| {
            let found = self.ahead.crossing(rate, remaining, level, start);
            start = found.unwrap_or(HORIZON_DAYS);
            found.and_then(|index| self.ahead.date(index))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn rate(uses: f64, months: f64, southern: bool) -> Rate {
        Rate { uses, months, a: 8.0 + uses, b: 1.0 + months, southern }
    }

    /// domain brief 4.7: QUA 36.32 mean months, QNR (southern) 36.34.
    #[test]
    fn exposure_of_the_demo_history() {
        let months = Odds::default().months;
        let (from, to) = (date(2023, 10, 1), date(2026, 10, 11));
        assert!((exposure(&months, from, to) - 36.32).abs() < 0.005);
        assert!((exposure(&shifted(&months), from, to) - 36.34).abs() < 0.005);
        assert!((rate(358.0, 36.32, false).per_month() - 9.81).abs() < 0.005);
        assert!((rate(58.0, 36.34, true).per_month() - 1.77).abs() < 0.005);
        assert!(rate(2.0, 3.0, true).borrowed() > 0.24);
    }

    fn dates(rate: &Rate, remaining: u64) -> Vec<String> {
        let ahead = Ahead::new(&Odds::default(), date(2026, 10, 11));
        let index = |level| ahead.crossing(rate, remaining, level, 0).and_then(|i| ahead.date(i));
        LEVELS.iter().map(|level| index(*level).unwrap().to_string()).collect()
    }

    /// domain brief 4.8 A and B.
    #[test]
    fn worked_dates_of_the_brief() {
        let months = Odds::default().months;
        let (from, to) = (date(2023, 10, 1), date(2026, 10, 11));
        let qua = rate(358.0, exposure(&months, from, to), false);
        assert_eq!(dates(&qua, 8), ["2026-10-28", "2026-11-09", "2026-11-26"]);
        let qnr = rate(58.0, exposure(&shifted(&months), from, to), true);
        assert_eq!(dates(&qnr, 31), ["2027-11-13", "2028-02-18", "2028-09-05"]);
    }

    /// domain brief 4.8 A: 0.3, 12, 22, 35 and 53 %.
    #[test]
    fn worked_chances_of_the_brief() {
        let ahead = Ahead::new(&Odds::default(), date(2026, 10, 11));
        let qua = rate(358.0, 36.32, false);
        for (days, percent) in [(8, 0.3), (17, 12.0), (20, 22.0), (24, 35.0), (29, 53.0)] {
            let got = 100.0 * chance(&qua, 8, ahead.totals[0][days - 1]);
            assert!((got - percent).abs() < 0.6, "{days} days: {got}");
        }
    }

    /// The quick search finds the day that looking at every day finds.
    #[test]
    fn the_quick_search_is_exact() {
        let ahead = Ahead::new(&Odds::default(), date(2026, 2, 27));
        for (uses, months) in [(0.0, 0.0), (3.0, 2.0), (58.0, 36.3), (358.0, 36.3), (4000.0, 120.0)] {
            for remaining in [1, 2, 7, 31, 125, 400] {
                for level in LEVELS {
                    let rate = rate(uses, months, uses > 100.0);
                    let totals = &ahead.totals[usize::from(rate.southern)];
                    let plain = totals.iter().position(|ahead| chance(&rate, remaining, *ahead) >= level);
                    assert_eq!(
                        ahead.crossing(&rate, remaining, level, 0),
                        plain,
                        "{uses} {remaining} {level}"
                    );
                }
            }
        }
    }

    #[test]
    fn nothing_left_is_certain_and_far_dates_are_empty() {
        let slow = rate(0.0, 400.0, false);
        let ahead = Ahead::new(&Odds::default(), date(2026, 1, 1));
        assert_eq!(ahead.crossing(&slow, 500, 0.1, 0), None);
        assert_eq!(ahead.crossing(&slow, 500, 0.5, HORIZON_DAYS), None);
        assert!((chance(&slow, 0, 1.0) - 1.0).abs() < f64::EPSILON);
        assert!(chance(&slow, 5, 0.0).abs() < f64::EPSILON);
    }
}
