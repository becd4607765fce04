//! What stops a launch in the next 18 months? Every date that does, on one strip of time for each station.

use std::collections::{BTreeMap, HashMap};

use askama::Template;
use axum::response::Response;
use jiff::civil::Date;
use policies::facts::{Fleet, StationId};

use super::asked::Asked;
use super::drawing::strip::{Dated, Off, Reach, Row, strip};
use super::fault::Fault;
use super::links::Link;
use super::parts::part;
use super::place::View;
use super::shell::Shell;
use super::source::Source;
use super::station::unknown;
use super::stops::{Stop, clashes};
use super::visit::{Visit, html};
use super::{Web, replay, words};
use crate::fitness::papers_of;
use crate::records::{Certificate, Concession, Defect, Station};

/// Stations on one page.
const STATIONS: usize = 30;
/// Lines of one station beside others; its own page has all.
const LINES: usize = 8;

struct Line {
    now: bool,
    when: String,
    tags: Vec<Link>,
    more: usize,
    task: String,
    by: String,
    why: Option<String>,
}

/// A station, or on a station's own page all of it.
struct Told {
    name: String,
    link: Option<Link>,
    clashes: Vec<String>,
    lines: Vec<Line>,
    hidden: usize,
    own: Vec<String>,
    ahead: String,
}

#[derive(Template)]
#[template(path = "line-ahead.html")]
struct Page {
    shell: Shell,
    answer: String,
    until: String,
    strip: String,
    stations: Vec<Told>,
    parts: Vec<(Link, bool)>,
}

struct Beside {
    stations: Vec<Station>,
    concessions: Vec<Concession>,
    certificates: Vec<Certificate>,
    defects: Vec<Defect>,
}

/// The page of all stations, or of the one that the address names.
///
/// # Errors
/// An unknown station, a date or a part that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let number = visit.query.part()?;
    let source = Source::open(&visit.web, &asked).await?;
    let beside = Beside {
        stations: source.records(|_: &Station| true).await?,
        concessions: source.records(|_: &Concession| true).await?,
        certificates: source.records(|_: &Certificate| true).await?,
        defects: source.records(|_: &Defect| true).await?,
    };
    let made = |fleet: &Fleet| make(&visit.web, &asked, fleet, &beside, (visit.name(), number));
    html(&source.fleet(made).await?)
}

struct Look<'l> {
    view: View<'l>,
    beside: &'l Beside,
    stops: HashMap<StationId, Vec<Stop>>,
}

fn make(
    web: &Web,
    asked: &Asked,
    fleet: &Fleet,
    beside: &Beside,
    (slug, number): (&str, usize),
) -> Result<Page, Fault> {
    let view = View::new(web, asked, fleet);
    let one = match slug {
        "" => None,
        slug => Some(view.find_station(slug).ok_or_else(|| unknown(&view, slug))?),
    };
    let all = one.map_or_else(|| view.coast_order(&beside.stations), |id| vec![id]);
    let here = part(all, (number, STATIONS), view.links, "/ahead", &[])?;
    // Flanks beyond the page count for what is hatched on it.
    let mut judged: Vec<StationId> = here.here.clone();
    judged.extend(here.here.iter().flat_map(|id| view.flanks_of(&beside.stations, *id)));
    let papers = papers_of(view.set, fleet, &beside.concessions, &beside.certificates, &beside.defects);
    let stops = view.stops(&view.judged_of(&judged, &beside.concessions), &papers);
    let look = Look { view, beside, stops };
    let known = match one {
        Some(id) => replay::known_at(web, asked, fleet, id),
        None => replay::known_everywhere(web, asked, fleet),
    };
    let months = super::stops::MONTHS;
    let title = match one {
        Some(id) => {
            format!("What stops a launch at {} in the next {months} months?", look.view.station(id).name)
        }
        None => format!("What stops a launch in the next {months} months?"),
    };
    Ok(Page {
        answer: look.answer(&here.here),
        until: words::full_day(look.view.stops_horizon()),
        strip: look.strip(&here.here, one),
        stations: here.here.iter().map(|id| look.told(*id, one)).collect(),
        parts: here.ways,
        shell: Shell::of(web, asked, &title, known),
    })
}

impl Look<'_> {
    fn of(&self, id: StationId) -> &[Stop] {
        self.stops.get(&id).map_or(&[], Vec::as_slice)
    }

    fn name(&self, id: StationId) -> &str {
        &self.view.station(id).name
    }

    /// What comes first.
    fn answer(&self, here: &[StationId]) -> String {
        let now = here.iter().filter(|id| self.of(**id).iter().any(|stop| stop.now)).count();
        let others = here.iter().flat_map(|id| self.of(*id).iter().map(move |stop| (*id, stop)));
        let others = others.filter(|(_, stop)| !stop.now && !stop.is_own());
        let dates = others.clone().count();
        let first = others.min_by_key(|(_, stop)| stop.first());
        let first = first.and_then(|(id, stop)| {
            let day = words::day(stop.first()?, self.view.as_of);
            let tag = stop.items.first().map(|item| self.view.tag(*item)).unwrap_or_default();
            Some(format!(" The first: {tag} at {}, {}, {day}.", self.name(id), stop.task))
        });
        let already = match (now, here.len()) {
            (0, _) => String::new(),
            (_, 1) => " A rule stops a launch already.".to_owned(),
            (now, _) => format!(" At {} a rule stops a launch already.", words::count(now, "stations")),
        };
        let dates = words::count(dates, "dates");
        format!("{dates} that others must come for.{}{already}", first.unwrap_or_default())
    }

    fn reach(&self) -> Reach {
        Reach { from: self.view.as_of, to: self.view.stops_horizon(), names: 170.0 }
    }

    /// A row for each station; of one alone, a row for each line.
    fn strip(&self, here: &[StationId], one: Option<StationId>) -> String {
        let mut reach = self.reach();
        if one.is_some() {
            reach.names = 320.0;
        }
        let title = format!(
            "Dates from {} to {} that stop a launch: brackets for windows, bars for last days, bands for odds; the list \
             below says the same in words.",
            words::full_day(reach.from),
            words::full_day(reach.to)
        );
        let rows: Vec<Row> = match one {
            Some(id) => self.rows_of(id),
            None => here.iter().map(|id| self.row(*id)).collect(),
        };
        strip("ahead", &title, reach, &rows)
    }

    fn row(&self, id: StationId) -> Row {
        let stops = self.of(id);
        let mut dates: Vec<Dated> = stops.iter().filter(|stop| !stop.now).map(dated).collect();
        dates.sort_unstable_by_key(|date| (date.hard, date.opens, date.planned, date.slight));
        dates.dedup();
        Row {
            name: self.name(id).to_owned(),
            dates,
            odds: stops.iter().filter(|stop| !stop.now).map(|stop| stop.odds).collect(),
            off: stops.iter().any(|stop| stop.now).then(Off::default),
            clashes: self.clashes(id).into_iter().map(|(_, days)| days).collect(),
        }
    }

    fn rows_of(&self, id: StationId) -> Vec<Row> {
        let clashes: Vec<(Date, Date)> = self.clashes(id).into_iter().map(|(_, days)| days).collect();
        let row = |stop: &Stop| Row {
            name: format!("{} {}", self.tags(stop), stop.task),
            dates: if stop.now { Vec::new() } else { vec![dated(stop)] },
            odds: if stop.now || stop.odds == [None; 3] { Vec::new() } else { vec![stop.odds] },
            off: stop.now.then(Off::default),
            clashes: clashes
                .iter()
                .copied()
                .filter(|(from, to)| stop.first().is_some_and(|day| *from <= day && day <= *to))
                .collect(),
        };
        let others = self.of(id).iter().filter(|stop| !stop.is_own());
        let mut rows: Vec<Row> = others.map(row).collect();
        let own = self.of(id).iter().filter(|stop| stop.is_own() && !stop.now);
        let mut dates: Vec<Dated> = own.map(dated).collect();
        dates.sort_unstable_by_key(|date| date.hard);
        dates.dedup_by_key(|date| date.hard);
        if !dates.is_empty() {
            rows.insert(0, Row { name: "its own checks".to_owned(), dates, ..Row::default() });
        }
        rows
    }

    fn tags(&self, stop: &Stop) -> String {
        let mut tags: Vec<&str> = stop.items.iter().map(|item| self.view.tag(*item)).collect();
        tags.dedup();
        match tags[..] {
            [] => String::new(),
            [one] => one.to_owned(),
            [first, ..] => format!("{first} +{}", tags.len() - 1),
        }
    }

    /// Flanks with dates near to this station's, each with the days.
    fn clashes(&self, id: StationId) -> Vec<(StationId, (Date, Date))> {
        let flanks = self.view.flanks_of(&self.beside.stations, id);
        let near = flanks.into_iter().flat_map(|flank| {
            clashes(self.of(id), self.of(flank)).into_iter().map(move |days| (flank, days))
        });
        let mut near: Vec<_> = near.collect();
        near.sort_by_key(|(flank, days)| (*days, *flank));
        near
    }

    fn told(&self, id: StationId, one: Option<StationId>) -> Told {
        let others: Vec<&Stop> = self.of(id).iter().filter(|stop| !stop.is_own() || stop.now).collect();
        let shown = if one.is_some() { others.len() } else { LINES.min(others.len()) };
        Told {
            name: self.name(id).to_owned(),
            link: Some(self.view.station_link(id)),
            clashes: self.clash_words(id),
            lines: others[..shown].iter().map(|stop| self.line(stop)).collect(),
            hidden: others.len() - shown,
            own: self.own(id),
            ahead: self.view.links.station_ahead(&self.view.station(id).slug),
        }
    }

    fn line(&self, stop: &Stop) -> Line {
        let (tags, more) = self.view.tags_of(stop);
        Line {
            now: stop.now,
            when: words::upper_first(&stop.when(self.view.as_of)),
            tags,
            more,
            task: stop.task.clone(),
            by: stop.by.clone().unwrap_or_default(),
            why: stop.why.clone(),
        }
    }

    fn clash_words(&self, id: StationId) -> Vec<String> {
        let mut by_flank: BTreeMap<StationId, Vec<String>> = BTreeMap::new();
        for (flank, (from, to)) in self.clashes(id) {
            let day = |date: Date| words::day(date, self.view.as_of);
            let said = if from == to { day(from) } else { format!("{} and {}", day(from), day(to)) };
            let own = by_flank.entry(flank).or_default();
            if !own.contains(&said) {
                own.push(said);
            }
        }
        let said = by_flank
            .into_iter()
            .map(|(flank, days)| format!("No day between it and {}: {}.", self.name(flank), days.join("; ")));
        said.collect()
    }

    /// `14 on 19 Oct` for each day that the station's own hands have by when.
    fn own(&self, id: StationId) -> Vec<String> {
        let own = self.of(id).iter().filter(|stop| stop.is_own() && !stop.now);
        let mut days: BTreeMap<Date, usize> = BTreeMap::new();
        for stop in own {
            if let Some(day) = stop.hard.or(stop.odds[0]) {
                *days.entry(day).or_default() += stop.items.len();
            }
        }
        days.into_iter()
            .map(|(day, count)| format!("{count} by {}", words::day(day, self.view.as_of)))
            .collect()
    }
}

fn dated(stop: &Stop) -> Dated {
    Dated { opens: stop.opens, planned: stop.planned, hard: stop.hard, slight: stop.is_own() }
}
