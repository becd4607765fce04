//! Round slings and webbing: the label first.

use super::bench::Bench;
use super::ratio::Ratio;
use super::sight::{Cause, stated};

const LABEL_MISSING: &str = "label_missing";

pub(super) fn judge(bench: &mut Bench, causes: &[Cause]) {
    match (bench.word("label"), bench.word(LABEL_MISSING)) {
        (Some(label), _) => stated(bench, causes, LABEL_MISSING, label != "readable"),
        (None, Some(_)) => {}
        (None, None) => {
            let right = "no label is a reject, so it must be stated: readable, unreadable or missing";
            bench.missing("label", right.to_owned());
        }
    }
    if let Some(abraded) = bench.measure("abrasion_percent") {
        bench.judge("abrasion", abraded, Ratio::ZERO, "%");
    }
    if let Some(cut) = bench.measure("edge_cut_mm")
        && let Some(thick) = bench.needed("thickness_mm", "an edge cut")
    {
        bench.judge("edge cut", cut.percent_of(thick), Ratio::ZERO, "%");
    }
}
