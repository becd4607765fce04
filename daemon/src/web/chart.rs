//! A drawing of readings against use, with the limit: plain SVG that prints without colour, and says in words what it
//! shows.

use std::fmt::Write;

use policies::trend::Limit;
use policies::wear::Wear;

const WIDTH: f64 = 560.0;
const HEIGHT: f64 = 240.0;
const LEFT: f64 = 56.0;
const BOTTOM: f64 = 36.0;
const TOP: f64 = 12.0;
const RIGHT: f64 = 12.0;

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
pub(super) fn wear(wear: &Wear, title: &str, meter: &str) -> String {
    let limit = wear.limit.map(|limit| match limit {
        Limit::Least(value) | Limit::Most(value) => value.to_f64(),
    });
    let frame = Frame::of(wear, limit);
    let mut svg = format!(
        "<svg class=\"chart\" role=\"img\" viewBox=\"0 0 {WIDTH} {HEIGHT}\"><title>{}</title>",
        askama::filters::escape(title, askama::filters::Html)
            .map(|safe| safe.to_string())
            .unwrap_or_default()
    );
    axes(&mut svg, &frame, meter);
    if let Some(limit) = limit {
        let y = frame.y(limit);
        let _ = write!(
            svg,
            "<line class=\"limit\" x1=\"{LEFT}\" x2=\"{:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">limit {limit:.2}</text>",
            WIDTH - RIGHT,
            WIDTH - RIGHT,
            y - 4.0
        );
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
        askama::filters::escape(meter, askama::filters::Html)
            .map(|safe| safe.to_string())
            .unwrap_or_default()
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
