//! A drum laid out to scale: what was cut from it, what of the rest would be cut next, and what then stays.

use super::axis::{Numbers, letters};
use super::{Drawing, Size, both, cut};

/// What a length of the wire is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in super::super) enum Sort {
    /// Cut off, as gear of its own.
    Gear,
    /// Ends, saw and scrap.
    Lost,
    /// Proposed to be cut.
    Proposed,
    /// On the drum.
    Left,
}

/// A length along the wire.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Length {
    pub(in super::super) metres: f64,
    pub(in super::super) name: String,
    pub(in super::super) sort: Sort,
}

const TOP: f64 = 22.0;
const FOOT: f64 = 58.0;

/// The drawing, in both widths.
pub(in super::super) fn drum(id: &str, title: &str, whole: f64, lengths: &[Length]) -> String {
    both(|size| one(id, title, whole, lengths, size))
}

fn one(id: &str, title: &str, whole: f64, lengths: &[Length], size: Size) -> String {
    let mut drawing = Drawing::new(id, size, 84.0, title);
    let axis = Numbers { from: 0.0, to: whole.max(0.1), start: 2.0, end: size.width() - 2.0 };
    let mut from = 0.0;
    for length in lengths.iter().filter(|length| length.metres > 0.0) {
        let (left, right) = (axis.at(from), axis.at(from + length.metres));
        match length.sort {
            Sort::Gear => drawing.block("stay", (left, TOP), (right, FOOT)),
            Sort::Lost => drawing.block("bar", (left, TOP + 12.0), (right, FOOT - 12.0)),
            Sort::Proposed => drawing.hatched_block((left, TOP), (right, FOOT)),
            Sort::Left => drawing.block("first", (left, TOP), (right, FOOT)),
        }
        if letters(right - left - 4.0) >= length.name.chars().count().min(4) && length.sort != Sort::Lost {
            let name = cut(&length.name, letters(right - left - 4.0));
            drawing.text("name", (left + 3.0, TOP - 6.0), &name);
        }
        from += length.metres;
    }
    for (at, class) in [(0.0, "soft"), (whole, "soft end")] {
        drawing.text(class, (axis.at(at), FOOT + 18.0), &format!("{at:.1} m"));
    }
    drawing.done()
}
