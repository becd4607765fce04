//! Wear trends: readings against use, where the line meets a limit, and how sure that is.
//!
//! A trend foresees; it never judges. Whether gear is discarded is for [`crate::assess`] alone, and a fixed
//! renewal is never put off by a trend ([`Trend::uses_left`] is to be held against the fixed limit, and the
//! smaller counts: [`sooner`]). Floats are in order here, as in the odds.

use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::amount::Amount;

/// Fewer readings make no trend.
pub const FEWEST: usize = 3;
/// Fewer earlier readings say too little of their own scatter to call the next one a jump.
const FEWEST_BEFORE_JUMP: usize = 4;
/// How sure the bound is, on one side.
const LEVEL: f64 = 0.95;
/// A reading further than this many residual standard deviations off the earlier line is a jump.
const JUMP: f64 = 5.0;
/// Beyond this many times the use so far a crossing is no forecast.
const FURTHEST: f64 = 1000.0;

/// A reading, and the use at which it was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Point {
    /// Use since the gear was new: launches, pulls, days.
    pub used: Amount,
    /// What was read.
    pub reading: Amount,
}

/// Why there is no trend.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoTrend {
    /// Fewer than three readings.
    #[error("{0} readings make no trend; right would be 3 or more")]
    TooFew(usize),
    /// All at one moment of use.
    #[error("all readings were taken at the same use; right would be readings as the use goes on")]
    NoUse,
}

/// A limit that readings move towards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limit {
    /// Wear: readings shrink, and must not fall below.
    Least(Amount),
    /// Stretch and play: readings grow, and must not pass.
    Most(Amount),
}

impl Limit {
    fn value(self) -> f64 {
        match self {
            Limit::Least(value) | Limit::Most(value) => value.to_f64(),
        }
    }

    /// -1 where readings shrink, 1 where they grow.
    fn way(self) -> f64 {
        match self {
            Limit::Least(_) => -1.0,
            Limit::Most(_) => 1.0,
        }
    }

    /// Whether a reading is beyond it.
    pub fn is_passed_by(self, reading: Amount) -> bool {
        match self {
            Limit::Least(least) => reading < least,
            Limit::Most(most) => reading > most,
        }
    }

    /// How far a reading is beyond it; below zero while it is not.
    fn passed_by(self, reading: f64) -> f64 {
        self.way() * (reading - self.value())
    }
}

/// A straight line through readings, by least squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Readings behind it.
    pub readings: usize,
    /// Change of the reading for one use.
    pub slope: f64,
    /// The line's reading at no use.
    pub intercept: f64,
    /// Standard deviation of the readings about the line, with n - 2 degrees of freedom.
    pub residual_sd: f64,
    mean_used: f64,
    mean_reading: f64,
    /// Sum of squares of the use about its mean.
    spread: f64,
    last_used: f64,
}

impl Trend {
    /// The line through readings, in any order.
    pub fn fit(points: &[Point]) -> Result<Trend, NoTrend> {
        if points.len() < FEWEST {
            return Err(NoTrend::TooFew(points.len()));
        }
        let pairs: Vec<(f64, f64)> =
            points.iter().map(|point| (point.used.to_f64(), point.reading.to_f64())).collect();
        let n = count(points.len());
        let mean_used = pairs.iter().map(|(x, _)| x).sum::<f64>() / n;
        let mean_reading = pairs.iter().map(|(_, y)| y).sum::<f64>() / n;
        let about = pairs.iter().map(|(x, y)| (x - mean_used, y - mean_reading));
        let spread: f64 = about.clone().map(|(x, _)| x * x).sum();
        if spread <= 0.0 {
            return Err(NoTrend::NoUse);
        }
        let slope = about.clone().map(|(x, y)| x * y).sum::<f64>() / spread;
        let squares: f64 = about.map(|(x, y)| (y - slope * x).powi(2)).sum();
        Ok(Trend {
            readings: points.len(),
            slope,
            intercept: mean_reading - slope * mean_used,
            residual_sd: (squares / (n - 2.0)).sqrt(),
            mean_used,
            mean_reading,
            spread,
            last_used: pairs.iter().map(|(x, _)| *x).fold(f64::MIN, f64::max),
        })
    }

    /// The line's reading at a use.
    pub fn at(&self, used: f64) -> f64 {
        self.mean_reading + self.slope * (used - self.mean_used)
    }

    /// How far one more reading at that use may lie off the line, on one side, at a level such as 0.95.
    pub fn margin(&self, used: f64, level: f64) -> f64 {
        self.quantile(level) * self.residual_sd * self.reach(used)
    }

    /// By how much one more reading at that use is less sure than the scatter alone.
    fn reach(&self, used: f64) -> f64 {
        let off = used - self.mean_used;
        (1.0 + 1.0 / count(self.readings) + off * off / self.spread).sqrt()
    }

    /// Readings scatter no less than by the rounding to a gauge's smallest step.
    fn scatter(&self, step: Amount) -> f64 {
        self.residual_sd.max(rounding(step))
    }

    fn student(&self) -> Option<StudentsT> {
        StudentsT::new(0.0, 1.0, count(self.readings) - 2.0).ok()
    }

    fn quantile(&self, level: f64) -> f64 {
        self.student().map_or(f64::INFINITY, |t| t.inverse_cdf(level))
    }

    /// How sure it is that readings move towards the limit, from 0 to 1, by the scatter about the line.
    pub fn sureness(&self, limit: Limit, step: Amount) -> f64 {
        let off = limit.way() * self.slope * self.spread.sqrt() / self.scatter(step);
        self.student().map_or(0.0, |t| t.cdf(off))
    }

    /// Chance that one more reading at that use lies beyond the limit.
    pub fn chance_beyond(&self, used: f64, limit: Limit, step: Amount) -> f64 {
        let width = self.scatter(step) * self.reach(used);
        self.student().map_or(0.0, |t| t.cdf(limit.passed_by(self.at(used)) / width))
    }

    /// The use at which the line meets the limit; none where readings do not move towards it.
    pub fn crossing(&self, limit: Limit) -> Option<f64> {
        let towards = self.slope * limit.way() > 0.0;
        towards.then(|| self.mean_used + (limit.value() - self.mean_reading) / self.slope)
    }

    /// The use at which the one-sided 95 % prediction bound meets the limit, at the last reading or later:
    /// until then one more reading is within the limit with 95 % certainty.
    pub fn bound_crossing(&self, limit: Limit) -> Option<f64> {
        let line = self.crossing(limit)?;
        if self.bound_passes(self.last_used, limit) {
            return Some(self.last_used);
        }
        let (mut within, mut beyond) = (self.last_used, line.max(self.last_used));
        if beyond - self.mean_used > FURTHEST * self.spread.sqrt() {
            return None;
        }
        // The bound is never short of the line, so it passes the limit between the last reading and there.
        for _ in 0..200 {
            let middle = f64::midpoint(within, beyond);
            if self.bound_passes(middle, limit) { beyond = middle } else { within = middle }
        }
        Some(beyond)
    }

    fn bound_passes(&self, used: f64, limit: Limit) -> bool {
        limit.passed_by(self.at(used) + limit.way() * self.margin(used, LEVEL)) > 0.0
    }

    /// Whole uses after the last reading for which the bound stays within the limit.
    pub fn uses_left(&self, limit: Limit) -> Option<u64> {
        let left = (self.bound_crossing(limit)? - self.last_used).max(0.0).floor();
        let whole = (0.0..1e15).contains(&left);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a whole number in range"
        )]
        whole.then_some(left as u64)
    }
}

#[expect(clippy::cast_precision_loss, reason = "a handful of readings")]
fn count(n: usize) -> f64 {
    n as f64
}

/// Standard deviation that rounding to a step makes.
fn rounding(step: Amount) -> f64 {
    step.to_f64() / 12.0_f64.sqrt()
}

/// Uses left by a trend and by a fixed limit: a trend never puts off a fixed limit.
pub fn sooner(trend: Option<u64>, fixed: Option<u64>) -> Option<u64> {
    [trend, fixed].into_iter().flatten().min()
}

/// A latest reading far off what the earlier ones foretold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jump {
    /// What the earlier line gives at that use.
    pub expected: f64,
    /// How far the reading lies off it.
    pub off: f64,
    /// Standard deviation about the earlier line, or of the gauge's own steps where that is more.
    pub residual_sd: f64,
    /// Off towards the limit: a sudden loss, to look for its cause. Otherwise the reading itself is in doubt.
    pub towards_limit: bool,
}

/// Whether the latest reading is a jump off the line through the earlier ones, of which four are needed.
/// `step` is the gauge's smallest step: readings cannot scatter less than its rounding.
pub fn jump(points: &[Point], limit: Limit, step: Amount) -> Option<Jump> {
    let latest = points.iter().copied().max_by_key(|point| point.used)?;
    let earlier: Vec<Point> = points.iter().copied().filter(|point| point.used < latest.used).collect();
    if earlier.len() < FEWEST_BEFORE_JUMP {
        return None;
    }
    let trend = Trend::fit(&earlier).ok()?;
    let expected = trend.at(latest.used.to_f64());
    let off = latest.reading.to_f64() - expected;
    let residual_sd = trend.scatter(step);
    let towards_limit = off * limit.way() > 0.0;
    (off.abs() > JUMP * residual_sd).then_some(Jump { expected, off, residual_sd, towards_limit })
}

#[cfg(test)]
mod tests;
