//! Dice that fall the same way for the same seed.

/// Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014: `SplitMix64`.
pub struct Dice(pub u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number below this one.
    pub fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }
}
