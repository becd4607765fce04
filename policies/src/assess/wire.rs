//! Wire rope: ISO 4309, or the US rules; wire strops by their own limits.

mod breaks;
mod category;
mod diameter;
mod limits;
mod rope;

use super::bench::Bench;
use super::fault::AssessFault;
use super::ratio::Ratio;
use super::{Regime, combined};
use rope::Rope;

const IN_6D: &str = "broken wires in 6d";
const IN_30D: &str = "broken wires in 30d";
const DIAMETER: &str = "wire diameter";
const CORROSION: &str = "wire corrosion";
const DIAMETER_MM: &str = "diameter_mm";

/// The criteria that a wire is not fully judged without.
pub(super) fn wanted(bench: &Bench) -> &'static [&'static str] {
    match (bench.gear.word, bench.regime) {
        ("wire", Regime::Iso) => &[IN_6D, IN_30D, DIAMETER],
        ("wire", Regime::Us) => &["broken wires in a lay", DIAMETER],
        _ => &[],
    }
}

pub(super) fn judge(bench: &mut Bench) -> Result<(), AssessFault> {
    let rows = breaks::rows()?;
    let rope = Rope::of(bench, rows)?;
    if bench.regime == Regime::Iso {
        breaks::judge(bench, &rope, rows);
        diameter::judge(bench, &rope)?;
        if let Some(corroded) = bench.measure("corrosion_percent") {
            bench.judge(CORROSION, corroded, Ratio::ZERO, "%");
        }
    }
    bench.sum = sum(bench).zip(combined::rule(bench.gear.word, bench.regime)?);
    if bench.attribute_text("finish").is_some_and(|finish| finish.to_lowercase().starts_with("stainless")) {
        bench.note(
            "stainless wire can fail with few breaks outside: the tables are for carbon steel".to_owned(),
        );
    }
    limits::judge(bench, &rope)
}

/// A wire strop is judged as a sling.
pub(super) fn judge_sling(bench: &mut Bench) -> Result<(), AssessFault> {
    limits::judge_sling(bench)
}

/// Ratings at one place are added: the worse of the two counts of broken wires, diameter and corrosion.
fn sum(bench: &Bench) -> Option<Ratio> {
    let breaks = bench.rating(IN_6D).max(bench.rating(IN_30D));
    let parts = [breaks, bench.rating(DIAMETER), bench.rating(CORROSION)];
    parts.into_iter().flatten().reduce(Ratio::plus)
}
