//! A part's own wear: a size now against the size when new.

use super::bench::Bench;
use super::fault::AssessFault;
use super::ratio::Ratio;

/// A worn part below this share of its new size, in percent, or above the other, is a slip of the pen.
pub(super) const WORN: (i128, i128) = (60, 110);
/// The same for an opening that grows.
const OPENED: (i128, i128) = (90, 160);

/// A loss in percent of the new size, gauged or given as a percentage.
pub(super) fn loss(bench: &mut Bench, criterion: &str, size: &'static str, percent: &'static str) {
    if let Some((new, now)) = sizes(bench, size, percent, WORN) {
        let lost = new.minus(now).percent_of(new);
        bench.judge(criterion, lost, Ratio::ZERO, "%");
    } else if let Some(lost) = bench.measure(percent) {
        bench.judge(criterion, lost, Ratio::ZERO, "%");
    }
}

/// A growth of an opening; where the regime bounds it in millimetres too, that as well.
pub(super) fn growth(bench: &mut Bench, criterion: &str, size: &'static str, percent: &'static str) {
    if let Some((new, now)) = sizes(bench, size, percent, OPENED) {
        let grown = now.minus(new);
        bench.judge(criterion, grown.percent_of(new), Ratio::ZERO, "%");
        bench.judge(&format!("{criterion} in mm"), grown, Ratio::ZERO, "mm");
    } else if let Some(grown) = bench.measure(percent) {
        bench.judge(criterion, grown, Ratio::ZERO, "%");
    }
}

fn sizes(
    bench: &mut Bench,
    size: &'static str,
    percent: &'static str,
    (from, to): (i128, i128),
) -> Option<(Ratio, Ratio)> {
    let now = bench.measure(size)?;
    if bench.measure(percent).is_some() {
        let what = format!("says the same as {percent}; give one of them");
        bench.fault(AssessFault::Twice { name: size.to_owned(), what });
    }
    let new = bench.needed(size, "the reading")?;
    bench.size(size, new, from, to).map(|_| (new, now))
}
