//! An item's life as one line from manufacture to the day it is read, with its wear below on the same axis.

use jiff::civil::Date;

use super::axis::{Days, Numbers, letters};
use super::bars::f64_of;
use super::{Drawing, Spot, both, cut};

/// A stay on a host, or the time between two.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Stay {
    pub(in super::super) from: Date,
    pub(in super::super) to: Date,
    /// None: fitted to nothing.
    pub(in super::super) name: Option<String>,
    /// What it counted there.
    pub(in super::super) count: String,
}

/// Work that was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in super::super) enum Tick {
    Check,
    Examination,
    Failed,
}

/// Something that happened, numbered as the list tells it.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Event {
    pub(in super::super) on: Date,
    pub(in super::super) number: usize,
    pub(in super::super) grave: bool,
}

/// A reading over the same days.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Reading {
    pub(in super::super) name: String,
    pub(in super::super) unit: String,
    pub(in super::super) points: Vec<(Date, f64)>,
    pub(in super::super) limit: Option<f64>,
    /// The trend at each point, and how far four of five readings stray from it.
    pub(in super::super) trend: Vec<(Date, f64, f64)>,
}

/// The whole of it.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Life {
    pub(in super::super) from: Date,
    pub(in super::super) to: Date,
    pub(in super::super) stays: Vec<Stay>,
    pub(in super::super) ticks: Vec<(Date, Tick)>,
    pub(in super::super) events: Vec<Event>,
    pub(in super::super) loans: Vec<(Date, Date)>,
    pub(in super::super) readings: Vec<Reading>,
}

const HEAD: f64 = 22.0;
const PLACES: f64 = 44.0;
const LANE: f64 = 24.0;
const WEAR: f64 = 120.0;

/// The drawing, in both widths.
pub(in super::super) fn life(title: &str, life: &Life) -> String {
    both(|size| {
        let lanes = LANE * f64_of(life.lanes()) + 4.0;
        let foot = HEAD + PLACES + lanes;
        let height = foot + WEAR * f64_of(life.readings.len()) + 4.0;
        let mut drawing = Drawing::new("life", size, height, title);
        let left = if size.is_narrow() { 50.0 } else { 60.0 };
        let axis = Days { from: life.from, to: life.to, left, right: size.width() - 10.0 };
        axis.draw(&mut drawing, HEAD - 4.0, height);
        places(&mut drawing, &axis, life);
        let mut top = HEAD + PLACES;
        top = loans(&mut drawing, &axis, top, life);
        top = ticks(&mut drawing, &axis, top, life);
        events(&mut drawing, &axis, top, life);
        for (at, reading) in life.readings.iter().enumerate() {
            wear(&mut drawing, &axis, foot + WEAR * f64_of(at), reading);
        }
        drawing.done()
    })
}

impl Life {
    fn lanes(&self) -> usize {
        [self.loans.is_empty(), self.ticks.is_empty(), self.events.is_empty()]
            .into_iter()
            .filter(|empty| !empty)
            .count()
    }
}

fn places(drawing: &mut Drawing, axis: &Days, life: &Life) {
    let (roof, foot) = (HEAD + 2.0, HEAD + 20.0);
    let middle = f64::midpoint(roof, foot);
    drawing.line("dashed axis", (axis.left, middle), (axis.right, middle));
    drawing.text("end soft", (axis.left - 6.0, middle + 4.0), "places");
    for stay in &life.stays {
        let Some(name) = &stay.name else { continue };
        let (left, right) = (axis.x(stay.from), axis.x(stay.to).max(axis.x(stay.from) + 2.0));
        drawing.block("stay", (left, roof), (right, foot));
        let most = letters(right - left - 6.0);
        if most >= 3 {
            drawing.text("name", (left + 4.0, middle + 4.0), &cut(name, most));
        }
        if letters(right - left + 8.0) >= stay.count.chars().count() {
            drawing.text("figure", (left + 4.0, foot + 14.0), &stay.count);
        }
    }
}

fn loans(drawing: &mut Drawing, axis: &Days, top: f64, life: &Life) -> f64 {
    if life.loans.is_empty() {
        return top;
    }
    let y = top + LANE / 2.0;
    drawing.text("end soft", (axis.left - 6.0, y + 4.0), "loans");
    for (from, to) in &life.loans {
        let (left, right) = (axis.x(*from), axis.x(*to));
        drawing.run("bracket", &[(left, y - 5.0), (left, y), (right, y), (right, y - 5.0)]);
    }
    top + LANE
}

fn ticks(drawing: &mut Drawing, axis: &Days, top: f64, life: &Life) -> f64 {
    if life.ticks.is_empty() {
        return top;
    }
    let y = top + LANE / 2.0;
    drawing.text("end soft", (axis.left - 6.0, y + 4.0), "work");
    let mut drawn: Vec<(Date, Tick)> = life.ticks.clone();
    drawn.sort_by_key(|(on, tick)| (*tick == Tick::Failed, *on));
    drawn.dedup();
    for (on, tick) in drawn {
        let x = axis.x(on);
        match tick {
            Tick::Check => drawing.line("hairline", (x, y - 3.0), (x, y + 3.0)),
            Tick::Examination => drawing.line("planned", (x, y - 8.0), (x, y + 8.0)),
            Tick::Failed => drawing.cross("off", (x, y), 5.0),
        }
    }
    top + LANE
}

fn events(drawing: &mut Drawing, axis: &Days, top: f64, life: &Life) {
    if life.events.is_empty() {
        return;
    }
    let y = top + LANE / 2.0;
    drawing.text("end soft", (axis.left - 6.0, y + 4.0), "events");
    let mut last = f64::MIN;
    for event in &life.events {
        let x = axis.x(event.on);
        drawing.diamond(if event.grave { "hard" } else { "limits" }, (x, y - 2.0), 5.0);
        if x - last > 13.0 {
            drawing.text("middle", (x, y + 14.0), &event.number.to_string());
            last = x;
        }
    }
}

fn wear(drawing: &mut Drawing, axis: &Days, top: f64, reading: &Reading) {
    let (roof, floor) = (top + 22.0, top + WEAR - 10.0);
    let values = reading.points.iter().map(|(_, value)| *value).chain(reading.limit);
    let (low, high) =
        values.fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)));
    let clear = ((high - low) * 0.1).max(0.01);
    let scale = Numbers { from: low - clear, to: high + clear, start: floor, end: roof };
    drawing.text("name", (axis.left, top + 12.0), &reading.name);
    drawing.run("axis", &[(axis.left, roof), (axis.left, floor), (axis.right, floor)]);
    for value in [low, high] {
        drawing.text("end soft", (axis.left - 5.0, scale.at(value) + 4.0), &format!("{value:.2}"));
    }
    let edge = |side: f64| {
        move |(on, at, margin): &(Date, f64, f64)| -> Spot { (axis.x(*on), scale.at(at + side * margin)) }
    };
    if reading.trend.len() > 1 {
        let above = reading.trend.iter().map(edge(1.0));
        let below = reading.trend.iter().rev().map(edge(-1.0));
        drawing.shape("margin", &above.chain(below).collect::<Vec<Spot>>());
        drawing.run("reach", &reading.trend.iter().map(edge(0.0)).collect::<Vec<Spot>>());
    }
    if let Some(limit) = reading.limit {
        let y = scale.at(limit);
        drawing.line("limit", (axis.left, y), (axis.right, y));
        drawing.text("end", (axis.right, y - 4.0), &format!("limit {limit:.2} {}", reading.unit));
    }
    for (on, value) in &reading.points {
        drawing.circle("ready", (axis.x(*on), scale.at(*value)), 4.0);
    }
}
