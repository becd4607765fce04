//! Can a boat reach everywhere? The coast drawn with its cover, and who will be off for what.

mod drawn;
mod order;
mod shoreline;

use std::collections::HashMap;

use askama::Template;
use axum::response::Response;
use jiff::civil::Date;
use policies::cover::{Coast, tenths};
use policies::facts::{Fleet, StationId};
use policies::readiness::{Papers, Readiness, Reason, StationReadiness};

use super::ahead::OWN_HANDS;
use super::asked::Asked;
use super::fault::Fault;
use super::line::Mark;
use super::links::Link;
use super::outfit::Told;
use super::parts::{Part, part};
use super::place::View;
use super::shell::Shell;
use super::source::Source;
use super::stops::Stop;
use super::visit::{Visit, html};
use super::{Web, drawing, filters, replay, words};
use crate::cover;
use crate::fitness::{Words, papers_of};
use crate::records::{Concession, Station};
use drawing::strip::{Dated, Off, Reach, Row};
use shoreline::{Shoreline, shorelines};

/// Stations on one page.
const STATIONS: usize = 30;
/// Dates of one station that are told here; its line ahead tells all.
const DATES: usize = 6;
/// Reasons of one station that are told here; its own page tells all.
const REASONS: usize = 3;

/// A station in words.
struct Posted {
    station: Link,
    mark: Mark,
    off: bool,
    reasons: Vec<String>,
    more: usize,
    back: Option<String>,
    next: Vec<(String, Vec<Link>, usize, String)>,
    dates: usize,
    ahead: String,
}

/// A stretch of the cover.
struct Stretch {
    between: String,
    nm: String,
    minutes: String,
    over: String,
    notes: String,
    is_gap: bool,
}

#[derive(Template)]
#[template(path = "coast.html")]
struct Page {
    shell: Shell,
    answer: String,
    gaps: Vec<String>,
    standard: u32,
    drawings: Vec<String>,
    apart: Vec<(Mark, Link, &'static str)>,
    strip: String,
    days: Vec<Link>,
    stations: Vec<Posted>,
    stretches: Vec<Stretch>,
    parts: Vec<(Link, bool)>,
    until: String,
    to_come: bool,
    line_ahead: String,
}

/// Records beside the fleet.
struct Beside {
    stations: Vec<Station>,
    concessions: Vec<Concession>,
    told: Told,
}

/// The page.
///
/// # Errors
/// A date or a part that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let number = visit.query.part()?;
    let source = Source::open(&visit.web, &asked).await?;
    let beside = Beside {
        stations: source.records(|_: &Station| true).await?,
        concessions: source.records(|_: &Concession| true).await?,
        told: Told::read(visit, &asked, &source, None).await?,
    };
    let page = source.fleet(|fleet| make(&visit.web, &asked, fleet, &beside, number)).await?;
    html(&page)
}

/// Everything that the page is told from.
struct Look<'l> {
    view: View<'l>,
    papers: Papers,
    concessions: &'l [Concession],
    judged: Vec<StationReadiness>,
    coast: Coast,
    lines: Vec<cover::Line>,
}

fn make(web: &Web, asked: &Asked, fleet: &Fleet, beside: &Beside, number: usize) -> Result<Page, Fault> {
    let view = View::new(web, asked, fleet);
    let told = &beside.told;
    let papers = papers_of(view.set, fleet, &beside.concessions, &*told.certificates, &*told.defects);
    let today = web.stated.unwrap_or_else(|| web.desk.as_of().day_in(&web.desk.set.service.home_zone));
    let to_come = asked.as_of > today;
    let mut judged = view.readiness(told, &beside.concessions);
    if to_come {
        for found in &mut judged {
            foreseen(&view, found);
        }
    }
    let words = Words {
        set: view.set,
        fleet,
        as_of: view.judged,
        evaluator: &view.evaluator,
        papers: &papers,
        causes: &told.causes,
    };
    let lines = cover::lines(&words, &beside.stations, &judged);
    let coast = cover::coast(&words, &beside.stations, &judged);
    let (shores, apart) = shorelines(&coast);
    let order = order(&shores, &apart);
    let here = part(order, (number, STATIONS), view.links, "/coast", &[])?;
    let shown: Vec<StationReadiness> =
        judged.iter().filter(|found| here.here.contains(&found.station)).cloned().collect();
    let told_lines = words.lines(&shown);
    let look = Look { papers: papers.clone(), concessions: &beside.concessions, judged, coast, lines, view };
    Ok(look.page(web, asked, (&shores, &apart), here, &told_lines, to_come))
}

/// On a day to come nobody can have written up the log, and by then the stations' own hands have seen to their own
/// checks: what is left is what others must come for.
fn foreseen(view: &View, found: &mut StationReadiness) {
    let own = |row: &policies::due::DueRow| {
        view.set.rule(row.rule).by.as_deref().is_some_and(|by| OWN_HANDS.contains(&by))
    };
    found.reasons.retain(|reason| match reason {
        Reason::OldLog { .. } => false,
        Reason::Rule { row, .. } => !own(row),
        _ => true,
    });
    found.readiness = found.reasons.first().map_or(Readiness::Ready, Reason::readiness);
}

/// Along each coast, those off it behind the first that they flank; those apart last.
fn order(shores: &[Shoreline], apart: &[StationId]) -> Vec<StationId> {
    let mut order = Vec::new();
    for shore in shores {
        for (at, (station, _)) in shore.along.iter().enumerate() {
            order.push(*station);
            let joined = |joins: &[(usize, f64)]| joins.first().map_or(0, |join| join.0) == at;
            order.extend(shore.off.iter().filter(|(_, joins)| joined(joins)).map(|(station, _)| *station));
        }
    }
    order.extend(apart);
    order
}

impl Look<'_> {
    fn page(
        &self,
        web: &Web,
        asked: &Asked,
        (shores, apart): (&[Shoreline], &[StationId]),
        here: Part<StationId>,
        told: &[crate::fitness::Line],
        to_come: bool,
    ) -> Page {
        let stops = self.stops(&here.here);
        let fleet = self.view.fleet;
        let shown = |id: &&StationId| here.here.contains(id);
        let summary = cover::summary(&self.lines);
        let title = "Can a boat reach everywhere?";
        Page {
            answer: self.answer(),
            gaps: summary,
            standard: self.coast.standard_minutes,
            drawings: self.drawings(shores, &here.here),
            apart: apart.iter().filter(shown).map(|id| self.apart(*id)).collect(),
            strip: self.strip(&here.here, told, &stops),
            days: self.days(asked),
            stations: here.here.iter().map(|id| self.told(*id, told, &stops)).collect(),
            stretches: self.stretches(&here.here),
            parts: here.ways,
            until: words::full_day(self.view.stops_horizon()),
            to_come,
            line_ahead: asked.links.line_ahead(),
            shell: Shell::of(web, asked, title, replay::known_everywhere(web, asked, fleet)),
        }
    }

    fn readiness(&self, id: StationId) -> Readiness {
        let found = self.judged.iter().find(|found| found.station == id);
        found.map_or(Readiness::Unknown, |found| found.readiness)
    }

    fn apart(&self, id: StationId) -> (Mark, Link, &'static str) {
        let placed = self.coast.posts[id.0 as usize].point.is_some();
        let why = if placed { "" } else { ", its coordinates are not known" };
        (word_mark(self.readiness(id)), self.view.station_link(id), why)
    }

    fn name(&self, id: StationId) -> &str {
        &self.view.station(id).name
    }

    fn slug_name(&self, slug: &str) -> String {
        self.view.find_station(slug).map_or_else(|| slug.to_owned(), |id| self.name(id).to_owned())
    }

    fn stops(&self, here: &[StationId]) -> HashMap<StationId, Vec<Stop>> {
        let judged = self.view.judged_of(here, self.concessions);
        self.view.stops(&judged, &self.papers)
    }

    /// In a sentence.
    fn answer(&self) -> String {
        let gaps = self.lines.iter().filter(|line| line.short() == Some("gap")).count();
        let together = self.lines.iter().filter(|line| line.short() == Some("off together")).count();
        let standard = self.coast.standard_minutes;
        if self.lines.is_empty() {
            return "No station flanks another, so no cover can be reckoned.".to_owned();
        }
        let pairs = match together {
            0 => String::new(),
            1 => " One pair of flanks is off together.".to_owned(),
            more => format!(" {more} pairs of flanks are off together."),
        };
        let text = match gaps {
            0 => format!("Within {standard} min, as far as the cover is known."),
            1 => format!("No: one stretch waits longer than {standard} min."),
            more => format!("No: {more} stretches wait longer than {standard} min."),
        };
        text + &pairs
    }

    /// Today and the first of each month ahead.
    fn days(&self, asked: &Asked) -> Vec<Link> {
        let first = self.view.as_of.first_of_month();
        let months = (1..=super::stops::MONTHS)
            .filter_map(|month| first.checked_add(jiff::Span::new().months(month)).ok());
        let link = |day: Date| Link {
            text: if day.month() == 1 {
                day.strftime("%b %Y").to_string()
            } else {
                day.strftime("%b").to_string()
            },
            href: asked.links.coast_on(day),
        };
        months.map(link).collect()
    }

    fn strip(
        &self,
        here: &[StationId],
        told: &[crate::fitness::Line],
        stops: &HashMap<StationId, Vec<Stop>>,
    ) -> String {
        let rows: Vec<Row> = here.iter().map(|id| self.row(*id, told, stops)).collect();
        let reach = Reach { from: self.view.as_of, to: self.view.stops_horizon(), names: 170.0 };
        let title = format!(
            "Who is off from {} to {}: off now as a block, planned days as strokes, last days as bars; the list below says the same in words.",
            words::full_day(reach.from),
            words::full_day(reach.to)
        );
        drawing::strip::strip("off", &title, reach, &rows)
    }

    fn row(
        &self,
        id: StationId,
        told: &[crate::fitness::Line],
        stops: &HashMap<StationId, Vec<Stop>>,
    ) -> Row {
        let is_off = self.coast.posts[id.0 as usize].is_off();
        let back = told
            .iter()
            .find(|line| *line.station == *self.view.station(id).slug)
            .and_then(|line| line.back_on.as_deref()?.parse().ok());
        let coming = coming(stops.get(&id));
        let dated = |stop: &Stop| Dated {
            opens: None,
            planned: stop.odds[0].into_iter().chain(stop.planned).min(),
            hard: stop.hard,
            slight: false,
        };
        Row {
            name: self.name(id).to_owned(),
            dates: coming.into_iter().map(dated).collect(),
            off: is_off.then_some(Off { back }),
            ..Row::default()
        }
    }

    fn told(
        &self,
        id: StationId,
        told: &[crate::fitness::Line],
        stops: &HashMap<StationId, Vec<Stop>>,
    ) -> Posted {
        let slug = &*self.view.station(id).slug;
        let line = told.iter().find(|line| line.station == slug);
        let mut reasons = line.map(|line| line.reasons.clone()).unwrap_or_default();
        let more = reasons.len().saturating_sub(REASONS);
        reasons.truncate(REASONS);
        let readiness = self.readiness(id);
        let coming = coming(stops.get(&id));
        let dates = coming.len();
        let next = coming.into_iter().take(DATES).map(|stop| {
            let (tags, more) = self.view.tags_of(stop);
            (stop.when(self.view.as_of), tags, more, stop.task.clone())
        });
        let back = line.and_then(|line| line.back_on.as_deref()?.parse::<Date>().ok());
        Posted {
            station: self.view.station_link(id),
            mark: word_mark(readiness),
            off: readiness == Readiness::NotReady,
            reasons,
            more,
            back: back.map(words::full_day),
            next: next.collect(),
            dates,
            ahead: self.view.links.station_ahead(slug),
        }
    }

    fn stretches(&self, here: &[StationId]) -> Vec<Stretch> {
        let shown = |line: &&cover::Line| {
            let ends = [&line.station, &line.other];
            ends.into_iter().filter_map(|slug| self.view.find_station(slug)).any(|id| here.contains(&id))
        };
        self.lines.iter().filter(shown).map(|line| self.stretch(line)).collect()
    }

    fn stretch(&self, line: &cover::Line) -> Stretch {
        let past: Vec<String> = line.past.iter().map(|slug| self.slug_name(slug)).collect();
        let past = if past.is_empty() { String::new() } else { format!(" past {}", words::list(&past)) };
        let (one, other) = (self.slug_name(&line.station), self.slug_name(&line.other));
        let figure = |value: Option<f64>| value.map(|value| format!("{:.1}", tenths(value)));
        let between = match line.what {
            "off together" => format!("{one} and {other}: both off"),
            "stretch" => format!("{one} to {other}{past}"),
            _ if other.is_empty() => format!("{one}, off"),
            _ => format!("{one}, off, from {other}"),
        };
        Stretch {
            between,
            nm: figure(line.distance_nm).unwrap_or_default(),
            minutes: figure(line.minutes).unwrap_or_default(),
            over: figure(line.over_by_minutes.filter(|over| *over > 0.0)).unwrap_or_default(),
            notes: line.notes.join("; "),
            is_gap: line.short().is_some(),
        }
    }
}

/// What others must come for, and has a date.
fn coming(stops: Option<&Vec<Stop>>) -> Vec<&Stop> {
    stops.into_iter().flatten().filter(|stop| !stop.now && !stop.is_own()).collect()
}

fn word_mark(readiness: Readiness) -> Mark {
    let shape = match readiness {
        Readiness::Ready => "●",
        Readiness::ReadyWithLimits => "◇",
        Readiness::NotReady => "✕",
        Readiness::Unknown => "?",
    };
    Mark { shape, word: readiness.word() }
}
