//! How much of a part, and when? Stock over time against the demand to come, the gear behind that demand, and why.

use std::collections::BTreeMap;

use askama::Template;
use axum::response::Response;
use jiff::civil::Date;
use policies::amount::Amount;
use policies::zone::Instant;

use super::{Sight, quantity};
use crate::records::Stock as Moved;
use crate::rights::Act;
use crate::stores::seen::{LineSeen, NeedSeen, on_order};
use crate::web::drawing::stock::{Stock, stock};
use crate::web::fault::Fault;
use crate::web::links::Link;
use crate::web::near;
use crate::web::shell::Shell;
use crate::web::visit::{Visit, html};
use crate::web::{filters, words};

/// Moves of stock that are shown, the newest first.
const MOVES: usize = 20;
/// Needs that are shown; the rest is counted.
const NEEDS: usize = 60;
/// Days before today that the drawing begins.
const BEFORE: i32 = 92;

/// A need in the table.
struct Need {
    tags: Vec<Link>,
    station: Option<Link>,
    chance: String,
    because: String,
    why: String,
    ready: String,
    order_by: String,
    late: String,
    served: bool,
    comes: String,
}

/// A month of the table under the drawing.
struct Month {
    until: String,
    levels: [u64; 3],
    mean: String,
    enough: u64,
    there: String,
}

/// A place of the plan: the pool, or an isolated station.
struct Held {
    heading: String,
    drawing: String,
    figures: String,
    months: Vec<Month>,
    needs: Vec<Need>,
    more: usize,
    reasons: Vec<String>,
}

/// What lies in one place.
struct Lies {
    place: String,
    on_hand: String,
    blocked: String,
    pieces: Vec<(Vec<Link>, String, Vec<String>)>,
}

#[derive(Template)]
#[template(path = "stores-part.html")]
struct Page {
    shell: Shell,
    answer: String,
    facts: Vec<(&'static str, String)>,
    ways: Vec<Link>,
    held: Vec<Held>,
    service: String,
    places: Vec<Lies>,
    drums: Vec<Link>,
    orders: Vec<(Link, String)>,
    moves: Vec<[String; 4]>,
    more_moves: usize,
}

/// The page.
///
/// # Errors
/// No such part, a date that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let sight = Sight::of(visit).await?;
    let name = visit.name();
    let Some(part) = sight.seen.kept.parts.get(name) else {
        let parts = sight.seen.kept.parts.keys().map(String::as_str);
        let near = near::nearest(name, parts).into_iter().map(|part| sight.links().to_spare(part)).collect();
        return Err(Fault::missing(
            format!("No part is called \"{name}\"."),
            "The stores' page lists them.",
            near,
        ));
    };
    let of = |line: &&LineSeen| line.spares.part == *name;
    let lines: Vec<&LineSeen> = sight.seen.lines.iter().filter(of).collect();
    let (moves, more_moves) = sight.moves(name);
    html(&Page {
        shell: sight.shell(&format!("{name}: how much, and when?")),
        answer: answer(&sight, &part.description, &lines),
        facts: facts(part),
        ways: sight.ways(name),
        held: (0..).zip(&lines).map(|(at, line)| sight.held(at, line)).collect(),
        service: super::percent(sight.seen.planned.service),
        places: sight.places(name),
        drums: sight
            .seen
            .drums
            .iter()
            .filter(|drum| drum.part == *name)
            .map(|drum| Link {
                text: format!("{}, {} m left", drum.drum, drum.left_m),
                href: sight.links().drum(&drum.drum),
            })
            .collect(),
        orders: sight.orders_of(name),
        moves,
        more_moves,
    })
}

fn answer(sight: &Sight, description: &str, lines: &[&LineSeen]) -> String {
    let each: Vec<String> = lines
        .iter()
        .filter_map(|line| {
            let (spares, at) = (&line.spares, sight.at(line));
            if spares.plan.order.is_positive() {
                return Some(format!("order {} today{at}", quantity(&spares.order, &spares.of.unit)));
            }
            spares.plan.order_by.map(|by| format!("order by {}{at}", sight.day(by)))
        })
        .collect();
    let says = if each.is_empty() { "nothing has to be ordered".to_owned() } else { words::list(&each) };
    format!("{description}: {says}.")
}

fn facts(part: &crate::records::Part) -> Vec<(&'static str, String)> {
    let price = part.price.as_ref().zip(part.currency.as_ref());
    let facts = [
        ("Becomes", Some(part.kind.clone())),
        ("Lead time", Some(part.lead_time.clone())),
        ("Shelf life", part.shelf_life.clone()),
        ("Sold by", part.pack.as_ref().map(|pack| quantity(pack, &part.unit))),
        ("One serves", part.serves.map(|serves| format!("{serves} items"))),
        ("Price", price.map(|(price, currency)| format!("{price} {currency}"))),
    ];
    facts.into_iter().filter_map(|(name, text)| Some((name, text?))).collect()
}

impl Sight<'_> {
    fn ways(&self, part: &str) -> Vec<Link> {
        let ways = [
            (Act::RaiseOrder, "Raise an order", "raise"),
            (Act::MoveStock, "Issue", "issue"),
            (Act::MoveStock, "Move", "move"),
            (Act::MoveStock, "Count", "count"),
        ];
        let metres = self.seen.kept.parts.get(part).is_some_and(|part| part.unit == "m");
        let cut = metres.then_some((Act::CutItem, "Cut from drums", "cut"));
        let all = ways.into_iter().chain(cut);
        all.filter_map(|(act, text, path)| {
            Some(Link { text: text.to_owned(), href: self.form(act, path, part)? })
        })
        .collect()
    }

    fn held(&self, at: usize, line: &LineSeen) -> Held {
        let plan = &line.spares.plan;
        let drawn = self.drawn(line);
        let heading = line.place.as_ref().map_or_else(
            || "The central stores and every station that they serve".to_owned(),
            |place| format!("{}, which keeps its own", place.name),
        );
        let months = plan.months.iter().map(|month| Month {
            until: self.day(month.until),
            levels: month.levels,
            mean: format!("{:.2}", month.mean),
            enough: month.enough,
            there: format!("{:.0}", drawn.at(month.until).floor()),
        });
        let title = format!(
            "Stock of {} as a step, and pieces needed by each month's end with 10, 50 and 90 %",
            line.spares.part
        );
        Held {
            drawing: if plan.months.is_empty() {
                String::new()
            } else {
                stock(&format!("stock-{at}"), &title, &drawn)
            },
            figures: self.figures(line),
            months: months.collect(),
            needs: line.needs.iter().take(NEEDS).map(|need| self.need(line, need)).collect(),
            more: line.needs.len().saturating_sub(NEEDS),
            reasons: line.spares.reasons.clone(),
            heading,
        }
    }

    fn need(&self, line: &LineSeen, need: &NeedSeen) -> Need {
        let own = &need.need;
        let day = |date: Option<Date>| date.map(|date| self.day(date)).unwrap_or_default();
        Need {
            tags: self.items(&need.tags),
            station: need.station.as_ref().map(|station| self.station(station)),
            chance: self.chance(line, need),
            because: need.because.clone(),
            why: self.why(need),
            ready: day(own.ready_by),
            order_by: day(own.order_by),
            late: own
                .order_by
                .filter(|_| own.exposed && own.comes.is_none())
                .and_then(|by| self.ago(by))
                .unwrap_or_default(),
            served: own.served,
            comes: own.comes.as_ref().map(on_order).unwrap_or_default(),
        }
    }

    /// What the drawing shows of a line.
    fn drawn(&self, line: &LineSeen) -> Stock {
        let plan = &line.spares.plan;
        let today = self.seen.planned.ordered;
        let each = plan.each.to_f64().max(f64::EPSILON);
        let pieces = |amount: Amount| (amount.to_f64() / each * 1000.0).round() / 1000.0;
        let usable = plan.on_hand - plan.blocked;
        let mut ahead = vec![(today, usable)];
        for coming in &plan.on_way {
            let before = ahead.last().map_or(Amount::ZERO, |(_, level)| *level);
            ahead.push((coming.usable_on.max(today), before + coming.quantity));
        }
        let ahead: Vec<(Date, f64)> = ahead.into_iter().map(|(day, level)| (day, pieces(level))).collect();
        let earliest = today.saturating_sub(jiff::Span::new().days(BEFORE));
        let from = plan.order_by.filter(|by| *by < today).map_or(earliest, |by| by.min(earliest));
        let from = from.max(today.saturating_sub(jiff::Span::new().days(4 * BEFORE)));
        let drawn = Stock {
            from,
            to: plan.months.last().map_or(plan.usable_on, |month| month.until.max(plan.usable_on)),
            lead: (today, plan.usable_on),
            past: self.past(line, from).into_iter().map(|(day, level)| (day, pieces(level))).collect(),
            ordered: plan.order.is_positive().then(|| pieces(plan.order)),
            band: plan.months.iter().map(|month| (month.until, month.levels)).collect(),
            meets: None,
            order_by: plan.order_by,
            ahead,
        };
        let meets = plan.lasts_until.map(|day| (day, drawn.at(day)));
        Stock { meets, ..drawn }
    }

    pub(super) fn is_here(&self, line: &LineSeen, place: &str) -> bool {
        match &line.place {
            Some(own) => own.slug == *place,
            None => !self.seen.lines.iter().any(|other| {
                other.spares.part == line.spares.part
                    && other.place.as_ref().is_some_and(|other| other.slug == *place)
            }),
        }
    }

    /// What lay there day by day, as the moves say, from a day on.
    fn past(&self, line: &LineSeen, from: Date) -> Vec<(Date, Amount)> {
        let zone = &self.visit.web.desk.set.service.home_zone;
        let mut by_day: BTreeMap<Date, Amount> = BTreeMap::new();
        let own = self.seen.kept.stock.iter();
        for row in own.filter(|row| row.part == line.spares.part && self.is_here(line, &row.place)) {
            let day = zone.date_of(Instant(row.at)).max(from);
            *by_day.entry(day).or_insert(Amount::ZERO) += Amount::from_millionths(row.quantity);
        }
        let mut level = Amount::ZERO;
        let mut steps = vec![];
        for (day, moved) in by_day.into_iter().filter(|(day, _)| *day <= self.seen.planned.ordered) {
            level += moved;
            steps.push((day, level));
        }
        if steps.first().is_some_and(|(day, _)| *day > from) {
            steps.insert(0, (from, Amount::ZERO));
        }
        steps
    }

    fn places(&self, part: &str) -> Vec<Lies> {
        let unit = self.seen.kept.parts.get(part).map_or("", |part| part.unit.as_str());
        let own = self.seen.planned.held.iter().filter(|held| held.part == *part);
        own.map(|held| Lies {
            place: words::upper_first(&self.place(&held.place)),
            on_hand: quantity(held.on_hand, unit),
            blocked: if held.blocked.is_positive() { quantity(held.blocked, unit) } else { String::new() },
            pieces: held
                .pieces
                .iter()
                .chain(&held.aside)
                .map(|(piece, amount)| {
                    let expires = piece.expires.map(|day| format!("shelf life ends on {}", self.day(day)));
                    let says = [Some(quantity(amount, unit)), expires].into_iter().flatten();
                    let blocked = piece.blocked.iter().map(ToString::to_string).collect();
                    (self.items(&piece.tags), says.collect::<Vec<_>>().join(", "), blocked)
                })
                .chain(held.cut.iter().map(|(piece, length)| {
                    let says = format!("cut for fitting, {length} m each; not in the metres on hand");
                    (self.items(&piece.tags), says, piece.blocked.iter().map(ToString::to_string).collect())
                }))
                .collect(),
        })
        .collect()
    }

    fn orders_of(&self, part: &str) -> Vec<(Link, String)> {
        let own = self.seen.orders.iter().filter(|order| order.part == *part);
        own.map(|order| {
            let link = Link { text: order.order.clone(), href: self.links().order(&order.order) };
            (link, super::orders::told(self, order))
        })
        .collect()
    }

    fn moves(&self, part: &str) -> (Vec<[String; 4]>, usize) {
        let mut own: Vec<&Moved> = self.seen.kept.stock.iter().filter(|row| row.part == *part).collect();
        own.sort_unstable_by(|a, b| (b.at, &b.key).cmp(&(a.at, &a.key)));
        let unit = self.seen.kept.parts.get(part).map_or("", |part| part.unit.as_str());
        let zone = &self.visit.web.desk.set.service.home_zone;
        let told = own.iter().take(MOVES).map(|row| {
            let day = row.day.as_deref().and_then(|day| day.parse().ok());
            let amount = Amount::from_millionths(row.quantity);
            let sign = if amount.is_positive() { "+" } else { "" };
            [
                self.day(day.unwrap_or_else(|| zone.date_of(Instant(row.at)))),
                format!("{sign}{}", quantity(amount, unit)),
                self.place(&row.place),
                row.reason.clone(),
            ]
        });
        (told.collect(), own.len().saturating_sub(MOVES))
    }
}
