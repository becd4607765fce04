//! Random streams by name: each host and item draws from its own, so that rows can be made in any order.

/// `SplitMix64`, started from a table and a row.
pub struct Draw(u64);

const SEED: u64 = 20_260_701;
const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;

impl Draw {
    /// The stream of one row of one table.
    pub fn new(table: u64, row: u32) -> Draw {
        let mut start = Draw(SEED.wrapping_add(table.wrapping_mul(GOLDEN)));
        Draw(start.next() ^ (u64::from(row) + 1).wrapping_mul(GOLDEN))
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(GOLDEN);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// From `low` up to, and without, `high`.
    pub fn range(&mut self, low: i64, high: i64) -> i64 {
        let width = high.abs_diff(low).max(1);
        low.saturating_add_unsigned(self.next() % width)
    }

    /// An index below `length`.
    pub fn index(&mut self, length: usize) -> usize {
        usize::try_from(self.next() % (length as u64).max(1)).unwrap_or_default()
    }

    /// True so many times in a hundred.
    pub fn percent(&mut self, chance: i64) -> bool {
        self.range(0, 100) < chance
    }

    /// An index, by weights that add up to 100.
    pub fn weighted(&mut self, weights: &[i64]) -> usize {
        let mut left = self.range(0, 100);
        for (index, weight) in weights.iter().enumerate() {
            if left < *weight {
                return index;
            }
            left -= weight;
        }
        weights.len().saturating_sub(1)
    }
}
