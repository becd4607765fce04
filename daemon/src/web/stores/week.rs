//! What must be ordered this week? What to order by which day and what lateness costs, what came without its
//! certificate, what expires on the shelf, and what stations wait for.

use std::collections::BTreeMap;

use askama::Template;
use axum::response::Response;
use policies::stores::shelf::Piece;

use super::{Sight, drums, percent, quantity};
use crate::rights::Act;
use crate::stores::orders::{NOT_SIGNED, OrderLine};
use crate::stores::seen::{LineSeen, NeedSeen, on_order};
use crate::web::fault::Fault;
use crate::web::filters;
use crate::web::links::Link;
use crate::web::parts::part;
use crate::web::shell::Shell;
use crate::web::visit::{Visit, html};
use crate::web::words;

/// Ways out that are told, the best first.
const WAYS: usize = 8;
/// Lines of the table on one page.
const LINES: usize = 100;
/// Needs of stations that are told; a part's page has them all.
const WAITS: usize = 40;
/// Gear of one kind without a part that is told by its tags.
const UNNAMED: usize = 12;
/// Needs as likely as this are waited for (house).
const LIKELY: f64 = 0.5;
/// What expires within so many days is told.
const EXPIRES_DAYS: i32 = 183;
/// What must be ordered within so many days is this week's.
const WEEK_DAYS: i32 = 7;

/// What is to be ordered today.
struct Now {
    part: Link,
    description: String,
    place: String,
    says: String,
    late: bool,
    drafts: Vec<(Link, String)>,
    cost: String,
    figures: String,
    /// Its day, where that is still to come.
    by: String,
    passed: Vec<(Link, String)>,
    lost: String,
    served: Vec<Wait>,
    ways: Vec<Way>,
    raise: Option<String>,
}

/// A way out.
struct Way {
    tag: Option<Link>,
    what: String,
    leaves: String,
}

/// A station, and what it waits for.
type StationWaits = (Option<Link>, Vec<Wait>);

/// A need that a station waits for.
struct Wait {
    station: Option<Link>,
    tags: Vec<Link>,
    part: Link,
    chance: String,
    because: String,
    why: String,
    then: String,
    late: bool,
}

/// What lies on a shelf.
struct Lies {
    what: String,
    tags: Vec<Link>,
    part: Link,
    place: String,
    says: String,
}

/// An order that wants something.
struct Wants {
    order: Link,
    says: String,
    press: Option<Link>,
}

/// A line of the table.
struct Row {
    part: Link,
    description: String,
    place: String,
    on_hand: String,
    free: String,
    mean: String,
    want: String,
    order: String,
    by: String,
    late: bool,
    lost: String,
}

/// Why gear has no part, its first pieces with what they are, and how many more there are.
type Unnamed = (String, Vec<(Link, String)>, usize);

#[derive(Template)]
#[template(path = "stores.html")]
struct Page {
    shell: Shell,
    answer: String,
    today: String,
    service: String,
    now: Vec<Now>,
    soon: Vec<(Link, String)>,
    cuttings: Vec<drums::Told>,
    papers: Vec<Wants>,
    coming: Vec<Wants>,
    blocked: Vec<Lies>,
    expiring: Vec<Lies>,
    waits: Vec<(Option<Link>, Vec<Wait>)>,
    more_waits: usize,
    unnamed: Vec<Unnamed>,
    rows: Vec<Row>,
    parts: Vec<(Link, bool)>,
}

/// The page.
///
/// # Errors
/// A date or a part that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let sight = Sight::of(visit).await?;
    let all = sight.seen.lines.iter().map(|line| sight.row(line)).collect();
    let rows = part(all, (visit.query.part()?, LINES), sight.links(), "/stores", &[])?;
    let (papers, coming) = sight.wanting();
    let (waits, more_waits) = sight.waits();
    let planned = &sight.seen.planned;
    html(&Page {
        shell: sight.shell("What must be ordered this week?"),
        answer: sight.answer(),
        today: sight.day(planned.ordered),
        service: percent(planned.service),
        now: sight.to_order().chain(sight.coming_late()).map(|line| sight.now(line)).collect(),
        soon: sight.soon(),
        cuttings: sight.cuttings(),
        papers,
        coming,
        blocked: sight.blocked(),
        expiring: sight.expiring(),
        waits,
        more_waits,
        unnamed: sight.unnamed(),
        rows: rows.here,
        parts: rows.ways,
    })
}

impl Sight<'_> {
    fn to_order(&self) -> impl Iterator<Item = &LineSeen> {
        self.seen.lines.iter().filter(|line| line.spares.plan.order.is_positive())
    }

    /// What is ordered already and comes too late.
    fn coming_late(&self) -> impl Iterator<Item = &LineSeen> {
        self.seen.lines.iter().filter(|line| {
            let plan = &line.spares.plan;
            !plan.order.is_positive() && plan.days_lost >= 0.05
        })
    }

    /// Kinds that no part is named for, with what is to be renewed of each.
    fn unnamed(&self) -> Vec<Unnamed> {
        let each = self.seen.unnamed.iter().map(|(kind, items)| {
            let first = items.iter().take(UNNAMED);
            let told = first.map(|(tag, day)| (self.links().to_item(tag), self.day(*day)));
            (kind.clone(), told.collect(), items.len().saturating_sub(UNNAMED))
        });
        each.collect()
    }

    /// Orders of a line that wait for a signature.
    fn drafts(&self, line: &LineSeen) -> Vec<(Link, String)> {
        let own = self.seen.orders.iter().filter(|order| {
            order.part == line.spares.part && order.standing == NOT_SIGNED && self.is_here(line, &order.place)
        });
        own.map(|order| {
            let sheet = Link { text: order.order.clone(), href: self.links().order(&order.order) };
            (sheet, quantity(&order.quantity, &line.spares.of.unit))
        })
        .collect()
    }

    fn answer(&self) -> String {
        if self.seen.kept.parts.is_empty() {
            return "No parts are on record yet: they come in as parts.csv.".to_owned();
        }
        let each: Vec<String> = self
            .to_order()
            .take(6)
            .map(|line| {
                let of = &line.spares.of;
                format!("{} of {}{}", quantity(&line.spares.order, &of.unit), of.key, self.at(line))
            })
            .collect();
        let more = self.to_order().count().saturating_sub(each.len());
        let more = if more > 0 { format!(", and {more} more") } else { String::new() };
        if each.is_empty() {
            return "Nothing has to be ordered today.".to_owned();
        }
        format!("Order today: {}{more}.", if more.is_empty() { words::list(&each) } else { each.join(", ") })
    }

    fn now(&self, line: &LineSeen) -> Now {
        let (spares, plan) = (&line.spares, &line.spares.plan);
        let by = plan.order_by.filter(|by| *by >= self.seen.planned.ordered);
        Now {
            part: self.links().to_spare(&spares.part),
            description: spares.of.description.clone(),
            place: self.at(line),
            says: if plan.order.is_positive() {
                format!("order {} today", quantity(&spares.order, &spares.of.unit))
            } else {
                "nothing more to order; what is on its way comes late".to_owned()
            },
            late: !self.passed(line).is_empty() || !plan.order.is_positive(),
            drafts: self.drafts(line),
            cost: line.cost.clone(),
            figures: self.figures(line),
            by: by.map(|by| self.day(by)).unwrap_or_default(),
            passed: self.passed(line),
            lost: if plan.days_lost >= 0.05 { format!("{:.1}", plan.days_lost) } else { String::new() },
            served: line
                .needs
                .iter()
                .filter(|need| need.need.served)
                .map(|need| self.wait(line, need))
                .collect(),
            ways: line.ways.iter().take(WAYS).map(|way| self.way(way)).collect(),
            raise: self.raise(line).filter(|_| plan.order.is_positive()),
        }
    }

    /// `On hand 1, free 0; 2.77 needed until 25 Jan 2027; 4 are enough with 95.4 %`.
    pub(super) fn figures(&self, line: &LineSeen) -> String {
        let (spares, plan, unit) = (&line.spares, &line.spares.plan, &line.spares.of.unit);
        let coming = if plan.coming.is_positive() {
            format!(", {} on the way", quantity(plan.coming, unit))
        } else {
            String::new()
        };
        let (metres, pieces) = if unit == "m" { (" m", " cut lengths") } else { ("", "") };
        format!(
            "on hand {}, free {}{coming}; {:.2}{metres} needed until {}, when an order of today can be fitted; \
             {}{pieces} are enough with {:.1} %",
            quantity(&spares.on_hand, unit),
            quantity(&spares.free, unit),
            spares.demand_mean,
            self.day(plan.usable_on),
            plan.pieces,
            100.0 * plan.demand.at_most(plan.pieces)
        )
    }

    /// For whom the day to order by has passed.
    fn passed(&self, line: &LineSeen) -> Vec<(Link, String)> {
        let orders = line.spares.plan.order.is_positive();
        let exposed = line.needs.iter().filter(|need| orders && need.need.exposed);
        exposed
            .filter_map(|need| {
                let by = need.need.order_by?;
                let ago = self.ago(by).unwrap_or_else(|| "today".to_owned());
                Some((self.at_station(need), format!("{} ({ago})", self.day(by))))
            })
            .collect()
    }

    fn at_station(&self, need: &NeedSeen) -> Link {
        let own = need.station.as_ref().map(|station| self.station(station));
        own.unwrap_or_else(|| Link { text: "the central stores".to_owned(), href: self.links().stores() })
    }

    fn way(&self, way: &crate::stores::seen::WaySeen) -> Way {
        let (alone, with) = (way.out.alone, way.out.with_those_before);
        Way {
            tag: way.tag.as_ref().map(|tag| self.links().to_item(tag)),
            what: way.what.clone(),
            leaves: match with {
                Some(left) => format!("leaves {left:.1} station-days with those above, {alone:.1} alone"),
                None => format!("instead of those: {alone:.1} station-days"),
            },
        }
    }

    fn wait(&self, line: &LineSeen, need: &NeedSeen) -> Wait {
        let part = &line.spares.part;
        let late = need.need.order_by.and_then(|by| Some((by, self.ago(by)?)));
        let then = match (need.need.served, &need.need.comes, &late) {
            (true, ..) if need.need.pieces == 1 && line.spares.of.unit != "m" => {
                format!("the one in stock goes to it{}", self.examined(need))
            }
            (true, ..) => format!("what is in stock goes to it{}", self.examined(need)),
            (false, Some(comes), _) => on_order(comes),
            (false, None, Some((by, ago))) => {
                format!("nothing in stock is left for it; its order-by day, {}, passed {ago}", self.day(*by))
            }
            (false, None, None) => "nothing in stock is left for it".to_owned(),
        };
        Wait {
            station: need.station.as_ref().map(|station| self.station(station)),
            tags: self.items(&need.tags),
            part: self.links().to_spare(part),
            chance: self.chance(line, need),
            because: need.because.clone(),
            why: self.why(need),
            then,
            late: late.is_some() && need.need.waits_too_long(),
        }
    }

    /// What serves a need and must be examined again before.
    fn examined(&self, need: &NeedSeen) -> String {
        let examine = need.need.examine.as_ref();
        examine.map_or_else(String::new, |(piece, by)| {
            let piece = if piece.is_empty() { "it" } else { piece };
            format!(", once {piece} is examined again, by {}", self.day(*by))
        })
    }

    fn soon(&self) -> Vec<(Link, String)> {
        let today = self.seen.planned.ordered;
        let lines = self.seen.lines.iter().filter(|line| !line.spares.plan.order.is_positive());
        let this_week = lines.filter_map(|line| {
            let by = line.spares.plan.order_by?;
            ((by - today).get_days() <= WEEK_DAYS).then(|| {
                let says = format!("{}{}: by {}", line.spares.of.description, self.at(line), self.day(by));
                (self.links().to_spare(&line.spares.part), says)
            })
        });
        this_week.collect()
    }

    /// Orders that wait for a certificate or a signature or are late, and those on their way.
    fn wanting(&self) -> (Vec<Wants>, Vec<Wants>) {
        let open = self.seen.orders.iter().filter(|order| order.standing != "in");
        let (papers, coming): (Vec<_>, Vec<_>) = open.partition(|order| order.standing.starts_with("in,"));
        let papers = papers.into_iter().map(|order| {
            let says = format!("came on {} and must not be issued", self.day_of(&order.expected_on));
            self.wants(order, &says, "Its certificate is here")
        });
        let coming = coming.into_iter().map(|order| {
            if order.standing == NOT_SIGNED {
                return self.wants_signature(order);
            }
            let late =
                if order.standing == "late" { "late, and expected as late again: " } else { "expected " };
            self.wants(order, &format!("{late}{}", self.day_of(&order.expected_on)), "It is in")
        });
        (papers.collect(), coming.collect())
    }

    fn wants(&self, order: &OrderLine, says: &str, press: &str) -> Wants {
        let form = self.form(Act::MoveStock, "receive", &order.order);
        Wants {
            order: Link { text: order.order.clone(), href: self.links().order(&order.order) },
            says: format!("{} of {}: {says}", order.quantity, order.part),
            press: form.map(|href| Link { text: press.to_owned(), href }),
        }
    }

    fn wants_signature(&self, order: &OrderLine) -> Wants {
        let form = self.form(Act::SignOrder, "sign", &order.order);
        Wants {
            press: form.map(|href| Link { text: "Sign it".to_owned(), href }),
            ..self.wants(order, "waits for an engineer's signature; the supplier does not have it", "")
        }
    }

    fn pieces(&self, wanted: impl Fn(&Piece) -> Option<String>) -> Vec<Lies> {
        let mut found = Vec::new();
        for held in &self.seen.planned.held {
            for (piece, amount) in held.pieces.iter().chain(&held.aside).chain(&held.cut) {
                let Some(says) = wanted(piece) else { continue };
                let unit = self.seen.kept.parts.get(&held.part).map_or("", |part| part.unit.as_str());
                found.push(Lies {
                    what: if piece.tags.is_empty() { quantity(amount, unit) } else { String::new() },
                    tags: self.items(&piece.tags),
                    part: self.links().to_spare(&held.part),
                    place: self.place(&held.place),
                    says,
                });
            }
        }
        found
    }

    fn blocked(&self) -> Vec<Lies> {
        self.pieces(|piece| {
            let each: Vec<String> = piece.blocked.iter().map(ToString::to_string).collect();
            (!each.is_empty()).then(|| each.join("; "))
        })
    }

    fn expiring(&self) -> Vec<Lies> {
        let soon = self.seen.planned.ordered.saturating_add(jiff::Span::new().days(EXPIRES_DAYS));
        self.pieces(|piece| {
            let near = |day: &jiff::civil::Date| piece.blocked.is_empty() && *day <= soon;
            let expires =
                piece.expires.filter(near).map(|on| format!("its shelf life ends on {}", self.day(on)));
            let renew = piece.renew_by().filter(near);
            let renew = renew.map(|on| format!("it must be examined again by {}", self.day(on)));
            let all: Vec<String> = expires.into_iter().chain(renew).collect();
            (!all.is_empty()).then(|| all.join("; "))
        })
    }

    /// Likely needs, station by station.
    fn waits(&self) -> (Vec<StationWaits>, usize) {
        let mut by_station: BTreeMap<Option<String>, Vec<Wait>> = BTreeMap::new();
        let (mut told, mut more) = (0, 0);
        for line in &self.seen.lines {
            let usable = line.spares.plan.usable_on;
            let likely = |need: &&NeedSeen| {
                let certain = need.need.certain.as_ref().is_some_and(|certain| certain.on <= usable);
                certain || need.need.chance >= LIKELY
            };
            for need in line.needs.iter().filter(likely) {
                if told == WAITS {
                    more += 1;
                    continue;
                }
                told += 1;
                let station = need.station.as_ref().map(|station| station.name.clone());
                by_station.entry(station).or_default().push(self.wait(line, need));
            }
        }
        let own = |waits: &[Wait]| waits.first().and_then(|wait| wait.station.clone());
        (by_station.into_values().map(|waits| (own(&waits), waits)).collect(), more)
    }

    fn row(&self, line: &LineSeen) -> Row {
        let (spares, plan, unit) = (&line.spares, &line.spares.plan, &line.spares.of.unit);
        Row {
            part: self.links().to_spare(&spares.part),
            description: spares.of.description.clone(),
            place: line.place.as_ref().map_or_else(|| "pool".to_owned(), |place| place.name.clone()),
            on_hand: quantity(&spares.on_hand, unit),
            free: quantity(&spares.free, unit),
            mean: format!("{:.2}", spares.demand_mean),
            want: quantity(&spares.stock_for_level, unit),
            order: if plan.order.is_positive() { quantity(&spares.order, unit) } else { String::new() },
            by: plan.order_by.map(|by| self.day(by)).unwrap_or_default(),
            late: plan.order.is_positive() && plan.order_by.is_some_and(|by| self.ago(by).is_some()),
            lost: if plan.days_lost >= 0.05 { format!("{:.1}", plan.days_lost) } else { String::new() },
        }
    }
}
