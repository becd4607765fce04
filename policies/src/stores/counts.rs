//! Chances of needing no piece, one, two, …: added exactly, count by count.

use statrs::function::gamma::ln_gamma;

/// Counts beyond which so little is left are cut off.
const RARE: f64 = 1e-13;
/// No count of the trade is larger; a bound for the loops.
const MOST: usize = 1_000_000;

/// The chances of 0, 1, 2, … pieces.
#[derive(Clone, Debug, PartialEq)]
pub struct Counts(Vec<f64>);

impl Default for Counts {
    fn default() -> Counts {
        Counts::none()
    }
}

impl Counts {
    /// Certainly no piece.
    pub fn none() -> Counts {
        Counts(vec![1.0])
    }

    /// Items that go independently, each with its chance (Poisson-binomial).
    pub fn apart(chances: impl IntoIterator<Item = f64>) -> Counts {
        let mut all = Counts::none();
        for chance in chances {
            all.add_chance(chance);
        }
        all
    }

    /// Items that one log of use drives: whoever has the higher chance has always gone before the others, so that
    /// `n` or more have gone with the `n`th highest chance.
    pub fn together(mut chances: Vec<f64>) -> Counts {
        chances.sort_by(|a, b| b.total_cmp(a));
        let mut own = Vec::with_capacity(chances.len() + 1);
        let mut above = 1.0;
        for chance in chances.iter().map(|chance| chance.clamp(0.0, 1.0)) {
            own.push(above - chance);
            above = chance;
        }
        own.push(above);
        Counts(own).cut_off()
    }

    /// Poisson of a known mean.
    pub fn poisson(mean: f64) -> Counts {
        if mean <= 0.0 {
            return Counts::none();
        }
        by_terms(mean, |k| k * mean.ln() - mean - ln_gamma(k + 1.0))
    }

    /// Poisson whose rate is known only as a gamma of that shape: negative binomial.
    pub fn negative_binomial(mean: f64, shape: f64) -> Counts {
        if mean <= 0.0 || shape <= 0.0 {
            return Counts::none();
        }
        let (hit, miss) = ((shape / (shape + mean)).ln(), (mean / (shape + mean)).ln());
        by_terms(mean, |k| ln_gamma(k + shape) - ln_gamma(shape) - ln_gamma(k + 1.0) + shape * hit + k * miss)
    }

    /// One more item that goes with a chance of its own.
    pub fn add_chance(&mut self, chance: f64) {
        let chance = chance.clamp(0.0, 1.0);
        if chance <= 0.0 {
            return;
        }
        self.0.push(0.0);
        for at in (1..self.0.len()).rev() {
            self.0[at] = self.0[at] * (1.0 - chance) + self.0[at - 1] * chance;
        }
        self.0[0] *= 1.0 - chance;
        if self.0.last().is_some_and(|last| *last < RARE * RARE) {
            self.0.pop();
        }
    }

    /// The sum of two independent counts.
    #[must_use]
    pub fn and(&self, other: &Counts) -> Counts {
        let mut sum = vec![0.0; self.0.len() + other.0.len() - 1];
        for (at, own) in self.0.iter().enumerate().filter(|(_, own)| **own > 0.0) {
            for (more, chance) in other.0.iter().enumerate() {
                sum[at + more] += own * chance;
            }
        }
        Counts(sum).cut_off()
    }

    /// Counted in pieces of which each serves so many items.
    #[must_use]
    pub fn in_pieces(&self, serves: u32) -> Counts {
        let serves = usize::try_from(serves.max(1)).unwrap_or(1);
        let mut pieces = vec![0.0; (self.0.len() - 1).div_ceil(serves) + 1];
        for (items, chance) in self.0.iter().enumerate() {
            pieces[items.div_ceil(serves)] += chance;
        }
        Counts(pieces)
    }

    /// So many pieces for each one counted.
    #[must_use]
    pub fn times(&self, pieces: u32) -> Counts {
        let step = usize::try_from(pieces.max(1)).unwrap_or(1);
        let mut spread = vec![0.0; (self.0.len() - 1) * step + 1];
        for (count, chance) in self.0.iter().enumerate() {
            spread[count * step] = *chance;
        }
        Counts(spread)
    }

    /// Chance of at most so many.
    pub fn at_most(&self, pieces: u64) -> f64 {
        let end = usize::try_from(pieces).unwrap_or(usize::MAX).saturating_add(1).min(self.0.len());
        self.0[..end].iter().sum::<f64>().min(1.0)
    }

    /// The least number that is enough with a chance of at least `level`.
    pub fn least_for(&self, level: f64) -> u64 {
        let mut sum = 0.0;
        let enough = self.0.iter().position(|chance| {
            sum += chance;
            sum >= level
        });
        u64::try_from(enough.unwrap_or(self.0.len() - 1)).unwrap_or(u64::MAX)
    }

    /// Expected number.
    pub fn mean(&self) -> f64 {
        self.0.iter().zip(ascending()).map(|(chance, count)| chance * count).sum()
    }

    /// Variance.
    pub fn variance(&self) -> f64 {
        let mean = self.mean();
        self.0.iter().zip(ascending()).map(|(chance, count)| chance * (count - mean).powi(2)).sum()
    }

    fn cut_off(mut self) -> Counts {
        let mut tail = 0.0;
        while self.0.len() > 1 {
            tail += self.0.last().copied().unwrap_or(0.0);
            if tail >= RARE {
                break;
            }
            self.0.pop();
        }
        self
    }
}

fn ascending() -> impl Iterator<Item = f64> {
    std::iter::successors(Some(0.0), |count| Some(count + 1.0))
}

/// Counts from the logarithms of their chances, up to where hardly anything is left.
fn by_terms(mean: f64, ln_term: impl Fn(f64) -> f64) -> Counts {
    let mut own = Vec::new();
    let mut sum = 0.0;
    for count in ascending().take(MOST) {
        let term = ln_term(count).exp();
        sum += term;
        own.push(term);
        if count > mean && (1.0 - sum < RARE || term < RARE * RARE) {
            break;
        }
    }
    Counts(own)
}

#[cfg(test)]
mod tests;
