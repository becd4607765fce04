//! Marks of a date to come: the odds as a tapering band, the window as a bracket, the hard date as a bar.

use jiff::civil::Date;
use policies::forecast::Dates;

use super::axis::{Days, days};
use super::{Drawing, Spot};

/// What is left of certainty at each of the three dates.
const LEFT: [f64; 3] = [0.9, 0.5, 0.1];

/// As high as the chance that the limit is not yet reached: nine in ten at the first date, one in ten at the last.
pub(in super::super) fn band(drawing: &mut Drawing, axis: &Days, (middle, height): Spot, dates: Dates) {
    let known: Vec<(Date, f64)> =
        dates.into_iter().zip(LEFT).filter_map(|(date, left)| Some((date?, left))).collect();
    let Some(first) = known.first().filter(|(date, _)| axis.holds(*date)) else { return };
    let mut edge = vec![*first];
    for pair in known.windows(2) {
        let [from, to] = [pair[0], pair[1]];
        if to.0 <= axis.to {
            edge.push(to);
        } else if from.0 <= axis.to {
            let share = days(from.0, axis.to) / days(from.0, to.0).max(1.0);
            edge.push((axis.to, from.1 + share * (to.1 - from.1)));
        }
    }
    if known.len() < 3 && known.iter().all(|(date, _)| *date <= axis.to) {
        edge.push((axis.to, known.last().map_or(0.1, |(_, left)| *left)));
    }
    let half = |left: f64| height / 2.0 * left;
    let above = edge.iter().map(|(date, left)| (axis.x(*date), middle - half(*left)));
    let below = edge.iter().rev().map(|(date, left)| (axis.x(*date), middle + half(*left)));
    let outline: Vec<Spot> = above.chain(below).collect();
    drawing.shape("odds", &outline);
    if let Some(date) = dates[1].filter(|date| axis.holds(*date)) {
        let x = axis.x(date);
        drawing.line("half", (x, middle - height / 2.0), (x, middle + height / 2.0));
    }
}

/// From the first day on which work counts to the last on which it is allowed.
pub(in super::super) fn bracket(drawing: &mut Drawing, axis: &Days, y: f64, from: Date, to: Date) {
    if to < axis.from || from > axis.to || from >= to {
        return;
    }
    let (left, right) = (axis.x(from), axis.x(to));
    drawing.run("bracket", &[(left, y - 4.0), (left, y), (right, y), (right, y - 4.0)]);
}

/// The last day.
pub(in super::super) fn bar(drawing: &mut Drawing, axis: &Days, (middle, height): Spot, day: Date) {
    if axis.holds(day) {
        let (x, half) = (axis.x(day), height / 2.0);
        drawing.block("hard", (x - 1.5, middle - half), (x + 1.5, middle + half));
    }
}

/// A day that is planned by.
pub(in super::super) fn planned(drawing: &mut Drawing, axis: &Days, (middle, height): Spot, day: Date) {
    if axis.holds(day) {
        let x = axis.x(day);
        drawing.line("planned", (x, middle - height / 2.0), (x, middle + height / 2.0));
    }
}
