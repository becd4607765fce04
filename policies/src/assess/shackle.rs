//! Shackles: body and pin.

use super::bench::Bench;
use super::wear::loss;

pub(super) fn judge(bench: &mut Bench) {
    loss(bench, "body wear", "body_diameter_mm", "body_wear_percent");
    loss(bench, "pin wear", "pin_diameter_mm", "pin_wear_percent");
}
