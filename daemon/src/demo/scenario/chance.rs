//! A small seeded generator (`SplitMix64`), so that every machine tells the same story.

pub const SEED: u64 = 20_261_012;

#[derive(Clone)]
pub struct Chance {
    state: u64,
}

impl Chance {
    /// Each subject draws from its own stream: adding gear at one station leaves the others as they were.
    pub fn of(subject: &str) -> Self {
        let state = subject
            .bytes()
            .fold(SEED, |state, byte| (state ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3));
        Self { state }
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// Evenly spread over `[0, 1)`.
    pub fn share(&mut self) -> f64 {
        let high = u32::try_from(self.next() >> 32).unwrap_or(u32::MAX);
        f64::from(high) / 4_294_967_296.0
    }

    pub fn below(&mut self, bound: usize) -> usize {
        let bound = u64::try_from(bound.max(1)).unwrap_or(1);
        usize::try_from(self.next() % bound).unwrap_or(0)
    }

    pub fn between(&mut self, low: i64, high: i64) -> i64 {
        let span = usize::try_from(high - low + 1).unwrap_or(1);
        low + i64::try_from(self.below(span)).unwrap_or(0)
    }

    /// The index of one of `weights`, drawn in proportion to its weight.
    pub fn weighted(&mut self, weights: &[f64]) -> usize {
        let mut left = self.share() * weights.iter().sum::<f64>();
        for (index, weight) in weights.iter().enumerate() {
            if left < *weight {
                return index;
            }
            left -= weight;
        }
        weights.len().saturating_sub(1)
    }

    pub fn shuffle<T>(&mut self, values: &mut [T]) {
        for last in (1..values.len()).rev() {
            let other = self.below(last + 1);
            values.swap(last, other);
        }
    }
}
