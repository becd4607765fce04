//! Month factors of a meter, from every host's log, held to the shipped ones where the logs are thin.

use super::history::History;

/// How many uses the shipped factor of a month is worth (house): alone, it is believed to a fifth either way,
/// which is what a count of 25 would be.
pub const SHIPPED_WEIGHT: f64 = 25.0;
/// Rates and factors are worked out by turns; each turn brings them closer.
const TURNS: usize = 6;

/// A season.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Season {
    /// Use of each month relative to the mean, January first, as the north has it; their mean is 1.
    pub months: [f64; 12],
    /// How much of it the logs say and not the shipped factors, from 0 to 1.
    pub learnt: f64,
}

impl Season {
    /// The shipped one.
    pub fn shipped(months: &[f64; 12]) -> Season {
        Season { months: *months, learnt: 0.0 }
    }

    /// The variance of a factor that is still borrowed in part: the rest of a shipped factor's own.
    pub fn doubt(&self) -> f64 {
        (1.0 - self.learnt) / SHIPPED_WEIGHT
    }
}

/// A host's uses by month of the year, and how often it logged that month.
struct Year {
    uses: [f64; 12],
    times: [f64; 12],
}

impl Year {
    fn of(history: &History) -> Year {
        let mut year = Year { uses: [0.0; 12], times: [0.0; 12] };
        for (month, count) in history.cells() {
            year.uses[month] += count;
            year.times[month] += 1.0;
        }
        year
    }

    /// Its rate under a season, from its own log alone.
    fn rate(&self, months: &[f64; 12]) -> f64 {
        let exposure: f64 = self.times.iter().zip(months).map(|(times, factor)| times * factor).sum();
        self.uses.iter().sum::<f64>() / exposure
    }
}

/// With k the shipped weight, o the uses of a month over all hosts and e those that a factor of 1 would give,
/// its factor is (k + o / phi) / (k / shipped + e / phi): the shipped factor where nothing is logged, o / e in
/// the long run. phi is by how much months stray, so that wild logs teach less.
pub(super) fn learn(own: &[&History], shipped: &[f64; 12], spread: f64) -> Season {
    let years: Vec<Year> = own.iter().map(|history| Year::of(history)).collect();
    let mut season = Season::shipped(shipped);
    for _ in 0..TURNS {
        season = turn(&years, shipped, spread, &season.months);
    }
    season
}

fn turn(years: &[Year], shipped: &[f64; 12], spread: f64, before: &[f64; 12]) -> Season {
    let mut observed = [0.0; 12];
    let mut expected = [0.0; 12];
    let mut squares = [0.0; 12];
    for year in years {
        let rate = year.rate(before);
        for month in 0..12 {
            observed[month] += year.uses[month];
            expected[month] += rate * year.times[month];
            squares[month] += rate * rate * year.times[month];
        }
    }
    let phi = |month: usize| {
        let lump = if expected[month] > 0.0 { squares[month] / expected[month] } else { 0.0 };
        1.0 + spread * before[month] * lump
    };
    let own: [f64; 12] = std::array::from_fn(|month| expected[month] / phi(month));
    let borrowed = shipped.map(|factor| SHIPPED_WEIGHT / factor);
    let months = std::array::from_fn(|month| {
        (SHIPPED_WEIGHT + observed[month] / phi(month)) / (borrowed[month] + own[month])
    });
    let learnt = (0..12).map(|month| own[month] / (own[month] + borrowed[month])).sum::<f64>() / 12.0;
    Season { months: to_mean_one(months), learnt }
}

fn to_mean_one(months: [f64; 12]) -> [f64; 12] {
    let mean = months.iter().sum::<f64>() / 12.0;
    months.map(|factor| factor / mean)
}
