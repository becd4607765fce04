//! Dates as a calendar that other programs subscribe to, behind a secret link.

use axum::http::header;
use axum::response::{IntoResponse, Response};
use jiff::civil::Date;
use policies::due::{DueRow, Evaluator};
use policies::facts::Fleet;
use policies::rule::Effect;
use policies::zone::Instant;

use super::Web;
use super::fault::Fault;
use super::visit::Visit;
use super::words;
use crate::accounts::calendars::Subscribed;
use crate::gear;
use crate::notices::ical::{self, Event, Status};

/// So many days ahead are shown.
const AHEAD: i32 = 400;

/// A calendar as the page of an account lists it.
pub(super) struct Listed {
    pub(super) what: String,
    pub(super) since: String,
    pub(super) digest: String,
}

/// Somebody's calendars.
///
/// # Errors
/// The store's own.
pub(super) async fn listed(web: &Web, email: &str) -> Result<Vec<Listed>, Fault> {
    let zone = &web.desk.set.service.home_zone;
    let mut listed = Vec::new();
    for calendar in web.door.accounts.calendars(email).await? {
        let what = match &calendar.station {
            None => "your own dates".to_owned(),
            Some(slug) => {
                format!("dates of {}", super::station_name(web, slug).await.unwrap_or_else(|_| slug.clone()))
            }
        };
        let since = words::moment(zone, Instant(calendar.made_at));
        listed.push(Listed { what, since, digest: calendar.digest });
    }
    Ok(listed)
}

/// The calendar of a link.
///
/// # Errors
/// A link that opens nothing, or the store's own.
pub(super) async fn feed(visit: &Visit) -> Result<Response, Fault> {
    let nothing = || {
        Fault::missing(
            "This link opens no calendar.",
            "It may be revoked. Its person makes another under /account.",
            Vec::new(),
        )
    };
    let token = visit.name().strip_suffix(".ics").ok_or_else(nothing)?;
    let web = &visit.web;
    let open = web.door.accounts.subscribed(token).await?.ok_or_else(nothing)?;
    let events = web.desk.with_fleet(|fleet| Feed::of(web, fleet, &open).events()).await?;
    let text = ical::calendar(&events, web.desk.now().timestamp(), &open.who.person.key);
    Ok(([(header::CONTENT_TYPE, "text/calendar; charset=utf-8")], text).into_response())
}

struct Feed<'f> {
    web: &'f Web,
    fleet: &'f Fleet,
    evaluator: Evaluator<'f>,
    /// Only gear of this station.
    station: Option<&'f str>,
    today: Date,
    last: Date,
}

impl<'f> Feed<'f> {
    fn of(web: &'f Web, fleet: &'f Fleet, open: &'f Subscribed) -> Feed<'f> {
        let as_of = web.stated.map_or_else(|| web.desk.as_of(), policies::as_of::AsOf::Day);
        let today = as_of.day_in(&web.desk.set.service.home_zone);
        let days = jiff::Span::new().try_days(AHEAD);
        Feed {
            web,
            fleet,
            evaluator: Evaluator::new(&web.desk.set, fleet, as_of),
            station: open.station.as_deref().or(open.who.person.station.as_deref()),
            today,
            last: days.and_then(|days| today.checked_add(days)).unwrap_or(Date::MAX),
        }
    }

    /// Every date of the station; of the whole region, those that stop or limit a launch.
    fn events(&self) -> Vec<Event> {
        let set = &self.web.desk.set;
        let mut rows = Vec::new();
        for id in self.fleet.ids() {
            let slug = self.fleet.station_of(self.fleet.item(id)).map(|station| &*station.slug);
            if self.station.is_none_or(|own| slug == Some(own)) {
                self.evaluator.rows_of(id, &mut rows);
            }
        }
        rows.retain(|row: &DueRow| {
            let near = row.due_on.is_none_or(|day| day <= self.last) && row.because.is_some();
            near && (self.station.is_some() || set.rule(row.rule).overdue != Effect::Advisory)
        });
        let mut events: Vec<Event> = rows.iter().map(|row| self.event(row)).collect();
        events.sort_by(|a, b| (a.due_on, &a.item, &a.rule).cmp(&(b.due_on, &b.item, &b.rule)));
        if events.is_empty() {
            // A calendar holds at least one entry (RFC 5545, 3.6).
            events.push(self.nothing());
        }
        events
    }

    fn event(&self, row: &DueRow) -> Event {
        let (set, item) = (&self.web.desk.set, self.fleet.item(row.item));
        let rule = set.rule(row.rule);
        let cutoff = self.evaluator.cutoff(item);
        let pages = self.web.door.origin.as_deref();
        Event {
            item: item.tag.to_string(),
            rule: rule.id.clone(),
            occurrence: "calendar".to_owned(),
            due_on: row.due_on.unwrap_or(self.today),
            summary: format!("{} · {}", item.tag, rule.title),
            description: format!("{}, {}; overdue: {}", rule.work, row.standing, rule.overdue),
            location: gear::place(set, self.fleet, row.item, cutoff),
            url: pages.map(|pages| format!("{pages}/item/{}", super::links::encoded(&item.tag, true))),
            ..self.nothing()
        }
    }

    fn nothing(&self) -> Event {
        let host = self.web.door.origin.as_deref().and_then(|origin| origin.split_once("://"));
        Event {
            item: "nothing".to_owned(),
            rule: "due".to_owned(),
            occurrence: "calendar".to_owned(),
            domain: host.map_or("localhost", |(_, host)| host).to_owned(),
            due_on: self.today,
            summary: format!("Nothing falls due within {AHEAD} days"),
            description: String::new(),
            location: String::new(),
            sequence: 0,
            status: Status::Confirmed,
            url: None,
        }
    }
}
