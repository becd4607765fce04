//! Axes: days along a drawing, and numbers.

use jiff::civil::Date;

use super::Drawing;

/// Least room for a label, in units of the drawing.
const ROOM: f64 = 38.0;
/// Months from label to label, the finest first.
const STEPS: [i16; 8] = [1, 3, 6, 12, 24, 60, 120, 240];

/// Days from left to right.
#[derive(Clone, Copy, Debug)]
pub(in super::super) struct Days {
    pub(in super::super) from: Date,
    pub(in super::super) to: Date,
    pub(in super::super) left: f64,
    pub(in super::super) right: f64,
}

impl Days {
    /// Where a day lies; what is beyond an end lies at it.
    pub(in super::super) fn x(&self, day: Date) -> f64 {
        let whole = days(self.from, self.to).max(1.0);
        self.left + (days(self.from, day) / whole).clamp(0.0, 1.0) * (self.right - self.left)
    }

    pub(in super::super) fn holds(&self, day: Date) -> bool {
        self.from <= day && day <= self.to
    }

    /// First days of months that have room for their names, each with its name.
    fn marks(&self) -> Vec<(Date, String)> {
        let per_month = (self.right - self.left) / (days(self.from, self.to) / 30.44).max(1.0);
        let step = STEPS.into_iter().find(|step| f64::from(*step) * per_month >= ROOM).unwrap_or(480);
        let mut marks: Vec<(Date, String)> = Vec::new();
        let mut month = first_after(self.from, step);
        while let Some(day) = month.filter(|day| *day <= self.to) {
            if self.x(day) <= self.right - ROOM / 2.0 {
                let new_year = marks.last().is_none_or(|(last, _)| last.year() != day.year());
                let name = if step >= 12 || (day.month() == 1 && new_year) {
                    day.strftime("%Y").to_string()
                } else {
                    day.strftime("%b").to_string()
                };
                marks.push((day, name));
            }
            month = day.checked_add(jiff::Span::new().months(step)).ok();
        }
        marks
    }

    /// Names above, a hair down to the floor under each.
    pub(in super::super) fn draw(&self, drawing: &mut Drawing, top: f64, floor: f64) {
        for (day, name) in self.marks() {
            let x = self.x(day);
            drawing.line("hair", (x, top), (x, floor));
            drawing.text("soft", (x + 3.0, top - 4.0), &name);
        }
    }
}

/// The first day of the next month, or of the next year, that a step of months falls on.
fn first_after(from: Date, step: i16) -> Option<Date> {
    let first = from.first_of_month();
    if step >= 12 {
        return first.first_of_year().checked_add(jiff::Span::new().years(1)).ok();
    }
    let months = i16::from(first.month()) - 1;
    let next = step - months % step;
    first.checked_add(jiff::Span::new().months(next)).ok()
}

/// Days between two.
pub(in super::super) fn days(from: Date, to: Date) -> f64 {
    f64::from((to - from).get_days())
}

/// Numbers, from one end to the other.
#[derive(Clone, Copy, Debug)]
pub(in super::super) struct Numbers {
    pub(in super::super) from: f64,
    pub(in super::super) to: f64,
    /// Where the lesser lies.
    pub(in super::super) start: f64,
    /// Where the greater lies.
    pub(in super::super) end: f64,
}

impl Numbers {
    pub(in super::super) fn at(&self, number: f64) -> f64 {
        let whole = if (self.to - self.from).abs() < f64::EPSILON { 1.0 } else { self.to - self.from };
        self.start + ((number - self.from) / whole).clamp(0.0, 1.0) * (self.end - self.start)
    }
}

/// Letters that have room in so many units.
pub(in super::super) fn letters(room: f64) -> usize {
    let mut count = 0;
    let mut used = 6.6;
    while used <= room {
        count += 1;
        used += 6.6;
    }
    count
}
