//! Numbers as bars, one under another, each with its name and its figure.

use super::axis::{Numbers, letters};
use super::{Drawing, Size, cut};

const ROW: f64 = 22.0;

/// One bar.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Bar {
    pub(in super::super) name: String,
    pub(in super::super) value: f64,
    /// As it is told.
    pub(in super::super) figure: String,
    /// Told apart by hatching.
    pub(in super::super) hatched: bool,
}

/// The bars; on a phone names stand above them.
pub(in super::super) fn bars(id: &str, size: Size, title: &str, bars: &[Bar]) -> String {
    let row = if size.is_narrow() { ROW * 1.7 } else { ROW };
    let left = if size.is_narrow() { 2.0 } else { 330.0 };
    let mut drawing = Drawing::new(id, size, row * f64_of(bars.len()) + 6.0, title);
    let most = bars.iter().map(|bar| bar.value).fold(0.0, f64::max);
    let axis = Numbers { from: 0.0, to: most.max(1.0), start: left, end: size.width() - 60.0 };
    for (at, bar) in bars.iter().enumerate() {
        let top = row * f64_of(at) + 4.0;
        let foot = top + row - 6.0;
        let roof = foot - 12.0;
        if size.is_narrow() {
            drawing.text("soft", (left, roof - 4.0), &cut(&bar.name, letters(size.width())));
        } else {
            drawing.text("end", (left - 8.0, foot - 1.5), &cut(&bar.name, letters(left - 10.0)));
        }
        let end = axis.at(bar.value).max(left + 1.0);
        if bar.hatched {
            drawing.hatched_block((left, roof), (end, foot));
        } else {
            drawing.block("bar", (left, roof), (end, foot));
        }
        drawing.text("figure", (end + 5.0, foot - 1.5), &bar.figure);
    }
    drawing.done()
}

/// A small count as a number to draw with.
pub(in super::super) fn f64_of(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}
