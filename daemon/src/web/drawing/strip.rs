//! Dates to come, station by station or rule by rule, on one strip of time.

use jiff::civil::Date;
use policies::forecast::Dates;

use super::axis::{Days, letters};
use super::bars::f64_of;
use super::{Drawing, Size, both, cut, odds};

/// A date with what is round it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(in super::super) struct Dated {
    pub(in super::super) opens: Option<Date>,
    pub(in super::super) planned: Option<Date>,
    pub(in super::super) hard: Option<Date>,
    /// A thin stroke: a station's own check.
    pub(in super::super) slight: bool,
}

/// A station that is off, to the day it can be back, where that is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(in super::super) struct Off {
    pub(in super::super) back: Option<Date>,
}

/// One row of the strip.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in super::super) struct Row {
    pub(in super::super) name: String,
    pub(in super::super) dates: Vec<Dated>,
    pub(in super::super) odds: Vec<Dates>,
    /// Off from the first day on.
    pub(in super::super) off: Option<Off>,
    /// Hatched stretches.
    pub(in super::super) clashes: Vec<(Date, Date)>,
}

/// What a strip spans.
#[derive(Clone, Copy, Debug)]
pub(in super::super) struct Reach {
    pub(in super::super) from: Date,
    pub(in super::super) to: Date,
    /// Room for names beside the rows; on a phone they stand above them.
    pub(in super::super) names: f64,
}

impl Reach {
    const fn left(&self, size: Size) -> f64 {
        match size {
            Size::Wide => self.names,
            Size::Narrow => 2.0,
        }
    }
}

const HEAD: f64 = 20.0;
const LANE: f64 = 16.0;

/// A row with its bands in lanes in which none lies on another.
struct Laid<'r> {
    row: &'r Row,
    lanes: Vec<Vec<Dates>>,
}

impl<'r> Laid<'r> {
    fn of(row: &'r Row, reach: Reach) -> Laid<'r> {
        let mut bands: Vec<Dates> = row.odds.iter().copied().filter(|dates| dates[0].is_some()).collect();
        bands.sort_unstable();
        bands.dedup();
        let mut lanes: Vec<Vec<Dates>> = Vec::new();
        for band in bands {
            let free = lanes.iter().position(|lane| {
                let last = lane.last().map(|last| last[2].or(last[1]).unwrap_or(reach.to));
                last.zip(band[0]).is_none_or(|(last, first)| last < first)
            });
            match free {
                Some(lane) => lanes[lane].push(band),
                None => lanes.push(vec![band]),
            }
        }
        Laid { row, lanes }
    }

    fn height(&self, size: Size) -> f64 {
        let name = if size.is_narrow() { 17.0 } else { 0.0 };
        name + 8.0 + LANE * (1.0 + f64_of(self.lanes.len()))
    }
}

/// The strip, in both widths.
pub(in super::super) fn strip(id: &str, title: &str, reach: Reach, rows: &[Row]) -> String {
    let laid: Vec<Laid> = rows.iter().map(|row| Laid::of(row, reach)).collect();
    both(|size| {
        let height = HEAD + laid.iter().map(|row| row.height(size)).sum::<f64>() + 4.0;
        let mut drawing = Drawing::new(id, size, height, title);
        let axis = Days { from: reach.from, to: reach.to, left: reach.left(size), right: size.width() - 4.0 };
        axis.draw(&mut drawing, HEAD - 4.0, height);
        let mut top = HEAD;
        for row in &laid {
            one(&mut drawing, &axis, size, top, row);
            top += row.height(size);
        }
        drawing.done()
    })
}

fn one(drawing: &mut Drawing, axis: &Days, size: Size, top: f64, laid: &Laid) {
    let row = laid.row;
    let foot = top + laid.height(size);
    drawing.line("rule", (0.0, top), (size.width(), top));
    let first = if size.is_narrow() { top + 17.0 } else { top };
    for (from, to) in &row.clashes {
        let (left, right) = (axis.x(*from) - 4.0, axis.x(*to) + 4.0);
        drawing.hatched_block((left, first + 2.0), (right, foot - 2.0));
    }
    if size.is_narrow() {
        drawing.text("name", (0.0, top + 14.0), &cut(&row.name, letters(size.width())));
    } else {
        drawing.text("name", (0.0, top + 17.0), &cut(&row.name, letters(axis.left - 6.0)));
    }
    let middle = first + 4.0 + LANE / 2.0;
    if let Some(Off { back }) = row.off {
        let end = axis.x(back.unwrap_or(axis.from));
        drawing.block("hard", (axis.left, middle - 5.0), (end.max(axis.left + 6.0), middle + 5.0));
        if back.is_none() {
            drawing.line("dashed off", (axis.left, middle), (axis.left + 60.0, middle));
        }
    }
    for dated in &row.dates {
        date(drawing, axis, middle, *dated);
    }
    for (at, lane) in laid.lanes.iter().enumerate() {
        let middle = middle + LANE * f64_of(at + 1);
        for dates in lane {
            odds::band(drawing, axis, (middle, LANE - 3.0), *dates);
        }
    }
}

fn date(drawing: &mut Drawing, axis: &Days, middle: f64, dated: Dated) {
    if dated.slight {
        if let Some(day) = dated.hard.or(dated.planned) {
            odds::planned(drawing, axis, (middle, 6.0), day);
        }
        return;
    }
    if let (Some(opens), Some(hard)) = (dated.opens, dated.hard) {
        odds::bracket(drawing, axis, middle + 7.0, opens, hard);
    }
    if let Some(day) = dated.planned.filter(|day| Some(*day) != dated.hard) {
        odds::planned(drawing, axis, (middle, 12.0), day);
    }
    if let Some(day) = dated.hard {
        odds::bar(drawing, axis, (middle, 14.0), day);
    }
}
