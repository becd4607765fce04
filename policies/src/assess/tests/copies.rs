//! Copies of the published limits, kept apart from the tables that ship.

use std::collections::BTreeMap;

pub const BREAKS: &str = include_str!("../../../../tests/golden/discard/wire_broken_wires.csv");
pub const DECREASE: &str = include_str!("../../../../tests/golden/discard/diameter_decrease.csv");
pub const CONSTRUCTIONS: &str = include_str!("../../../../tests/golden/discard/wire_constructions.csv");
pub const US_WIRE: &str = include_str!("../../../../tests/golden/discard/us_wire_rope.csv");
pub const CHAIN: &str = include_str!("../../../../tests/golden/discard/chain_least_thickness.csv");
pub const SHACKLES: &str = include_str!("../../../../tests/golden/discard/shackle_sizes.csv");
pub const WIRES: &str = include_str!("../../../../tests/golden/discard/wire_sizes.csv");

/// A row by its columns.
pub type Row = BTreeMap<&'static str, &'static str>;

pub fn rows(copy: &'static str) -> Vec<Row> {
    let mut lines = copy.lines();
    let header: Vec<&str> = lines.next().unwrap().split(',').collect();
    lines.map(|line| header.iter().copied().zip(line.split(',')).collect()).collect()
}

/// A decimal in hundred-thousandths.
pub fn fine(text: &str) -> i64 {
    let (whole, decimals) = text.split_once('.').unwrap_or((text, ""));
    format!("{whole}{decimals:0<5}").parse().unwrap()
}

/// Hundred-thousandths as a decimal, cut to the four that a reading may have.
pub fn decimal(fine: i64) -> String {
    format!("{}.{:04}", fine / 100_000, fine % 100_000 / 10)
}
