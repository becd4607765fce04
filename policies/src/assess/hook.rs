//! Hooks: throat, pin, section and twist.

use super::bench::Bench;
use super::ratio::Ratio;
use super::wear::{growth, loss};

pub(super) fn judge(bench: &mut Bench) {
    growth(bench, "throat growth", "throat_mm", "throat_growth_percent");
    loss(bench, "pin wear", "pin_diameter_mm", "pin_wear_percent");
    if let Some(worn) = bench.measure("section_wear_percent") {
        bench.judge("section wear", worn, Ratio::ZERO, "%");
    }
    match bench.measure("twist_degrees") {
        Some(twist) if bench.limits.iter().any(|limit| limit.criterion == "twist") => {
            bench.judge("twist", twist, Ratio::ZERO, "degrees");
        }
        Some(_) => {
            bench.note("twist_degrees is not judged: the regime has no angle; say bent=yes".to_owned());
        }
        None => {}
    }
}
