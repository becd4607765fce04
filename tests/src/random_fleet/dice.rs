//! `SplitMix64`: the same seed draws the same fleet on every machine.

pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        Dice(seed)
    }

    /// Dice for what is drawn aside: these stay where they stand.
    pub fn aside(&self) -> Dice {
        Dice(!self.0)
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// Both ends included.
    pub fn between(&mut self, low: i32, high: i32) -> i32 {
        let width = u64::from(high.abs_diff(low)) + 1;
        let step = i32::try_from(self.next() % width).unwrap_or_default();
        low + step
    }

    pub fn chance(&mut self, percent: i32) -> bool {
        self.between(1, 100) <= percent
    }

    pub fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.index(from.len())]
    }

    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for n in (1..list.len()).rev() {
            list.swap(n, self.index(n + 1));
        }
    }

    fn index(&mut self, length: usize) -> usize {
        let length = u64::try_from(length).unwrap_or(1);
        usize::try_from(self.next() % length).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::Dice;

    /// First outputs for seed 1234567, from the generator's published reference code.
    #[test]
    fn the_stream_is_splitmix64() {
        let mut dice = Dice::new(1_234_567);
        assert_eq!(dice.next(), 6_457_827_717_110_365_317);
        assert_eq!(dice.next(), 3_203_168_211_198_807_973);
    }
}
