//! What must be done at a station: three lists in order of what stops a launch, and the card for before use.

use std::collections::HashMap;

use askama::Template;
use axum::response::Response;
use jiff::civil::Date;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId, StationId};
use policies::rule::{Effect, RuleId};
use policies::standing::Standing;

use super::asked::Asked;
use super::bodies::{Body, Making};
use super::doubts::{self, Doubt};
use super::fault::Fault;
use super::holds::Block;
use super::judged::{Bite, Judged, by_urgency};
use super::line::Line;
use super::links::{Link, Links};
use super::loans::Lent;
use super::log::LogForm;
use super::outfit::{Gap, Told};
use super::place::View;
use super::replay::Known;
use super::shell::Shell;
use super::source::Source;
use super::visit::{Visit, html};
use super::{Web, caution, entry, filters, log, replay, words};
use crate::examine::defects;
use crate::items::loans::agreed;
use crate::records::{Concession, Loan};

/// Lines of a list that stand on the first screen.
const LINES: usize = 25;

/// One of the lists.
struct List {
    heading: &'static str,
    about: &'static str,
    lines: Vec<Line>,
    hidden: usize,
}

/// A line of the before-use card.
struct Check {
    title: String,
    rule: Link,
    /// `C-0228, C-0229 · stopper, 13 mm`, one for each thing of its sort.
    gear: Vec<String>,
}

/// The page, with the form of who may log here.
#[derive(Template)]
#[template(path = "station.html")]
struct Page<'b> {
    shell: Shell,
    body: &'b Body,
    log: Option<LogForm>,
}

#[derive(Template)]
#[template(path = "station-top.html")]
struct Top {
    name: String,
    answer: String,
    next: String,
}

#[derive(Template)]
#[template(path = "station-rest.html")]
struct Rest<'a> {
    holds: Vec<Block>,
    hold_caution: &'static str,
    lists: Vec<List>,
    in_date: usize,
    defects: Vec<(Link, String)>,
    doubts: Vec<Doubt>,
    card: Vec<Check>,
    card_caution: &'static str,
    card_sheet: String,
    loans: Vec<Lent>,
    whole: String,
    register: String,
    slug: String,
    all: bool,
    /// Whether who reads it may log here.
    may_log: bool,
    links: &'a Links,
}

/// The page.
///
/// # Errors
/// An unknown station, a date that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let log = log::form(visit, visit.name(), asked.replays).await?;
    let reader = visit.presence.seen().map_or("", |seen| &*seen.who.person.key);
    let sort = format!("station {} {reader}", visit.name());
    let may_log = log.is_some();
    let make = || -> Making { Box::pin(body(visit.clone(), asked.clone(), may_log)) };
    let body = visit.bodies.of(visit, &asked, &sort, make).await?;
    let shell = Shell::of(&visit.web, &asked, &body.title, body.known.clone());
    let shell = if may_log { shell.scripted() } else { shell };
    html(&Page { shell, body: &body, log })
}

async fn body(visit: Visit, asked: Asked, may_log: bool) -> Result<Body, Fault> {
    let (visit, asked) = (&visit, &asked);
    let source = Source::open(&visit.web, asked).await?;
    let concessions = source.records(|_: &Concession| true).await?;
    let told = Told::read(visit, asked, &source, Some(visit.name())).await?;
    let loans = source.records(|_: &Loan| true).await?;
    let made = |fleet: &Fleet| make(&visit.web, asked, fleet, visit.name(), &concessions, &told, &loans);
    let (known, top, mut rest, open) = source.fleet(made).await?;
    rest.doubts = doubts::keyed(&visit.web, asked, open).await?;
    rest.may_log = may_log;
    if may_log {
        let said = entry::not_now(&visit.web).await?;
        source
            .fleet(|fleet| {
                let _: () = rest.marked(visit, fleet, &said);
                Ok(())
            })
            .await?;
    }
    let title = format!("What must be done at {}?", top.name);
    Ok(Body { title, known, before: top.render()?, after: rest.render()? })
}

impl Rest<'_> {
    /// With the ways to record each line's work, and what was said of it meanwhile.
    fn marked(&mut self, visit: &Visit, fleet: &Fleet, said: &HashMap<String, entry::NotNow>) {
        let evaluator = Evaluator::without_forecasts(&visit.web.desk.set, fleet, visit.web.desk.as_of());
        for line in self.lists.iter_mut().flat_map(|list| &mut list.lines) {
            let Some(detail) = &mut line.detail else { continue };
            let rule = detail.rule.text.clone();
            for tag in &line.tags {
                let Some(id) = fleet.find(&tag.text) else { continue };
                let item = fleet.item(id);
                let owner = fleet.station_of(item).map(|station| &*station.slug);
                detail.records_at.extend(entry::ways_of_task(visit, &tag.text, &rule, owner));
                let last = visit.web.desk.set.find_rule(&rule);
                let last =
                    last.and_then(|rule| evaluator.counting(item, rule).next_back().map(|done| done.at));
                let word = said.get(&format!("{} {rule}", tag.text));
                let word = word.and_then(|word| word.says(last, fleet.zone_of(item)));
                line.notes.extend(word.map(|word| format!("{}: {word}", tag.text)));
            }
        }
    }
}

fn make<'a>(
    web: &Web,
    asked: &'a Asked,
    fleet: &Fleet,
    slug: &str,
    concessions: &[Concession],
    told: &Told,
    loans: &[Loan],
) -> Result<(Known, Top, Rest<'a>, Vec<crate::doubts::Told>), Fault> {
    let view = View::new(web, asked, fleet);
    let id = view.find_station(slug).ok_or_else(|| unknown(&view, slug))?;
    let station = Station::of(view, id, concessions, told);
    let name = station.view.station(id).name.to_string();
    let known = replay::known_at(web, asked, fleet, id);
    let open = crate::doubts::told(&station.view.evaluator, station.view.set, fleet, Some(slug));
    let top = Top { name, answer: station.answer(), next: station.next() };
    let rest = Rest {
        holds: station.view.holds(id),
        hold_caution: caution::AFTER_SHOCK,
        lists: station.lists(asked.all),
        in_date: station.judged.iter().filter(|row| station.turn(row) == Turn::InDate).count(),
        defects: station.defects(),
        doubts: Vec::new(),
        card: station.card(),
        card_caution: caution::IF_IN_DOUBT,
        card_sheet: asked.links.card(slug),
        loans: station.view.lent(id, &agreed(fleet, loans)),
        whole: asked.links.whole(&format!("/station/{slug}")),
        register: asked.links.register(slug),
        slug: slug.to_owned(),
        all: asked.all,
        may_log: false,
        links: &asked.links,
    };
    Ok((known, top, rest, open))
}

pub(super) fn unknown(view: &View, slug: &str) -> Fault {
    let stations = view.fleet.stations.iter();
    let links = stations
        .map(|station| Link { text: station.name.to_string(), href: view.links.station(&station.slug) });
    Fault::missing(format!("No station is called \"{slug}\"."), "The stations are:", links.collect())
}

/// Rows of what counts for the station, and of what it owns that is fitted nowhere.
fn judged_here<'r>(view: &View, id: StationId, concessions: &'r [Concession]) -> Vec<Judged<'r>> {
    let here = view.fleet.ids().filter(|item| is_here(view, *item, id));
    let rows = here.flat_map(|item| view.rows_of(item));
    rows.map(|row| view.judge(row, concessions)).collect()
}

fn is_here(view: &View, item: ItemId, id: StationId) -> bool {
    view.counts_for(item).or(view.item(item).station) == Some(id)
}

/// A station with everything that is judged of its gear.
pub(super) struct Station<'f> {
    pub(super) view: View<'f>,
    id: StationId,
    pub(super) judged: Vec<Judged<'f>>,
    gaps: Vec<Gap>,
    told: &'f Told,
}

/// Which list a row belongs to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Turn {
    BeforeLaunch,
    ThisWeek,
    CanWait,
    InDate,
    /// Nothing calls for it, and no date is foreseen: its gear's own page has it.
    Silent,
}

impl<'f> Station<'f> {
    pub(super) fn of(
        view: View<'f>,
        id: StationId,
        concessions: &'f [Concession],
        told: &'f Told,
    ) -> Station<'f> {
        let gaps = view.gaps(told, id);
        Station { judged: judged_here(&view, id, concessions), gaps, view, id, told }
    }

    fn turn(&self, judged: &Judged) -> Turn {
        let week = self.view.as_of.checked_add(jiff::Span::new().days(7)).unwrap_or(Date::MAX);
        let near = judged.row.due_on.is_some_and(|due| due <= week);
        match (judged.bite, judged.row.standing) {
            (Bite::Stops | Bite::Limits, _) => Turn::BeforeLaunch,
            (_, Standing::Overdue | Standing::InTolerance | Standing::Due) => Turn::ThisWeek,
            // A weekly check is in date until two days before, and yet this week's work.
            (_, Standing::FallingDue | Standing::InDate) if near => Turn::ThisWeek,
            (_, Standing::FallingDue) => Turn::CanWait,
            (_, Standing::InDate) if judged.row.due_on.is_none() => Turn::Silent,
            (_, Standing::InDate) => Turn::InDate,
        }
    }

    fn lists(&self, all: bool) -> Vec<List> {
        let before = "What stops a launch, or limits it, as things are.";
        let week = "Due by the end of the seventh day, or past it without touching the launch.";
        let mut lists = vec![
            self.list("Before the next launch", before, Turn::BeforeLaunch),
            self.list("This week", week, Turn::ThisWeek),
            self.list("Can wait", "Falling due, later than this week.", Turn::CanWait),
        ];
        if all {
            lists.push(self.list("In date", "Nothing to do yet.", Turn::InDate));
        } else {
            lists.iter_mut().for_each(List::cut);
        }
        lists
    }

    fn list(&self, heading: &'static str, about: &'static str, turn: Turn) -> List {
        let mut rows: Vec<&Judged> = self.judged.iter().filter(|judged| self.turn(judged) == turn).collect();
        by_urgency(&self.view, &mut rows);
        let mut lines = match turn {
            Turn::BeforeLaunch => self.view.gap_lines(self.gaps.iter(), self.told),
            _ => Vec::new(),
        };
        lines.extend(self.view.alike(rows).iter().map(|group| match turn {
            // Nothing to do yet: its page has the rest.
            Turn::InDate => self.view.line(group),
            _ => self.view.full_line(group),
        }));
        List { heading, about, lines, hidden: 0 }
    }

    /// Whether gear stops a launch, in one sentence.
    pub(super) fn answer(&self) -> String {
        let of = |bite| self.judged.iter().filter(move |row| row.bite == bite).map(|row| row.row.item);
        let stops = self.tags(self.gaps.iter().filter_map(Gap::gear).chain(of(Bite::Stops)));
        let limits = self.tags(of(Bite::Limits));
        let too_few = "Gear stops a launch here: there is too little of it.";
        match (stops.is_empty(), limits.is_empty()) {
            (true, _) if !self.gaps.is_empty() => too_few.to_owned(),
            (false, _) => format!("Gear stops a launch here: {}.", words::list(&stops)),
            (true, false) => {
                format!("No gear here stops a launch; it is limited by {}.", words::list(&limits))
            }
            (true, true) => "No gear here stops a launch.".to_owned(),
        }
    }

    /// Open defects of gear that is here, each with its day: also those that stop nothing yet.
    fn defects(&self) -> Vec<(Link, String)> {
        let here = defects::of_fleet(self.view.fleet, &*self.told.defects);
        let here = here.iter().filter(|defect| {
            let item = self.view.item(defect.item);
            let in_service = !self.view.evaluator.is_withdrawn(item);
            in_service
                && defect.is_open(self.view.day(defect.item))
                && is_here(&self.view, defect.item, self.id)
        });
        here.map(|defect| (self.view.links.to_item(self.view.tag(defect.item)), defects::says(defect)))
            .collect()
    }

    fn tags(&self, ids: impl Iterator<Item = ItemId>) -> Vec<&str> {
        let mut tags: Vec<&str> = Vec::new();
        for id in ids {
            let tag = self.view.tag(id);
            if !tags.contains(&tag) {
                tags.push(tag);
            }
        }
        tags
    }

    /// What would change that: the next date or count that stops a launch.
    fn next(&self) -> String {
        let coming =
            self.judged.iter().filter(|row| row.bite == Bite::None && row.effect == Effect::StopsLaunch);
        let coming = coming.filter(|row| row.station.is_some() && row.row.due_on.is_some());
        let first = coming.clone().min_by_key(|row| (row.row.due_on, row.row.rule));
        let counted = coming.filter(|row| row.row.meter.is_some() && row.row.standing != Standing::InDate);
        let counted = counted.min_by_key(|row| (row.row.due_on, row.row.rule));
        let said = |row: &Judged| {
            let rule = self.view.set.rule(row.row.rule);
            let found = self.view.evaluator.derive(row.row.item, row.row.rule);
            let task = words::lower_first(&rule.title);
            format!("{}, {task}: {}", self.view.tag(row.row.item), self.view.when(&found).by)
        };
        let by_count = counted.filter(|row| first.is_none_or(|first| first.row != row.row));
        let mut text =
            first.map(|row| format!("The next that would, left undone: {}.", said(row))).unwrap_or_default();
        text += &by_count.map(|row| format!(" The next by its count: {}.", said(row))).unwrap_or_default();
        text
    }

    /// The card of this station.
    fn card(&self) -> Vec<Check> {
        let looked_at = self.view.looked_at(self.id);
        looked_at.into_iter().map(|(rule, items)| self.check(rule, &items)).collect()
    }

    fn check(&self, rule: RuleId, items: &[ItemId]) -> Check {
        let rule = self.view.set.rule(rule);
        let alike = items.chunk_by(|a, b| self.view.what(*a) == self.view.what(*b));
        let gear = alike.map(|ids| {
            let tags: Vec<&str> = ids.iter().map(|id| self.view.tag(*id)).collect();
            format!("{} · {}", tags.join(", "), self.view.what(ids[0]))
        });
        let link = Link { text: rule.id.clone(), href: self.view.links.rule(&rule.id) };
        Check { title: rule.title.clone(), rule: link, gear: gear.collect() }
    }
}

impl List {
    fn cut(&mut self) {
        self.hidden = self.lines.len().saturating_sub(LINES);
        self.lines.truncate(LINES);
    }
}
