//! Can we launch? The region on one page: what stops a launch, what limits it, what will.

use std::collections::HashMap;
use std::fmt::Write;

use askama::Template;
use axum::response::Response;
use jiff::civil::Date;
use policies::facts::{Fleet, StationId};
use policies::readiness::StationReadiness;
use policies::standing::Standing;

use super::asked::Asked;
use super::bodies::Body;
use super::entry::{Decision, decisions};
use super::fault::Fault;
use super::holds::Block;
use super::judged::{Bite, Judged, by_urgency};
use super::line::Line;
use super::links::{Link, Links};
use super::outfit::{Gap, Told, lacking};
use super::place::View;
use super::shell::Shell;
use super::source::Source;
use super::visit::{Visit, html};
use super::{Web, filters, replay, words};
use crate::cover;
use crate::doubts;
use crate::fitness::{Words, papers_of};
use crate::records::{Concession, Station};

/// Lines on the first screen.
const LINES: usize = 25;
/// How far ahead the region looks.
const AHEAD_DAYS: i32 = 28;

/// Records beside the fleet.
struct Beside {
    stations: Vec<Station>,
    concessions: Vec<Concession>,
    told: Told,
}

/// A station with its lines.
#[derive(Default)]
struct Part {
    id: Option<StationId>,
    station: Link,
    /// Flanking stations in the same plight, in words.
    flanks: String,
    lines: Vec<Line>,
    holds: Vec<Block>,
}

/// A station in the table.
struct Row {
    station: Link,
    stops: usize,
    limits: usize,
    standings: [usize; 5],
    log: String,
    old: bool,
}

/// The page, with what waits for a decision of who reads it.
#[derive(Template)]
#[template(path = "region.html")]
struct Page<'b> {
    shell: Shell,
    body: &'b Body,
    decisions: Vec<Decision>,
    more_decisions: usize,
}

#[derive(Template)]
#[template(path = "region-top.html")]
struct Top<'a> {
    answer: String,
    links: &'a Links,
}

#[derive(Template)]
#[template(path = "region-rest.html")]
struct Rest {
    stops: Vec<Part>,
    /// None where no station flanks another.
    cover: Option<Vec<String>>,
    standard: u32,
    blocked: Vec<Line>,
    limits: Vec<Part>,
    ahead: Vec<Line>,
    /// Doubts in the logs, by station.
    doubts: Vec<(Link, Vec<String>)>,
    until: String,
    own: usize,
    hidden: usize,
    whole: String,
    stations: Vec<Row>,
}

/// The page.
///
/// # Errors
/// A date that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let sort = if asked.signed.is_some() { "region" } else { "region for strangers" };
    let body = visit.bodies.of(visit, &asked, sort, || Box::pin(body(visit.clone(), asked.clone()))).await?;
    let (decisions, more_decisions) = if asked.replays { (Vec::new(), 0) } else { decisions(visit).await? };
    let shell = Shell::of(&visit.web, &asked, &body.title, body.known.clone());
    html(&Page { shell, body: &body, decisions, more_decisions })
}

async fn body(visit: Visit, asked: Asked) -> Result<Body, Fault> {
    let (visit, asked) = (&visit, &asked);
    let source = Source::open(&visit.web, asked).await?;
    let beside = Beside {
        stations: source.records(|_: &Station| true).await?,
        concessions: source.records(|_: &Concession| true).await?,
        told: Told::read(visit, asked, &source, None).await?,
    };
    source.fleet(|fleet| make(&visit.web, asked, fleet, &beside)).await
}

fn make(web: &Web, asked: &Asked, fleet: &Fleet, beside: &Beside) -> Result<Body, Fault> {
    let view = View::new(web, asked, fleet);
    let region = Region {
        order: view.coast_order(&beside.stations),
        judged: view.judged(&beside.concessions),
        view,
        beside,
    };
    let readiness = region.view.readiness(&beside.told, &beside.concessions);
    let cover = region.cover(&readiness);
    let gaps = lacking(readiness);
    let stops = region.parts(Bite::Stops, &gaps);
    let limits = region.parts(Bite::Limits, &[]);
    let ahead = region.view.ahead(&region.judged, region.horizon());
    let top = Top { answer: region.answer(&stops, &limits), links: &asked.links };
    let mut rest = Rest {
        stops,
        cover,
        standard: web.desk.set.service.cover_standard_minutes,
        blocked: region.blocked(),
        limits,
        ahead: ahead.lines,
        doubts: region.doubts(),
        own: ahead.own,
        until: words::day(region.horizon(), asked.as_of),
        hidden: 0,
        whole: asked.links.whole("/"),
        stations: region.rows(web, asked, &gaps),
    };
    if !asked.all {
        rest.hidden = cut(&mut rest);
    }
    for part in &mut rest.stops {
        part.holds = part.id.map(|id| region.view.holds(id)).unwrap_or_default();
    }
    Ok(Body {
        title: "Can we launch?".to_owned(),
        known: replay::known_everywhere(web, asked, fleet),
        before: top.render()?,
        after: rest.render()?,
    })
}

/// Keeps the first screen to its lines, the worst first; tells how many are hidden.
fn cut(page: &mut Rest) -> usize {
    let (mut room, mut hidden) = (LINES, 0);
    let mut keep = |lines: &mut Vec<Line>| {
        hidden += lines.len().saturating_sub(room);
        lines.truncate(room);
        room -= lines.len();
    };
    page.stops.iter_mut().chain(&mut page.limits).for_each(|part| keep(&mut part.lines));
    keep(&mut page.blocked);
    keep(&mut page.ahead);
    page.stops.retain(|part| !part.lines.is_empty());
    page.limits.retain(|part| !part.lines.is_empty());
    hidden
}

struct Region<'f> {
    view: View<'f>,
    beside: &'f Beside,
    order: Vec<StationId>,
    judged: Vec<Judged<'f>>,
}

impl Region<'_> {
    fn horizon(&self) -> Date {
        let ahead = jiff::Span::new().days(AHEAD_DAYS);
        self.view.as_of.checked_add(ahead).unwrap_or(Date::MAX)
    }

    fn lines<'j>(&self, rows: impl Iterator<Item = &'j Judged<'j>>) -> Vec<Line> {
        let mut rows: Vec<&Judged> = rows.collect();
        by_urgency(&self.view, &mut rows);
        self.view.alike(rows).iter().map(|group| self.view.line(group)).collect()
    }

    /// Lines by station, stations in their order; those without lines left out.
    fn parts(&self, bite: Bite, gaps: &[Gap]) -> Vec<Part> {
        let mut parts: Vec<Part> = Vec::new();
        for id in &self.order {
            let here = gaps.iter().filter(|gap| gap.station == *id);
            let mut lines = self.view.gap_lines(here, &self.beside.told);
            lines.extend(
                self.lines(self.judged.iter().filter(|row| row.bite == bite && row.station == Some(*id))),
            );
            if !lines.is_empty() {
                let station = self.view.station_link(*id);
                let id = Some(*id);
                parts.push(Part { id, station, lines, ..Part::default() });
            }
        }
        let affected: Vec<StationId> = parts.iter().filter_map(|part| part.id).collect();
        for part in &mut parts {
            part.flanks = part.id.map(|id| self.flank_words(id, &affected)).unwrap_or_default();
        }
        parts
    }

    fn flank_words(&self, id: StationId, affected: &[StationId]) -> String {
        let flanks = self.view.flanks_of(&self.beside.stations, id);
        let both = affected.iter().filter(|other| flanks.contains(other));
        let names: Vec<&str> = both.map(|other| &*self.view.station(*other).name).collect();
        match names.len() {
            0 => String::new(),
            1 => format!("its flank {} is affected too", names[0]),
            _ => format!("its flanks {} are affected too", words::list(&names)),
        }
    }

    /// What the cover of the coast lacks, in sentences.
    fn cover(&self, readiness: &[StationReadiness]) -> Option<Vec<String>> {
        let View { set, fleet, evaluator, judged, .. } = &self.view;
        let told = &self.beside.told;
        let papers = papers_of(set, fleet, &self.beside.concessions, &*told.certificates, &*told.defects);
        let (as_of, papers, causes) = (*judged, &papers, &told.causes);
        let words = Words { set, fleet, as_of, evaluator, papers, causes };
        let lines = cover::lines(&words, &self.beside.stations, readiness);
        (!lines.is_empty()).then(|| cover::summary(&lines))
    }

    /// They change no state, but a log that is in doubt must not be read as quiet.
    fn doubts(&self) -> Vec<(Link, Vec<String>)> {
        let View { set, fleet, evaluator, .. } = &self.view;
        let found = evaluator.doubts_by_station();
        let own = |id: &StationId| {
            let says: Vec<String> =
                found[id.0 as usize].iter().map(|doubt| doubts::says(set, fleet, doubt)).collect();
            (!says.is_empty()).then(|| (self.view.station_link(*id), says))
        };
        self.order.iter().filter_map(own).collect()
    }

    fn blocked(&self) -> Vec<Line> {
        self.lines(self.judged.iter().filter(|row| row.bite == Bite::Blocked))
    }

    /// The question's answer in a sentence or two.
    fn answer(&self, stops: &[Part], limits: &[Part]) -> String {
        if self.order.is_empty() {
            return "No station was known then, so nothing can be said.".to_owned();
        }
        let total = words::count(self.order.len(), "stations");
        let limited = limits.iter().filter(|part| !stops.iter().any(|stop| stop.station == part.station));
        let limited: Vec<&str> = limited.map(|part| part.station.text.as_str()).collect();
        let stopped: Vec<&str> = stops.iter().map(|part| part.station.text.as_str()).collect();
        let mut text = match stopped.len() {
            0 => format!("No gear stops a launch at any of the {total}."),
            count => format!(
                "Gear stops a launch at {count} of {total}: {}{}",
                words::list(&stopped),
                together(stops)
            ),
        };
        if !limited.is_empty() {
            let _ = write!(text, " At {} gear limits a launch.", words::list(&limited));
        }
        text
    }

    fn rows(&self, web: &Web, asked: &Asked, gaps: &[Gap]) -> Vec<Row> {
        let mut counts: HashMap<StationId, [usize; 5]> = HashMap::new();
        let mut bites: HashMap<(StationId, Bite), usize> = HashMap::new();
        for judged in &self.judged {
            let Some(station) = judged.station else { continue };
            counts.entry(station).or_default()[judged.row.standing as usize] += 1;
            *bites.entry((station, judged.bite)).or_default() += 1;
        }
        let row = |id: &StationId| {
            let bite = |bite| bites.get(&(*id, bite)).copied().unwrap_or(0);
            let (log, old) = self.log(web, asked, *id);
            Row {
                station: self.view.station_link(*id),
                stops: bite(Bite::Stops) + gaps.iter().filter(|gap| gap.station == *id).count(),
                limits: bite(Bite::Limits),
                standings: counts.get(id).copied().unwrap_or_default(),
                log,
                old,
            }
        };
        self.order.iter().map(row).collect()
    }

    fn log(&self, web: &Web, asked: &Asked, id: StationId) -> (String, bool) {
        let fleet = self.view.fleet;
        let zone = &fleet.zones[usize::from(self.view.station(id).zone.0)];
        let last = replay::last_log(fleet, id, zone.end_of(asked.as_of));
        let log = last.map_or("none".to_owned(), |at| words::moment(zone, at));
        (log, replay::too_old(web, asked.as_of, last).is_some())
    }
}

/// Whether stopped stations flank each other, as the end of a sentence.
fn together(stops: &[Part]) -> &'static str {
    let flanking = stops.iter().filter(|part| !part.flanks.is_empty()).count();
    match (flanking, stops.len()) {
        (0, _) => ".",
        (2, 2) => ", which flank each other.",
        _ => ". Some of them flank each other.",
    }
}

impl Row {
    fn of(&self, standing: Standing) -> usize {
        self.standings[standing as usize]
    }
}
