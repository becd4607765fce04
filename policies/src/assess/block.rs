//! Sheave blocks: groove against the rope, side play, pin.

use super::bench::Bench;
use super::fault::AssessFault;
use super::ratio::Ratio;
use super::wear::loss;

/// A new groove is 5 to 10 % over the rope (ISO 16625); a rope that wears cuts it down to its own size.
const NEW_GROOVE: (i128, i128) = (5, 10);

pub(super) fn judge(bench: &mut Bench) {
    if let Some(over) = groove(bench) {
        bench.judge("groove over rope", over, Ratio::whole(NEW_GROOVE.0), "%");
        if over > Ratio::whole(NEW_GROOVE.1) {
            bench.note("the groove is more than 10 % over the rope: it gives little support".to_owned());
        }
    }
    if let Some(play) = bench.measure("side_play_mm") {
        bench.judge("side play", play, Ratio::ZERO, "mm");
    }
    loss(bench, "pin wear", "pin_diameter_mm", "pin_wear_percent");
}

fn groove(bench: &mut Bench) -> Option<Ratio> {
    let (radius, percent) = (bench.measure("groove_radius_mm"), bench.measure("groove_over_rope_percent"));
    let Some(radius) = radius else { return percent };
    if percent.is_some() {
        let what = "says the same as groove_over_rope_percent; give one of them".to_owned();
        bench.fault(AssessFault::Twice { name: "groove_radius_mm".to_owned(), what });
    }
    let rope = bench.needed("rope_diameter_mm", "the groove")?;
    bench.size("groove_radius_mm", rope.halved(), 85, 140)?;
    Some(radius.times(2).minus(rope).percent_of(rope))
}
