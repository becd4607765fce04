//! A drawing of readings against use, with the limit: plain SVG that prints without colour, and says in words what it
//! shows.

use std::fmt::Write;

use policies::amount::Amount;
use policies::trend::{Limit, Trend};
use policies::wear::Wear;

use super::escaped;

const WIDTH: f64 = 560.0;
const HEIGHT: f64 = 240.0;
const LEFT: f64 = 56.0;
const BOTTOM: f64 = 36.0;
const TOP: f64 = 12.0;
const RIGHT: f64 = 12.0;
/// Further readings lie within the band with 10 % beyond it on either side.
const BAND: f64 = 0.90;
/// Straight pieces of each edge of the band.
const PIECES: u32 = 24;
/// How much wider the drawing may become for the use of the 90 % date.
const ROOM: f64 = 1.5;

/// What the axes span.
struct Frame {
    uses: (f64, f64),
    readings: (f64, f64),
}

impl Frame {
    fn of(wear: &Wear, limit: Option<f64>) -> Frame {
        let used = wear.points.iter().map(|(_, point)| point.used.to_f64());
        let read = wear.points.iter().map(|(_, point)| point.reading.to_f64());
        let crossing = wear.limit.and_then(|limit| wear.trend.ok()?.bound_crossing(limit));
        let most = used.clone().chain([wear.used.to_f64()]).chain(crossing).fold(f64::MIN, f64::max);
        let least = used.fold(f64::MAX, f64::min);
        let late = wear.odds.as_ref().ok().and_then(|odds| odds.uses[2]).map(Amount::to_f64);
        let most = late.map_or(most, |late| late.clamp(most, least + ROOM * (most - least)));
        let low = read.clone().chain(limit).fold(f64::MAX, f64::min);
        let high = read.chain(limit).fold(f64::MIN, f64::max);
        let room = ((high - low) * 0.08).max(0.01);
        Frame { uses: (least, most.max(least + 1.0)), readings: (low - room, high + room) }
    }

    fn x(&self, used: f64) -> f64 {
        LEFT + (used - self.uses.0) / (self.uses.1 - self.uses.0) * (WIDTH - LEFT - RIGHT)
    }

    fn y(&self, reading: f64) -> f64 {
        let share = (reading - self.readings.0) / (self.readings.1 - self.readings.0);
        HEIGHT - BOTTOM - share * (HEIGHT - BOTTOM - TOP)
    }
}

/// The drawing; `title` is what a screen reader says first, `meter` what the use is counted in.
pub(in super::super) fn wear(id: &str, wear: &Wear, title: &str, meter: &str) -> String {
    let limit = wear.limit.map(|limit| match limit {
        Limit::Least(value) | Limit::Most(value) => value.to_f64(),
    });
    let frame = Frame::of(wear, limit);
    let mut svg = format!(
        "<svg class=\"chart\" role=\"img\" aria-labelledby=\"{id}\" viewBox=\"0 0 {WIDTH} {HEIGHT}\"><title id=\"{id}\">{}</title>",
        escaped(title)
    );
    axes(&mut svg, &frame, meter);
    if let (Ok(trend), Ok(_)) = (&wear.trend, &wear.odds) {
        band(&mut svg, &frame, wear, trend);
    }
    if let Some(limit) = limit {
        let y = frame.y(limit);
        let _ = write!(
            svg,
            "<line class=\"limit\" x1=\"{LEFT}\" x2=\"{:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\">limit {limit:.2}</text>",
            WIDTH - RIGHT,
            LEFT + 6.0,
            y - 4.0
        );
        crossing(&mut svg, &frame, wear, limit);
    }
    if let Ok(trend) = wear.trend {
        let (from, to) = frame.uses;
        let _ = write!(
            svg,
            "<line class=\"trend\" x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\"/>",
            frame.x(from),
            frame.y(trend.at(from)),
            frame.x(to),
            frame.y(trend.at(to))
        );
    }
    for (_, point) in &wear.points {
        let (x, y) = (frame.x(point.used.to_f64()), frame.y(point.reading.to_f64()));
        let _ = write!(svg, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.5\"/>");
    }
    svg + "</svg>"
}

/// Where further readings would lie, from the latest on.
fn band(svg: &mut String, frame: &Frame, wear: &Wear, trend: &Trend) {
    let from = wear.points.last().map_or(frame.uses.0, |(_, point)| point.used.to_f64());
    let step = (frame.uses.1 - from) / f64::from(PIECES);
    let edge = |side: f64, piece: u32| {
        let used = from + step * f64::from(piece);
        let y = frame.y(trend.at(used) + side * trend.margin(used, BAND)).clamp(TOP, HEIGHT - BOTTOM);
        format!("{:.1},{y:.1} ", frame.x(used))
    };
    let there = (0..=PIECES).map(|piece| edge(1.0, piece));
    let back = (0..=PIECES).rev().map(|piece| edge(-1.0, piece));
    let points: String = there.chain(back).collect();
    let _ = write!(svg, "<polygon class=\"band\" points=\"{}\"/>", points.trim_end());
}

/// On the limit, the use that brings a reading beyond it: with 10 to 90 %, and a stroke at 50 %.
fn crossing(svg: &mut String, frame: &Frame, wear: &Wear, limit: f64) {
    let uses = wear.odds.as_ref().map_or([None; 3], |odds| odds.uses).map(|used| used.map(Amount::to_f64));
    let shown = |used: &f64| *used <= frame.uses.1;
    let y = frame.y(limit);
    if let Some(soon) = uses[0].filter(shown) {
        let late = uses[2].unwrap_or(frame.uses.1).min(frame.uses.1);
        let _ =
            write!(svg, "<path class=\"crossing\" d=\"M{:.1} {y:.1}H{:.1}\"/>", frame.x(soon), frame.x(late));
    }
    if let Some(half) = uses[1].filter(shown) {
        let (x, top, foot) = (frame.x(half), y - 8.0, y + 8.0);
        let _ = write!(svg, "<path class=\"half\" d=\"M{x:.1} {top:.1}V{foot:.1}\"/>");
    }
}

fn axes(svg: &mut String, frame: &Frame, meter: &str) {
    let (floor, right) = (HEIGHT - BOTTOM, WIDTH - RIGHT);
    let _ = write!(
        svg,
        "<path class=\"axis\" d=\"M{LEFT} {TOP}V{floor}H{right}\"/>\
         <text x=\"{LEFT}\" y=\"{:.1}\">{:.0}</text>\
         <text x=\"{right}\" y=\"{:.1}\" text-anchor=\"end\">{:.0} {}</text>",
        floor + 16.0,
        frame.uses.0,
        floor + 16.0,
        frame.uses.1,
        escaped(meter)
    );
    for share in [0.0, 0.5, 1.0] {
        let reading = frame.readings.0 + share * (frame.readings.1 - frame.readings.0);
        let _ = write!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{reading:.2}</text>",
            LEFT - 6.0,
            frame.y(reading) + 4.0
        );
    }
}
