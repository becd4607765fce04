//! By when a use limit will be crossed: gamma-Poisson odds with a season.
//!
//! Uses ahead of a host come at a rate that is known only as far as its log goes: with a prior of `a0`
//! uses in `b0` mean months and `n` uses in `e` mean months of log, the rate is Gamma(a, b) with
//! a = (a0 + n) / phi and b = (b0 + e) / phi, where phi = 1 + v × sum(mu²) / sum(mu) is by how much the months
//! of its log, of means mu, stray beyond chance: the wilder a log, the less sure its rate.
//! Uses in f mean months ahead are negative binomial with mean (a / b) f and
//! r = 1 / (1 / a + v × sum(S²) / f²), S being the exposures of the months ahead. Without a spread v that is
//! r = a and p = b / (b + f).

mod uses;

use std::cell::{OnceCell, RefCell};
use std::collections::HashMap;
use std::sync::Arc;

use jiff::civil::Date;
use statrs::distribution::{DiscreteCDF, NegativeBinomial};

use crate::amount::Amount;
use crate::as_of::AsOf;
use crate::facts::{Fleet, ItemId, ZoneId};
use crate::kinds::MeterId;
use crate::load::PolicySet;
use crate::odds::{Learnt, Prior, log_start};
use crate::zone::Instant;

pub use uses::UsesAhead;

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
    /// What was held before the log was read.
    pub prior: Prior,
    /// Variance of a month's own factor; nought where months stray no more than chance makes them.
    pub spread: f64,
    /// By what the spread divides the weight of all that is known of the rate; 1 without one.
    pub widening: f64,
    /// Posterior shape: (prior uses + uses) / widening.
    pub a: f64,
    /// Posterior exposure: (prior months + months) / widening.
    pub b: f64,
    /// The season runs six months apart.
    pub southern: bool,
}

impl Rate {
    /// From a log of `uses` in `log`, under a prior and a spread.
    pub fn new(prior: Prior, spread: f64, uses: f64, log: Stretch, southern: bool) -> Rate {
        let believed = (prior.uses + uses) / (prior.months + log.months);
        let lumps = if log.months > 0.0 { log.squares / log.months } else { 0.0 };
        let widening = 1.0 + spread * believed * lumps;
        let (a, b) = ((prior.uses + uses) / widening, (prior.months + log.months) / widening);
        Rate { uses, months: log.months, prior, spread, widening, a, b, southern }
    }

    /// Uses a mean month.
    pub fn per_month(&self) -> f64 {
        self.a / self.b
    }

    /// How much of the answer is the prior's, from 0 to 1.
    pub fn borrowed(&self) -> f64 {
        self.prior.months / (self.prior.months + self.months)
    }
}

/// A stretch of days by the exposure of its calendar months.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Stretch {
    /// Exposure in mean months.
    pub months: f64,
    /// Sum of the squared exposures of its months: a stray month moves all of its own uses together.
    pub squares: f64,
}

impl Stretch {
    /// With one more month of which so much is exposed.
    fn and_month(self, own: f64) -> Stretch {
        Stretch { months: self.months + own, squares: self.squares + own * own }
    }
}

/// Chance that at least `remaining` uses fall within `ahead` mean months in which stray months even out.
pub fn chance(rate: &Rate, remaining: u64, ahead: f64) -> f64 {
    chance_within(rate, remaining, Stretch { months: ahead, squares: 0.0 })
}

/// Chance that at least `remaining` uses fall within a stretch.
pub fn chance_within(rate: &Rate, remaining: u64, ahead: Stretch) -> f64 {
    if remaining == 0 {
        return 1.0;
    }
    if ahead.months <= 0.0 {
        return 0.0;
    }
    uses_within(rate, ahead).map_or(0.0, |uses| uses.sf(remaining - 1))
}

/// Uses within a stretch that is not empty.
fn uses_within(rate: &Rate, ahead: Stretch) -> Option<NegativeBinomial> {
    let stray = rate.spread * ahead.squares / (ahead.months * ahead.months);
    let shape = if stray > 0.0 { 1.0 / (1.0 / rate.a + stray) } else { rate.a };
    NegativeBinomial::new(shape, shape / (shape + rate.per_month() * ahead.months)).ok()
}

/// Exposure of the days `from..=to`: each day weighs its month's factor over the days of that month.
pub fn stretch(months: &[f64; 12], from: Date, to: Date) -> Stretch {
    let mut total = Stretch::default();
    let mut day = from;
    while day <= to {
        let end = day.last_of_month().min(to);
        let days = f64::from(end.day() - day.day() + 1);
        total = total.and_month(factor(months, day) * days / f64::from(day.days_in_month()));
        match end.tomorrow() {
            Ok(next) => day = next,
            Err(_) => break,
        }
    }
    total
}

/// Exposure of the days `from..=to` in mean months.
pub fn exposure(months: &[f64; 12], from: Date, to: Date) -> f64 {
    stretch(months, from, to).months
}

fn factor(months: &[f64; 12], day: Date) -> f64 {
    months[usize::from(day.month().unsigned_abs()) - 1]
}

/// Months as a southern station sees them.
fn shifted(months: &[f64; 12]) -> [f64; 12] {
    std::array::from_fn(|month| months[(month + 6) % 12])
}

/// Stretches from the day after the as-of date on, day by day.
#[derive(Debug, PartialEq)]
struct Ahead {
    as_of: Date,
    stretches: Vec<Stretch>,
}

impl Ahead {
    fn new(months: &[f64; 12], as_of: Date) -> Ahead {
        Ahead { as_of, stretches: stretches_ahead(months, as_of) }
    }

    /// The first day by which the chance is at least `level`, not before index `start`. The chance rises from day
    /// to day, so a guess by the normal curve and steps that double from it find the day in few evaluations.
    fn crossing(&self, rate: &Rate, remaining: u64, level: f64, start: usize) -> Option<usize> {
        let days = &self.stretches;
        let short = |index: usize| chance_within(rate, remaining, days[index]) < level;
        let start = start.min(days.len());
        let most = guess_ahead(rate, remaining, level);
        let guess = days.partition_point(|ahead| ahead.months < most).clamp(start, days.len());
        let (low, high) = bracket(start, days.len(), guess, short);
        let found =
            low + days[low..high].partition_point(|ahead| chance_within(rate, remaining, *ahead) < level);
        (found < days.len()).then_some(found)
    }

    fn dates(&self, rate: &Rate, remaining: u64) -> Dates {
        let mut start = 0;
        LEVELS.map(|level| {
            let found = self.crossing(rate, remaining, level, start);
            start = found.unwrap_or(HORIZON_DAYS);
            found.and_then(|index| self.date(index))
        })
    }

    fn date(&self, index: usize) -> Option<Date> {
        let days = i64::try_from(index + 1).ok()?;
        self.as_of.checked_add(jiff::Span::new().try_days(days).ok()?).ok()
    }
}

/// Between which indices the first that is not short lies, by steps that double from a guess.
fn bracket(start: usize, end: usize, guess: usize, short: impl Fn(usize) -> bool) -> (usize, usize) {
    let (mut low, mut high) = (start, end);
    let mut step = 1;
    let mut at = guess.min(end.saturating_sub(1));
    while low < high {
        if short(at) {
            low = at + 1;
            if at + step >= high {
                break;
            }
            at += step;
        } else {
            high = at;
            if at < low + step {
                break;
            }
            at -= step;
        }
        step *= 2;
    }
    (low, high)
}

/// Stretches up to the end of each day ahead, month by month.
fn stretches_ahead(months: &[f64; 12], as_of: Date) -> Vec<Stretch> {
    let mut stretches = Vec::with_capacity(HORIZON_DAYS);
    let mut whole = Stretch::default();
    let mut day = as_of.tomorrow().unwrap_or(as_of);
    while stretches.len() < HORIZON_DAYS {
        let a_day = factor(months, day) / f64::from(day.days_in_month());
        let mut own = 0.0;
        for _ in day.day()..=day.days_in_month() {
            own += a_day;
            stretches.push(whole.and_month(own));
        }
        whole = whole.and_month(own);
        match day.last_of_month().tomorrow() {
            Ok(next) => day = next,
            Err(_) => break,
        }
    }
    stretches.truncate(HORIZON_DAYS);
    stretches
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
    let stray = rate.spread / (1.0 + wanted / rate.per_month());
    let spread = (wanted * (1.0 + wanted * (1.0 / rate.a + stray))).sqrt();
    (wanted - below * spread).max(0.0) / rate.per_month()
}

/// The 10, 50 and 90 % dates; empty beyond twenty years.
pub type Dates = [Option<Date>; 3];

/// Forecasts of one fleet on one day; what the fleet teaches, rates and dates are worked out once each, when
/// they are first asked for.
pub struct Forecaster<'f> {
    fleet: &'f Fleet,
    set: &'f PolicySet,
    as_of: AsOf,
    learnt: OnceCell<Arc<Learnt>>,
    /// By season, north and south, and the day.
    aheads: RefCell<HashMap<(usize, bool, Date), Arc<Ahead>>>,
    rates: RefCell<HashMap<(ItemId, MeterId, ZoneId), Rate>>,
    dates: RefCell<HashMap<(ItemId, MeterId, ZoneId, u64), Dates>>,
}

impl<'f> Forecaster<'f> {
    /// For forecasts made at the end of `as_of`.
    pub fn new(set: &'f PolicySet, fleet: &'f Fleet, as_of: impl Into<AsOf>) -> Forecaster<'f> {
        let as_of = as_of.into();
        Forecaster {
            fleet,
            set,
            as_of,
            learnt: OnceCell::new(),
            aheads: RefCell::default(),
            rates: RefCell::default(),
            dates: RefCell::default(),
        }
    }

    /// With what was learnt before, from the same whole months.
    pub fn with_learnt(
        set: &'f PolicySet,
        fleet: &'f Fleet,
        as_of: impl Into<AsOf>,
        learnt: Arc<Learnt>,
    ) -> Forecaster<'f> {
        Forecaster { learnt: OnceCell::from(learnt), ..Forecaster::new(set, fleet, as_of) }
    }

    /// What the fleet teaches.
    pub fn learnt(&self) -> &Arc<Learnt> {
        let today = || self.as_of.day_in(&self.set.service.home_zone);
        self.learnt.get_or_init(|| Arc::new(Learnt::of(self.set, self.fleet, today())))
    }

    /// The day that is judged in a zone.
    fn day(&self, zone: ZoneId) -> Date {
        self.as_of.day_in(&self.fleet.zones[usize::from(zone.0)])
    }

    /// The host whose log an item's use of a meter is foreseen from: the nearest of the item and the hosts it
    /// is fitted to now whose kind carries that meter. None for an item fitted nowhere.
    pub fn host(&self, item: ItemId, meter: MeterId, cutoff: Instant) -> Option<ItemId> {
        let carries = |id: &ItemId| self.set.kinds.kind(self.fleet.item(*id).kind).meter(meter).is_some();
        self.fleet.chain(item, cutoff).into_iter().find(carries)
    }

    /// A host's rate, from its whole log up to the end of the day in a zone: that of the item whose use is foreseen,
    /// which ends its day elsewhere than the host where it is on loan.
    pub fn rate(&self, host: ItemId, meter: MeterId, zone: ZoneId) -> Rate {
        let known = self.rates.borrow().get(&(host, meter, zone)).copied();
        known.unwrap_or_else(|| {
            let rate = self.work_out_rate(host, meter, zone);
            self.rates.borrow_mut().insert((host, meter, zone), rate);
            rate
        })
    }

    fn work_out_rate(&self, host: ItemId, meter: MeterId, zone: ZoneId) -> Rate {
        let item = self.fleet.item(host);
        let learnt = self.learnt();
        let day = self.day(zone);
        let cutoff = self.fleet.zones[usize::from(zone.0)].end_of(day);
        let station = self.fleet.station_of(item);
        let southern = station.is_some_and(|station| station.southern);
        let group = station.and_then(|station| self.set.service.station_groups.of(&station.slug));
        let start = log_start(self.fleet, host).filter(|start| *start < cutoff);
        let log = start.map(|start| {
            let months = months_at(&learnt.season(meter).months, southern);
            stretch(&months, self.fleet.zone_of(item).date_of(start), day)
        });
        let uses = self.uses(host, meter, start, cutoff).to_f64();
        let prior = learnt.prior(item.kind, meter, group);
        Rate::new(prior, learnt.spread(meter), uses, log.unwrap_or_default(), southern)
    }

    /// Uses in a host's log, likely twins once. Where odds are learnt, a use that opens the log is not one of
    /// them: the log begins with it, and nobody knows how long it was waited for.
    fn uses(&self, host: ItemId, meter: MeterId, start: Option<Instant>, cutoff: Instant) -> Amount {
        let Some(log) = self.fleet.log(host, meter) else { return Amount::ZERO };
        let opened = start.filter(|_| self.set.service.odds.learn).map(Instant::next);
        let opening = opened.map_or(Amount::ZERO, |opened| log.sum_before(opened));
        let twins = self.fleet.twins(self.set, host, meter);
        let again = twins
            .iter()
            .filter(|pair| pair.second < cutoff && opened.is_none_or(|opened| pair.second >= opened));
        log.sum_before(cutoff) - opening - again.map(|pair| pair.amount).sum()
    }

    /// The three dates by which `remaining` more uses will have been made of a host's meter, after the day in a zone.
    pub fn dates(&self, host: ItemId, meter: MeterId, zone: ZoneId, remaining: Amount) -> Dates {
        let remaining = remaining.ceil_u64();
        if let Some(known) = self.dates.borrow().get(&(host, meter, zone, remaining)) {
            return *known;
        }
        let rate = self.rate(host, meter, zone);
        let dates = self.ahead(meter, zone, rate.southern).dates(&rate, remaining);
        self.dates.borrow_mut().insert((host, meter, zone, remaining), dates);
        dates
    }

    /// Chance that `remaining` more uses of a host's meter will have been made by the end of a day; none
    /// beyond twenty years.
    pub fn chance_by(
        &self,
        host: ItemId,
        meter: MeterId,
        zone: ZoneId,
        remaining: Amount,
        day: Date,
    ) -> Option<f64> {
        self.chance_if(host, meter, zone, remaining, (day, 1.0))
    }

    /// The same if of the use ahead only a share is made, since exercises are called off, say.
    pub fn chance_if(
        &self,
        host: ItemId,
        meter: MeterId,
        zone: ZoneId,
        remaining: Amount,
        (day, share): (Date, f64),
    ) -> Option<f64> {
        let days = (day - self.day(zone)).get_days();
        if days <= 0 {
            return Some(if remaining.is_positive() { 0.0 } else { 1.0 });
        }
        let rate = self.rate(host, meter, zone);
        let index = usize::try_from(days - 1).ok()?;
        let ahead = *self.ahead(meter, zone, rate.southern).stretches.get(index)?;
        let made = Stretch { months: ahead.months * share, squares: ahead.squares * share * share };
        Some(chance_within(&rate, remaining.ceil_u64(), made))
    }

    fn ahead(&self, meter: MeterId, zone: ZoneId, southern: bool) -> Arc<Ahead> {
        let (learnt, day) = (self.learnt(), self.day(zone));
        let key = (learnt.season_index(meter), southern, day);
        let months = || months_at(&learnt.season(meter).months, southern);
        let mut aheads = self.aheads.borrow_mut();
        Arc::clone(aheads.entry(key).or_insert_with(|| Arc::new(Ahead::new(&months(), day))))
    }
}

fn months_at(months: &[f64; 12], southern: bool) -> [f64; 12] {
    if southern { shifted(months) } else { *months }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::odds::Lender;
    use crate::service::Odds;
    use jiff::civil::date;

    fn rate(uses: f64, months: f64, southern: bool) -> Rate {
        let prior = Prior::of_service(&Odds::default());
        Rate::new(prior, 0.0, uses, Stretch { months, squares: 0.0 }, southern)
    }

    fn ahead(southern: bool, as_of: Date) -> Ahead {
        Ahead::new(&months_at(&Odds::default().months, southern), as_of)
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
        let dates = ahead(rate.southern, date(2026, 10, 11)).dates(rate, remaining);
        dates.iter().map(|date| date.unwrap().to_string()).collect()
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
        let ahead = ahead(false, date(2026, 10, 11));
        let qua = rate(358.0, 36.32, false);
        for (days, percent) in [(8, 0.3), (17, 12.0), (20, 22.0), (24, 35.0), (29, 53.0)] {
            let got = 100.0 * chance_within(&qua, 8, ahead.stretches[days - 1]);
            assert!((got - percent).abs() < 0.6, "{days} days: {got}");
        }
    }

    /// The quick search finds the day that looking at every day finds, also where months stray.
    #[test]
    fn the_quick_search_is_exact() {
        let ahead = ahead(false, date(2026, 2, 27));
        let prior = Prior::of_service(&Odds::default());
        for (uses, months) in [(0.0, 0.0), (3.0, 2.0), (58.0, 36.3), (358.0, 36.3), (4000.0, 120.0)] {
            for (spread, remaining) in
                [(0.0, 1), (0.0, 7), (0.0, 125), (0.0, 400), (0.2, 2), (0.4, 31), (1.5, 125)]
            {
                let rate = Rate::new(prior, spread, uses, Stretch { months, squares: months * 1.1 }, false);
                for level in LEVELS {
                    let late = |day: &Stretch| chance_within(&rate, remaining, *day) >= level;
                    let plain = ahead.stretches.iter().position(late);
                    let found = ahead.crossing(&rate, remaining, level, 0);
                    assert_eq!(found, plain, "{uses} {spread} {remaining} {level}");
                }
            }
        }
    }

    #[test]
    fn nothing_left_is_certain_and_far_dates_are_empty() {
        let slow = rate(0.0, 400.0, false);
        let ahead = ahead(false, date(2026, 1, 1));
        assert_eq!(ahead.crossing(&slow, 500, 0.1, 0), None);
        assert_eq!(ahead.crossing(&slow, 500, 0.5, HORIZON_DAYS), None);
        assert!((chance(&slow, 0, 1.0) - 1.0).abs() < f64::EPSILON);
        assert!(chance(&slow, 5, 0.0).abs() < f64::EPSILON);
    }

    /// NIST/SEMATECH e-Handbook 8.4.6 (figures of the example from memory): a prior of 2 failures in 1,400 h and
    /// a test of 1,909 h with 2 failures give a median of 901.13 h between failures and 599.995 h at 80 %.
    #[test]
    fn gamma_example_of_the_nist_handbook() {
        use statrs::distribution::{ContinuousCDF, Gamma};
        let prior = Prior { uses: 2.0, months: 1400.0, lender: Lender::Service };
        let rate = Rate::new(prior, 0.0, 2.0, Stretch { months: 1909.0, squares: 0.0 }, false);
        assert!((1.0 / rate.per_month() - 827.25).abs() < 1e-9);
        let posterior = Gamma::new(rate.a, rate.b).unwrap();
        assert!((1.0 / posterior.inverse_cdf(0.5) - 901.13).abs() < 0.005);
        assert!((1.0 / posterior.inverse_cdf(0.8) - 599.995).abs() < 0.0005);
        assert!((posterior.cdf(1.0 / 600.0) - 0.799_995).abs() < 5e-7);
        // The test that 600 h at 80 % ask for, 2 failures allowed: 1,909 h.
        let needed = 600.0 * Gamma::new(rate.a, 1.0).unwrap().inverse_cdf(0.8) - prior.months;
        assert!((needed - 1909.03).abs() < 0.005, "{needed}");
    }

    /// The same example (computed by scipy): failures in the next 1,000 h, none to five at most.
    #[test]
    fn failures_ahead_in_the_nist_example() {
        let prior = Prior { uses: 2.0, months: 1400.0, lender: Lender::Service };
        let rate = Rate::new(prior, 0.0, 2.0, Stretch { months: 1909.0, squares: 0.0 }, false);
        let at_most = [0.347_761, 0.670_584, 0.857_880, 0.944_812, 0.980_118, 0.993_228];
        for (more, wanted) in (1..).zip(at_most) {
            assert!((1.0 - chance(&rate, more, 1000.0) - wanted).abs() < 5e-7, "{more}");
        }
    }

    /// The longer a host's log, the less is borrowed; the wilder its months, the less sure is what it says.
    #[test]
    fn thin_logs_borrow_and_wild_months_widen() {
        let logs = [0.0, 3.0, 36.0].map(|months| rate(5.0 * months, months, false).borrowed());
        let told = logs.map(|part| format!("{:.0} %", 100.0 * part));
        assert_eq!(told, ["100 %", "25 %", "3 %"]);
        let log = Stretch { months: 36.0, squares: 40.0 };
        let prior = Prior::of_service(&Odds::default());
        let (calm, wild) =
            (Rate::new(prior, 0.0, 200.0, log, false), Rate::new(prior, 0.3, 200.0, log, false));
        assert!((calm.per_month() - wild.per_month()).abs() < 1e-12 && wild.a < calm.a / 2.0);
        let ahead = ahead(false, date(2026, 10, 11));
        let (calm, wild) = (ahead.dates(&calm, 12), ahead.dates(&wild, 12));
        assert!(wild[0] < calm[0] && wild[2] > calm[2], "{calm:?} {wild:?}");
    }
}
