//! Why a line of the plan says what it says, in words.

use jiff::civil::Date;
use policies::amount::Amount;
use policies::facts::{Fleet, ItemId, StationId};
use policies::load::PolicySet;
use policies::stores::plan::{Comes, Line, Need, WayOut, WayTo};
use policies::stores::renewal::Cause;

use super::kept::{LOFT, Planned, STORES, isolated};
use super::orders::{NOT_SIGNED, OrderLine};
use super::shelf::Held;
use crate::records::Part;
use crate::why::day;

/// Needs told one by one; the rest is summed.
const TOLD: usize = 8;
/// Ways out told, the best first.
const WAYS: usize = 8;
/// Pieces that expire within so many days are told.
const EXPIRES_DAYS: i32 = 183;

/// Puts lines into words.
pub(super) struct Speaker<'s> {
    pub(super) set: &'s PolicySet,
    pub(super) fleet: &'s Fleet,
    pub(super) orders: &'s [OrderLine],
    pub(super) planned: &'s Planned,
}

impl Speaker<'_> {
    pub(super) fn place(&self, line: &Line) -> String {
        let slug = |station: StationId| self.fleet.stations[station.0 as usize].slug.to_string();
        line.place.map_or_else(|| STORES.to_owned(), slug)
    }

    pub(super) fn station(&self, station: Option<StationId>) -> String {
        station.map_or_else(
            || "the central stores".to_owned(),
            |station| self.fleet.stations[station.0 as usize].name.to_string(),
        )
    }

    pub(super) fn tag(&self, item: ItemId) -> &str {
        &self.fleet.item(item).tag
    }

    /// A place of stock in words.
    fn at(&self, place: &str) -> String {
        let station = self.fleet.stations.iter().find(|station| *station.slug == *place);
        match place {
            STORES => "the central stores".to_owned(),
            LOFT => "the loft".to_owned(),
            other => station.map_or_else(|| other.to_owned(), |station| station.name.to_string()),
        }
    }

    fn tags(&self, need: &Need) -> String {
        let tags: Vec<&str> = need.items.iter().map(|item| self.tag(*item)).collect();
        match tags.as_slice() {
            [first, .., last] if tags.len() > 2 => format!("{first} to {last}"),
            _ => tags.join(" and "),
        }
    }

    pub(super) fn reasons(&self, line: &Line) -> Vec<String> {
        let part = &self.planned.parts[line.part];
        let mut told = vec![self.demand(part, line)];
        let needs = line.needs.iter().take(TOLD).map(|need| self.need(line, need));
        told.extend(needs);
        let rest: f64 = line.needs.iter().skip(TOLD).map(|need| need.chance).sum();
        if line.needs.len() > TOLD {
            told.push(format!("{} more needs, {rest:.2} together", line.needs.len() - TOLD));
        }
        told.extend(discards(line));
        told.extend(by_month(line));
        told.push(Self::stock(part, line));
        told.extend(self.pieces(line));
        told.extend(self.orders(line));
        told.extend(self.drafts(line));
        told.extend(self.order(part, line));
        told.extend(self.late(line));
        told
    }

    fn demand(&self, part: &Part, line: &Line) -> String {
        let (pieces, ordered) = (line.pieces, self.planned.ordered);
        let percent = |pieces: u64| 100.0 * line.demand.at_most(pieces);
        let fewer = pieces.checked_sub(1).map(|fewer| format!(", {fewer} with {:.1} %", percent(fewer)));
        let metres = if part.unit == "m" {
            format!(" of {} m cut off a drum: finished length, ends and saw", line.each)
        } else {
            String::new()
        };
        format!(
            "until {}, when an order of {} can be fitted: {:.2} needed{metres}; {pieces} are enough with {:.1} %{}",
            day(line.usable_on),
            day(ordered),
            line.demand.mean(),
            percent(pieces),
            fewer.unwrap_or_default()
        )
    }

    fn need(&self, line: &Line, need: &Need) -> String {
        let (tags, station) = (self.tags(need), self.station(need.station));
        let serves = served(need);
        if let Some(certain) = need.certain.as_ref().filter(|certain| certain.on <= line.usable_on) {
            return format!(
                "{tags} at {station}: certain by {}, {}{serves}",
                day(certain.on),
                self.cause(&certain.cause)
            );
        }
        let by_use = need.by_use.map(|left| {
            let rule = &self.set.rule(left.rule).title;
            format!("{} of {} {} ({rule})", left.used, left.limit, self.set.kinds.meter_name(left.meter))
        });
        let why = match (by_use, need.by_wear) {
            (_, true) => "its readings wear towards their limit".to_owned(),
            (Some(by_use), false) => by_use,
            (None, false) => "by its rules".to_owned(),
        };
        let ready = need.ready_by.map(|by| format!("; 10 % by {}", day(by))).unwrap_or_default();
        format!(
            "{tags} at {station}: {} by {}, {why}{ready}{serves}",
            percent(need.chance),
            day(line.usable_on)
        )
    }

    pub(super) fn cause(&self, cause: &Cause) -> String {
        match cause {
            Cause::NoBase(rule) => format!("no date to count from ({})", self.set.rule(*rule).title),
            Cause::Date(rule) => self.set.rule(*rule).title.clone(),
            Cause::UsedUp(rule) => format!("its use is used up ({})", self.set.rule(*rule).title),
            Cause::SetAside => "it must not be used".to_owned(),
            Cause::Defect(key) => format!("a danger was found ({key})"),
            Cause::Empty { host, position } => {
                let kind = self.set.kinds.kind(self.fleet.item(*host).kind);
                let position = kind.positions.get(*position).map_or("a position", |own| own.name.as_str());
                format!("{position} of {} is empty", self.tag(*host))
            }
        }
    }

    fn stock(part: &Part, line: &Line) -> String {
        let metres = if part.unit == "m" { " m" } else { "" };
        let mut told = format!("on hand {}{metres}", line.on_hand);
        for (what, amount) in [("must not be issued", line.blocked), ("spoken for", line.committed)] {
            if amount.is_positive() {
                told = format!("{told}, {amount}{metres} {what}");
            }
        }
        told = format!("{told}, free {}{metres}", line.free);
        if line.coming.is_positive() {
            told = format!("{told}; {}{metres} on the way come before then", line.coming);
        }
        if line.place.is_none() && line.stations > 1 && line.pieces_apart > line.pieces {
            told = format!(
                "{told}; {} places, each with its own, would need {} where the pool needs {}",
                line.stations, line.pieces_apart, line.pieces
            );
        }
        told
    }

    fn held(&self, line: &Line) -> impl Iterator<Item = &Held> {
        let (name, kind) = (&self.planned.parts[line.part].key, &self.planned.parts[line.part].kind);
        let here = move |held: &&Held| isolated(self.set, self.fleet, &held.place, kind) == line.place;
        self.planned.held.iter().filter(move |held| held.part == *name).filter(here)
    }

    /// What must not be issued, and what expires soon.
    fn pieces(&self, line: &Line) -> Vec<String> {
        let soon = self.planned.ordered.saturating_add(jiff::Span::new().days(EXPIRES_DAYS));
        let mut told = Vec::new();
        for held in self.held(line) {
            for (piece, amount) in held.pieces.iter().chain(&held.aside).chain(&held.cut) {
                let what = if piece.tags.is_empty() {
                    format!("{amount} at {}", self.at(&held.place))
                } else {
                    piece.tags.join(", ")
                };
                told.extend(piece.blocked.iter().map(|why| format!("{what} must not be issued: {why}")));
                let expires = piece.expires.filter(|expires| piece.blocked.is_empty() && *expires <= soon);
                told.extend(
                    expires.map(|expires| format!("{what} expires on the shelf on {}", day(expires))),
                );
            }
            told.extend(held.cut.iter().filter(|(piece, _)| piece.blocked.is_empty()).map(
                |(piece, length)| {
                    let (tags, at) = (piece.tags.join(" and "), self.at(&held.place));
                    format!("{tags} of {length} m wait at {at}, cut and ready to be fitted")
                },
            ));
        }
        told
    }

    fn orders(&self, line: &Line) -> Vec<String> {
        let name = &self.planned.parts[line.part].key;
        let own = self.orders.iter().filter(|order| order.part == *name);
        let own = own.filter(|order| !matches!(order.standing, "in" | NOT_SIGNED));
        let own = own.filter(|order| {
            isolated(self.set, self.fleet, &order.place, &self.planned.parts[line.part].kind) == line.place
        });
        own.map(|order| {
            let (number, quantity) = (&order.order, &order.quantity);
            let expected = order.expected_on.parse().map_or_else(|_| order.expected_on.clone(), day);
            match order.standing {
                "late" => format!("{number} of {quantity} is late and expected as late again: {expected}"),
                "on its way" => format!("{number} of {quantity} is expected on {expected}"),
                _ => format!(
                    "{number} of {quantity} came on {expected} without its certificate and must not be issued"
                ),
            }
        })
        .collect()
    }

    /// Orders that no engineer has signed yet: the supplier has none of them.
    fn drafts(&self, line: &Line) -> Vec<String> {
        let part = &self.planned.parts[line.part];
        let own = self.orders.iter().filter(|order| order.part == part.key && order.standing == NOT_SIGNED);
        let here = own.filter(|order| isolated(self.set, self.fleet, &order.place, &part.kind) == line.place);
        here.map(|order| format!("{} of {} waits for an engineer's signature", order.order, order.quantity))
            .collect()
    }

    /// By when to order, and for whom that day has passed.
    fn order(&self, part: &Part, line: &Line) -> Vec<String> {
        let ordered = self.planned.ordered;
        let mut told = Vec::new();
        let exposed = line.needs.iter().filter(|need| need.exposed);
        let passed: Vec<String> = exposed
            .filter_map(|need| {
                let by = need.order_by?;
                let late = (ordered - by).get_days();
                Some(format!("{} {} ({late} days ago)", self.station(need.station), day(by)))
            })
            .collect();
        if !passed.is_empty() && line.order.is_positive() {
            told.push(format!("order-by day passed: {}", passed.join(", ")));
        }
        if line.order.is_positive() {
            let metres = if part.unit == "m" { " m" } else { "" };
            told.push(format!("order {}{metres} today{}", line.order, price(part, line.order)));
        } else if let (Some(by), Some(last)) = (line.order_by, line.lasts_until) {
            told.push(format!("what is there lasts until {}: order by {}", day(last), day(by)));
        }
        told
    }

    /// What lateness costs, and the ways out.
    fn late(&self, line: &Line) -> Vec<String> {
        if line.ways.is_empty() {
            return Vec::new();
        }
        let told = if line.order.is_positive() {
            "ordered today and no earlier"
        } else {
            "until what is on its way can be fitted"
        };
        let mut told = vec![format!(
            "{told}, {:.1} station-days are lost on average (2,000 runs of the same odds)",
            line.days_lost
        )];
        told.extend(line.ways.iter().take(WAYS).map(|way| self.way(line, way)));
        told
    }

    fn way(&self, line: &Line, out: &WayOut) -> String {
        let place = |need: &usize| self.station(line.needs[*need].station);
        let what = match &out.way {
            WayTo::Shelf { need } => format!("keep what is on the shelf for {}", place(need)),
            WayTo::Relief { item, need } => {
                format!("{} of the relief unit {} to {}", self.tag(*item), self.host(*item), place(need))
            }
            WayTo::From { place, pieces } => format!("{pieces} from {}", self.station(*place)),
            WayTo::Cap { need } => format!(
                "no exercises at {}: {} % of its use",
                place(need),
                self.set.service.stores.exercise_percent
            ),
            WayTo::Earlier { days } => format!("have the delivery brought forward by {days} days"),
        };
        match out.with_those_before {
            Some(left) => format!(
                "way out: {what}; with those above {left:.1} days are left ({:.1} by it alone)",
                out.alone
            ),
            None => format!("instead: {what}; {:.1} days are lost", out.alone),
        }
    }

    pub(super) fn host(&self, item: ItemId) -> &str {
        let last = self.fleet.item(item).fittings.iter().max_by_key(|fit| fit.from);
        let host = last.map(|fit| fit.host);
        let outer = host.and_then(|host| self.fleet.item(host).fittings.iter().max_by_key(|fit| fit.from));
        outer.map(|fit| fit.host).or(host).map_or("", |host| self.tag(host))
    }
}

/// What serves a need.
fn served(need: &Need) -> String {
    match (&need.comes, &need.examine) {
        (_, Some((piece, by))) if need.served => format!(
            "; what is there goes to it: examine {} again by {}",
            if piece.is_empty() { "it" } else { piece },
            day(*by)
        ),
        _ if need.served => "; what is there goes to it".to_owned(),
        (Some(comes), _) => format!("; {}", on_order(comes)),
        _ => String::new(),
    }
}

/// `OS-2026-001 comes to it on 25 Jan 2027, 47 days late`.
pub(crate) fn on_order(comes: &Comes) -> String {
    let late = match comes.late_days {
        0 => "in time".to_owned(),
        1 => "a day late".to_owned(),
        days => format!("{days} days late"),
    };
    format!("{} comes to it on {}, {late}", comes.order, day(comes.usable_on))
}

/// Demand by the ends of months, as pieces that are enough with 10, 50 and 90 %: the months in which it moves.
fn by_month(line: &Line) -> Option<String> {
    let mut last = [0; 3];
    let mut told = Vec::new();
    for month in &line.months {
        if month.levels != last {
            let [low, middle, high] = month.levels;
            told.push(format!("{} {low}, {middle}, {high}", month.until.strftime("%b %Y")));
            last = month.levels;
        }
    }
    let all = told.join("; ");
    (!told.is_empty()).then(|| format!("pieces by month's end with 10, 50 and 90 %: {all}"))
}

fn discards(line: &Line) -> Option<String> {
    let rate = &line.discards;
    let mean = rate.a_year() * line.gear_years * f64::from(line.discard_takes);
    if mean < 0.005 {
        return None;
    }
    let own = if rate.prior.learn {
        format!("{} found unfit in {:.0} years of gear on record, with", rate.found, rate.years)
    } else {
        "not learnt here, by".to_owned()
    };
    Some(format!(
        "random discards: {mean:.2}, {own} {} in {} years (house)",
        rate.prior.discards, rate.prior.years
    ))
}

/// `76 %`; a tenth below five.
pub(crate) fn percent(chance: f64) -> String {
    let percent = 100.0 * chance;
    if percent < 5.0 { format!("{percent:.1} %") } else { format!("{percent:.0} %") }
}

/// What an order comes to, where the part has a price: exact, to the currency's hundredth or finer as it is written.
pub(super) fn price(part: &Part, quantity: Amount) -> String {
    let Some((price, currency)) = part.price.as_ref().zip(part.currency.as_ref()) else {
        return String::new();
    };
    cost(price, quantity).map_or_else(String::new, |cost| format!(", {cost} {currency}"))
}

/// Quantity times price, in exact decimals.
pub(super) fn cost(price: &str, quantity: Amount) -> Option<Amount> {
    let price: Amount = price.parse().ok()?;
    let product = i128::from(price.millionths()) * i128::from(quantity.millionths());
    (product % 1_000_000 == 0).then(|| i64::try_from(product / 1_000_000).ok())?.map(Amount::from_millionths)
}

/// A day in words.
pub(super) fn day_text(date: Date) -> String {
    day(date)
}
