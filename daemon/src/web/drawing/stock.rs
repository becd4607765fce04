//! Stock of a part over time as a step, the demand to come as a widening band, the lead time as a bracket, and where the
//! two meet.

use jiff::civil::Date;

use super::axis::{Days, Numbers};
use super::{Drawing, Size, Spot, both, odds};

/// What the drawing shows, in pieces.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Stock {
    pub(in super::super) from: Date,
    pub(in super::super) to: Date,
    /// The day on which an order would go out, and the one on which it can be fitted.
    pub(in super::super) lead: (Date, Date),
    /// What lay there, from each day on; the last of it on the day that is judged.
    pub(in super::super) past: Vec<(Date, f64)>,
    /// What will lie there if nothing is used, from each day on.
    pub(in super::super) ahead: Vec<(Date, f64)>,
    /// The same with what is to be ordered.
    pub(in super::super) ordered: Option<f64>,
    /// Enough with 10, 50 and 90 %, by the last day of each month.
    pub(in super::super) band: Vec<(Date, [u64; 3])>,
    /// The last day to which stock is enough, and what is there then.
    pub(in super::super) meets: Option<(Date, f64)>,
    /// The day by which to order.
    pub(in super::super) order_by: Option<Date>,
}

const TOP: f64 = 26.0;
const HEIGHT: f64 = 250.0;
const FLOOR: f64 = 206.0;

/// The drawing, in both widths.
pub(in super::super) fn stock(id: &str, title: &str, stock: &Stock) -> String {
    both(|size| one(id, title, stock, size))
}

fn one(id: &str, title: &str, stock: &Stock, size: Size) -> String {
    let mut drawing = Drawing::new(id, size, HEIGHT, title);
    let days = Days { from: stock.from, to: stock.to, left: 30.0, right: size.width() - 34.0 };
    let most = stock.most().max(1.0);
    let pieces = Numbers { from: 0.0, to: most, start: FLOOR, end: TOP + 8.0 };
    days.draw(&mut drawing, TOP - 8.0, FLOOR);
    drawing.line("axis", (days.left, FLOOR), (days.right, FLOOR));
    for number in [0.0, most] {
        drawing.text("end", (days.left - 6.0, pieces.at(number) + 4.0), &format!("{number:.0}"));
    }
    band(&mut drawing, &days, &pieces, stock);
    steps(&mut drawing, &days, &pieces, stock);
    if let Some((day, level)) = stock.meets.filter(|(day, _)| days.holds(*day)) {
        let spot = (days.x(day), pieces.at(level));
        drawing.line("dashed planned", spot, (spot.0, FLOOR));
        drawing.circle("ready", spot, 4.5);
    }
    let (ordered, usable) = stock.lead;
    odds::bracket(&mut drawing, &days, FLOOR + 22.0, ordered, usable);
    drawing.text("soft", (days.x(ordered) + 4.0, FLOOR + 37.0), "lead time");
    if let Some(by) = stock.order_by.filter(|by| days.holds(*by)) {
        drawing.diamond("hard", (days.x(by), FLOOR + 10.0), 5.0);
    }
    drawing.done()
}

/// From nought on the day of the order to each month's end, the lower edge the 10 % and the upper the 90 %.
fn band(drawing: &mut Drawing, days: &Days, pieces: &Numbers, stock: &Stock) {
    let Some((_, last)) = stock.band.last() else { return };
    let start = (days.x(stock.lead.0), pieces.at(0.0));
    let edge = |at: usize| {
        let own = stock.band.iter().map(move |(day, levels)| (*day, f64_of_level(levels[at])));
        own.map(|(day, level)| (days.x(day), pieces.at(level))).collect::<Vec<Spot>>()
    };
    let mut outline = vec![start];
    outline.extend(edge(2));
    outline.extend(edge(0).into_iter().rev());
    drawing.shape("odds", &outline);
    let middle: Vec<Spot> = std::iter::once(start).chain(edge(1)).collect();
    drawing.run("half", &middle);
    let mut below = FLOOR + 20.0;
    for level in *last {
        let y = (pieces.at(f64_of_level(level)) + 4.0).min(below - 13.0);
        drawing.text("figure level", (days.right + 5.0, y), &level.to_string());
        below = y;
    }
}

fn steps(drawing: &mut Drawing, days: &Days, pieces: &Numbers, stock: &Stock) {
    let run = |steps: &[(Date, f64)], end: Date| {
        let mut spots: Vec<Spot> = Vec::new();
        for (day, level) in steps {
            let x = days.x(*day);
            spots.extend(spots.last().map(|(_, before)| (x, *before)));
            spots.push((x, pieces.at(*level)));
        }
        spots.extend(spots.last().map(|(_, level)| (days.x(end), *level)));
        spots
    };
    let now = stock.ahead.first().map_or(stock.lead.0, |(day, _)| *day);
    let past = run(&stock.past, now);
    if past.len() > 1 {
        drawing.run("step", &past);
    }
    let ahead = run(&stock.ahead, stock.to);
    if ahead.len() > 1 {
        drawing.run("step", &ahead);
    }
    if let Some(more) = stock.ordered {
        let usable = stock.lead.1;
        let level = stock.at(usable);
        let spots = [(usable, level), (usable, level + more), (stock.to, level + more)];
        drawing.run("dashed step", &spots.map(|(day, level)| (days.x(day), pieces.at(level))));
    }
}

fn f64_of_level(level: u64) -> f64 {
    f64::from(u32::try_from(level).unwrap_or(u32::MAX))
}

impl Stock {
    /// What will lie there on a day if nothing is used.
    pub(in super::super) fn at(&self, day: Date) -> f64 {
        self.ahead.iter().rev().find(|(from, _)| *from <= day).map_or(0.0, |(_, level)| *level)
    }

    /// The most that is drawn.
    fn most(&self) -> f64 {
        let stock = self.past.iter().chain(&self.ahead).map(|(_, level)| *level);
        let band = self.band.iter().map(|(_, levels)| f64_of_level(levels[2]));
        let ordered = self.ordered.map(|more| self.at(self.to) + more);
        stock.chain(band).chain(ordered).fold(0.0, f64::max).ceil()
    }
}
