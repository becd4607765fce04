//! Draws from a seed: `SplitMix64` (Steele, Lea and Flood 2014) and what can be made of it.

/// Poisson means are drawn in parts no larger than this, so that the product of uniforms does not vanish.
const LARGEST_PART: f64 = 16.0;

/// A source of draws.
#[derive(Clone, Debug)]
pub struct Draw {
    state: u64,
}

impl Draw {
    /// From a seed.
    pub fn new(seed: u64) -> Draw {
        Draw { state: seed }
    }

    /// 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// Between 0 and 1, neither included.
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit")]
    pub fn uniform(&mut self) -> f64 {
        ((self.bits() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// A whole number below `end`.
    pub fn below(&mut self, end: u32) -> u32 {
        u32::try_from(self.bits() % u64::from(end.max(1))).unwrap_or(0)
    }

    /// A whole number below `end`, which may be large.
    pub fn below_wide(&mut self, end: i64) -> i64 {
        i64::try_from(self.bits() % end.unsigned_abs().max(1)).unwrap_or(0)
    }

    /// Standard normal (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// Gamma of that shape and scale 1 (Marsaglia and Tsang 2000).
    pub fn gamma(&mut self, shape: f64) -> f64 {
        if shape < 1.0 {
            return self.gamma(shape + 1.0) * self.uniform().powf(1.0 / shape);
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.normal();
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && self.uniform().ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return d * v;
            }
        }
    }

    /// Poisson of that mean (Knuth, product of uniforms).
    pub fn poisson(&mut self, mean: f64) -> u32 {
        let mut left = mean;
        let mut count = 0;
        while left > 0.0 {
            let part = left.min(LARGEST_PART);
            left -= part;
            let floor = (-part).exp();
            let mut product = self.uniform();
            while product > floor {
                product *= self.uniform();
                count += 1;
            }
        }
        count
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first draws of seed 1234567, as published with the generator's many ports (from memory).
    #[test]
    fn bits_are_those_of_the_generator() {
        let mut draw = Draw::new(1_234_567);
        assert_eq!(draw.bits(), 6_457_827_717_110_365_317);
        assert_eq!(draw.bits(), 3_203_168_211_198_807_973);
    }

    fn mean_and_variance(mut each: impl FnMut() -> f64) -> (f64, f64) {
        let drawn: Vec<f64> = (0..20_000).map(|_| each()).collect();
        let mean = drawn.iter().sum::<f64>() / 20_000.0;
        (mean, drawn.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 20_000.0)
    }

    fn near((mean, variance): (f64, f64), wanted: (f64, f64)) {
        assert!((mean - wanted.0).abs() < 0.04 * wanted.0.max(1.0), "mean {mean}, not {}", wanted.0);
        assert!((variance - wanted.1).abs() < 0.06 * wanted.1, "variance {variance}, not {}", wanted.1);
    }

    #[test]
    fn draws_have_the_mean_and_variance_of_their_law() {
        let mut draw = Draw::new(20_261_012);
        near(mean_and_variance(|| draw.normal()), (0.0, 1.0));
        near(mean_and_variance(|| draw.gamma(2.5)), (2.5, 2.5));
        near(mean_and_variance(|| draw.gamma(0.5)), (0.5, 0.5));
        near(mean_and_variance(|| f64::from(draw.poisson(3.0))), (3.0, 3.0));
        near(mean_and_variance(|| f64::from(draw.poisson(40.0))), (40.0, 40.0));
    }
}
