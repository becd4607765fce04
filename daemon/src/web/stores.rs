//! The clerk's pages: what must be ordered this week, a part, the drums, the orders. They are made from the plan of
//! spares, which is worked out once for a state of the records and a day.

mod drums;
mod orders;
mod part;
mod week;

use std::sync::Arc;

use axum::routing::get;
use jiff::civil::Date;

use super::asked::Asked;
use super::fault::Fault;
use super::links::{Link, Links, encoded};
use super::replay::{self, Known};
use super::routes::{At, Need, Row};
use super::shell::Shell;
use super::source::Source;
use super::visit::Visit;
use super::words;
use crate::rights::{self, Act, Place};
use crate::stores::seen::{Called, LineSeen, NeedSeen, Seen};

/// Their rows of the table.
pub(super) fn rows() -> Vec<Row> {
    let reads = |path, answers| Row::get(path, Need::Reads(Act::ViewStores), At::Region, answers);
    vec![
        reads("/stores", get(async |visit: Visit| visit.answer(week::page(&visit).await))),
        reads("/stores/part/{*tag}", get(async |visit: Visit| visit.answer(part::page(&visit).await))),
        reads("/stores/drums", get(async |visit: Visit| visit.answer(drums::all(&visit).await))),
        reads("/stores/drum/{*tag}", get(async |visit: Visit| visit.answer(drums::one(&visit).await))),
        reads("/stores/orders", get(async |visit: Visit| visit.answer(orders::all(&visit).await))),
        reads("/stores/order/{*number}", get(async |visit: Visit| visit.answer(orders::one(&visit).await))),
    ]
}

/// What a page of stores is made from.
struct Sight<'v> {
    visit: &'v Visit,
    asked: Asked,
    seen: Arc<Seen>,
    known: Known,
}

impl Sight<'_> {
    /// Looks at the stores as the address asks.
    ///
    /// # Errors
    /// A date that is none, or records that cannot be read.
    async fn of(visit: &Visit) -> Result<Sight<'_>, Fault> {
        let asked = visit.asked()?;
        let seen = visit.web.desk.stores(asked.judged, asked.known_on).await?;
        let source = Source::open(&visit.web, &asked).await?;
        let known = source.fleet(|fleet| Ok(replay::known_everywhere(&visit.web, &asked, fleet))).await?;
        Ok(Sight { visit, asked, seen, known })
    }

    fn shell(&self, title: &str) -> Shell {
        Shell::of(&self.visit.web, &self.asked, title, self.known.clone())
    }

    fn links(&self) -> &Links {
        &self.asked.links
    }

    /// Whether who is there may do something now; a replayed page offers nothing to do.
    fn may(&self, act: Act) -> bool {
        let seen = self.visit.presence.seen().filter(|_| !self.asked.replays);
        seen.is_some_and(|seen| rights::may(&seen.who, act, Place::Own).is_ok())
    }

    /// The address of a form, for who may send it.
    fn form(&self, act: Act, path: &str, about: &str) -> Option<String> {
        self.may(act).then(|| format!("/stores/{path}/{}", encoded(about, true)))
    }

    /// The form that orders what a line asks for, filled for its place.
    fn raise(&self, line: &LineSeen) -> Option<String> {
        let form = self.form(Act::RaiseOrder, "raise", &line.spares.part)?;
        Some(match &line.place {
            Some(place) => format!("{form}?station={}", encoded(&place.slug, true)),
            None => form,
        })
    }

    #[expect(clippy::unused_self, reason = "as its neighbours are called")]
    fn day(&self, date: Date) -> String {
        words::full_day(date)
    }

    /// A day that is recorded as a text.
    fn day_of(&self, text: &str) -> String {
        text.parse().map_or_else(|_| text.to_owned(), |date| self.day(date))
    }

    fn station(&self, called: &Called) -> Link {
        self.links().to_station(&called.name, &called.slug)
    }

    /// A place of stock: a station by its name.
    fn place(&self, place: &str) -> String {
        self.seen.place(place)
    }

    /// Where a line of the plan holds stock, where that is not the pool.
    #[expect(clippy::unused_self, reason = "as its neighbours are called")]
    fn at(&self, line: &LineSeen) -> String {
        line.place.as_ref().map(|place| format!(" at {}", place.name)).unwrap_or_default()
    }

    fn items(&self, tags: &[String]) -> Vec<Link> {
        tags.iter().map(|tag| self.links().to_item(tag)).collect()
    }

    /// `47 days ago`; nothing where the day is not past.
    fn ago(&self, date: Date) -> Option<String> {
        let days = (self.seen.planned.ordered - date).get_days();
        let days = usize::try_from(days).ok().filter(|days| *days > 0)?;
        Some(format!("{} ago", words::count(days, "days")))
    }

    /// How likely a need is, by when.
    fn chance(&self, line: &LineSeen, need: &NeedSeen) -> String {
        let by = line.spares.plan.usable_on;
        match need.need.certain.as_ref().filter(|certain| certain.on <= by) {
            Some(certain) => format!("certain by {}", self.day(certain.on)),
            None => format!("{} by {}", percent(need.need.chance), self.day(by)),
        }
    }

    /// The derivation behind a need.
    fn why(&self, need: &NeedSeen) -> String {
        match (need.tags.first(), &need.rule) {
            (Some(tag), Some(rule)) => self.links().why(tag, rule),
            (Some(tag), None) => self.links().item(tag),
            (None, _) => String::new(),
        }
    }
}

/// `76 %`; a tenth below five.
fn percent(chance: f64) -> String {
    crate::stores::seen::percent(chance)
}

/// `3`, `250 m`.
fn quantity(amount: impl std::fmt::Display, unit: &str) -> String {
    if unit == "m" { format!("{amount} m") } else { amount.to_string() }
}
