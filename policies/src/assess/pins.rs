//! Quick-release links, drawbar pins and fairleads: what wears on a pin, and the maker's least sizes.

use super::bench::Bench;
use super::fault::AssessFault;
use super::makers;
use super::ratio::Ratio;
use super::wear::loss;

const PIN: &str = "pin_diameter_mm";
const ROLLER: &str = "roller_diameter_mm";

pub(super) fn judge_link(bench: &mut Bench) -> Result<(), AssessFault> {
    part(bench, "body wear", "body_diameter_mm", "body_wear_percent")?;
    judge_pin(bench)
}

pub(super) fn judge_pin(bench: &mut Bench) -> Result<(), AssessFault> {
    part(bench, "pin wear", PIN, "pin_wear_percent")
}

/// Nobody publishes how far a roller may wear: without the maker's least it cannot be judged.
pub(super) fn judge_fairlead(bench: &mut Bench) -> Result<(), AssessFault> {
    if !makers::judge(bench, ROLLER)? && bench.measure(ROLLER).is_some() {
        let right = format!(
            "{ROLLER} is judged against the maker's least, since no figure is published: give the attribute min_{ROLLER}"
        );
        bench.missing(&format!("min_{ROLLER}"), right);
    }
    judge_pin(bench)
}

/// A part by the maker's least where that is on record, and by its loss where its new size is.
fn part(
    bench: &mut Bench,
    criterion: &str,
    size: &'static str,
    percent: &'static str,
) -> Result<(), AssessFault> {
    let by_maker = makers::judge(bench, size)?;
    if !by_maker || bench.attribute(size).is_some() || bench.measure(size).is_none() {
        loss(bench, criterion, size, percent);
        return Ok(());
    }
    bench.note(format!("{size} when new is not recorded: judged by the maker's least alone"));
    if let Some(lost) = bench.measure(percent) {
        bench.judge(criterion, lost, Ratio::ZERO, "%");
    }
    Ok(())
}
