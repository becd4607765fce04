//! The plan of spares as it is told: the contract's columns, and beside them what a page draws.

use policies::amount::Amount;
use policies::facts::Fleet;
use policies::load::PolicySet;
use policies::stores::plan::{Line, Unnamed};
use serde::Serialize;
use serde_json::{Number, Value};

use super::kept::{Kept, Planned, Question, STORES};
use super::orders::{self, OrderLine};
use super::words;
use crate::records::Part;

/// A part and a place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SparesLine {
    /// Part.
    pub part: String,
    /// `stores` for the pool, else the slug of an isolated station.
    pub place: String,
    /// What is there, in the part's unit.
    pub on_hand: Value,
    /// What of it may be issued and is not spoken for.
    pub free: Value,
    /// Expected demand until an order of today can be fitted.
    pub demand_mean: f64,
    /// What is enough for it with the service asked for.
    pub stock_for_level: Value,
    /// What to order today.
    pub order: Value,
    /// By when to order, or by when it had to be; none where nothing is needed in the time looked at.
    pub order_by: Option<String>,
    /// Station-days lost on average by ordering today and no earlier.
    pub days_lost: f64,
    /// Why, a line each.
    pub reasons: Vec<String>,
    /// The place in words.
    #[serde(skip)]
    pub at: String,
    /// The part as it is recorded.
    #[serde(skip)]
    pub of: Part,
    /// The plan behind it.
    #[serde(skip)]
    pub plan: Line,
}

/// The plan in lines: what is to be ordered first, the earliest order-by day first; then by name and place.
pub fn lines(set: &PolicySet, fleet: &Fleet, kept: &Kept, asked: &Question) -> Vec<SparesLine> {
    let planned = kept.plan(set, fleet, asked);
    let day = asked.as_of.day_in(&set.service.home_zone);
    of_plan(set, fleet, &orders::lines(set, kept, (day, planned.ordered)), &planned)
}

/// The same, and a line for each kind that no part is named for.
pub fn letter_of(set: &PolicySet, fleet: &Fleet, kept: &Kept, asked: &Question) -> Vec<String> {
    let planned = kept.plan(set, fleet, asked);
    let day = asked.as_of.day_in(&set.service.home_zone);
    let lines = of_plan(set, fleet, &orders::lines(set, kept, (day, planned.ordered)), &planned);
    let mut told = letter(&lines);
    told.extend(without_part(set, fleet, &planned));
    told
}

/// `no part is named for heaving line: 3 to renew, first HL-01 by 12 Oct 2026`.
pub fn without_part(set: &PolicySet, fleet: &Fleet, planned: &Planned) -> Vec<String> {
    let line = |own: &Unnamed| {
        let (kind, count) = (&set.kinds.kind(own.kind).name, own.items.len());
        let first = own
            .items
            .first()
            .map(|(item, day)| format!(", first {} by {}", fleet.item(*item).tag, words::day_text(*day)));
        format!("no part is named for {kind}: {count} to renew{}", first.unwrap_or_default())
    };
    planned.unnamed.iter().map(line).collect()
}

/// The same of a plan that is made already.
pub fn of_plan(set: &PolicySet, fleet: &Fleet, orders: &[OrderLine], planned: &Planned) -> Vec<SparesLine> {
    let speaker = words::Speaker { set, fleet, orders, planned };
    let mut lines: Vec<SparesLine> = planned.lines.iter().map(|line| told(&speaker, line)).collect();
    lines.sort_by(|a, b| {
        let key = |line: &SparesLine| {
            (!line.plan.order.is_positive(), line.plan.order_by.is_none(), line.plan.order_by)
        };
        (key(a), &a.part, &a.place).cmp(&(key(b), &b.part, &b.place))
    });
    lines
}

fn told(speaker: &words::Speaker, line: &Line) -> SparesLine {
    let of = speaker.planned.parts[line.part].clone();
    SparesLine {
        part: of.key.clone(),
        place: speaker.place(line),
        at: speaker.station(line.place),
        on_hand: number(line.on_hand),
        free: number(line.free),
        demand_mean: rounded(line.demand_mean(), 100.0),
        stock_for_level: number(line.stock_for_level),
        order: number(line.order),
        order_by: line.order_by.map(|day| day.to_string()),
        days_lost: rounded(line.days_lost, 10.0),
        reasons: speaker.reasons(line),
        of,
        plan: line.clone(),
    }
}

impl SparesLine {
    /// Whether it is the pool's.
    pub fn is_pool(&self) -> bool {
        self.place == STORES
    }
}

/// The plan as a letter: parts to be ordered with every reason, those that will be in a line each, and what nothing asks
/// for not at all.
pub fn letter(lines: &[SparesLine]) -> Vec<String> {
    let mut told = Vec::new();
    for line in lines {
        if line.plan.order.is_positive() {
            told.push(line.first_words());
            told.extend(line.reasons.iter().map(|reason| format!("- {reason}")));
        } else if line.plan.months.last().is_some_and(|month| month.mean >= 0.5) {
            told.push(line.first_words());
        }
    }
    told
}

impl SparesLine {
    /// `Winch wire 22 mm … (WW-22): on hand 1 (W-0502), demand 2.77 to 25 Jan 2027, want 4, ORDER 3, order by …`.
    pub fn first_words(&self) -> String {
        let place = if self.is_pool() { String::new() } else { format!(" at {}", self.at) };
        let m = if self.of.unit == "m" { " m" } else { "" };
        let order =
            if self.plan.order.is_positive() { format!(", ORDER {}{m}", self.order) } else { String::new() };
        let by =
            self.plan.order_by.map(|by| format!(", order by {}", words::day_text(by))).unwrap_or_default();
        format!(
            "{} ({}){place}: on hand {}{m}, free {}{m}, demand {:.2}{m} to {}, want {}{m}{order}{by}",
            self.of.description,
            self.part,
            self.on_hand,
            self.free,
            self.demand_mean,
            words::day_text(self.plan.usable_on),
            self.stock_for_level
        )
    }
}

fn rounded(value: f64, steps: f64) -> f64 {
    (value * steps).round() / steps
}

/// A whole number where it is one.
fn number(amount: Amount) -> Value {
    let millionths = amount.millionths();
    if millionths % 1_000_000 == 0 {
        return Value::from(millionths / 1_000_000);
    }
    Number::from_f64(amount.to_f64()).map_or(Value::Null, Value::Number)
}
