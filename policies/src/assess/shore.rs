//! Loose gear of the beach: skids and fibre heaving lines.

use super::bench::Bench;
use super::ratio::Ratio;

/// The plate of a new skid where the register is silent (house).
const NEW_PLATE_MM: i128 = 10;

pub(super) fn judge_skid(bench: &mut Bench) {
    let name = "plate_thickness_mm";
    let Some(now) = bench.measure(name) else { return };
    let new = bench.attribute(name).unwrap_or_else(|| {
        bench.note(format!("the plate's thickness when new is not recorded: taken as {NEW_PLATE_MM} mm"));
        Ratio::whole(NEW_PLATE_MM)
    });
    let least = bench.limits.iter().find(|limit| limit.criterion == "plate thickness").map(|limit| limit.at);
    if least.is_some_and(|least| new <= least) {
        bench.missing(
            name,
            format!("a new plate of {} mm has nothing to wear; right would be more", new.up(3)),
        );
    } else if bench.size(name, new, 20, 110).is_some() {
        bench.judge("plate thickness", now, new, "mm");
    }
}

pub(super) fn judge_line(bench: &mut Bench) {
    if let Some(lost) = bench.measure("section_loss_percent") {
        bench.judge("section loss", lost, Ratio::ZERO, "%");
    }
}
