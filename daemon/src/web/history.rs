//! The history sheet of an item, to be printed: what `tallow item show` tells, as a document.

use std::collections::BTreeMap;

use askama::Template;
use axum::response::Response;
use policies::facts::Fleet;

use super::asked::Asked;
use super::fault::Fault;
use super::item::find;
use super::links::{Link, Links};
use super::place::{Place, View};
use super::shell::Shell;
use super::source::{Shown, Source};
use super::visit::html;
use super::{Web, caution, filters, replay, words};
use crate::items::history::{Deed, Done, History, Paper, history_of};
use crate::items::loans::{agreed, end_words};
use crate::records::Item;
use crate::store::current::{Newest, Register};

/// Lines of work, and of any other list; what is older is counted, and told by the command line.
const MOST_WORK: usize = 150;
const MOST: usize = 50;

/// Dated lines under a heading.
struct List {
    heading: &'static str,
    lines: Vec<(String, String)>,
    /// How many earlier ones were left out.
    earlier: usize,
}

/// A stay on a host, or the time between two.
struct Stay {
    dates: String,
    said: String,
    used: String,
}

/// Work of one rule that brought nothing but its days.
struct Routine {
    title: String,
    times: String,
}

#[derive(Template)]
#[template(path = "history.html")]
struct Page {
    shell: Shell,
    item: Link,
    what: String,
    place: Place,
    unfit: Option<String>,
    lent: Option<String>,
    facts: Vec<(String, String)>,
    stays: Vec<Stay>,
    in_all: Vec<String>,
    opening: Vec<String>,
    lists: Vec<List>,
    routine: Vec<Routine>,
    certificates: Vec<(String, String, Option<Link>)>,
    cautions: [&'static str; 2],
}

pub(super) async fn page(
    web: &Web,
    asked: &Asked,
    source: &Source<'_>,
    tag: &str,
) -> Result<Response, Fault> {
    let register = Register {
        items: of(source, |_: &Item| true).await?,
        work: of(source, |row: &crate::records::Work| row.item == tag).await?,
        states: of(source, |row: &crate::records::State| row.item == tag).await?,
        certificates: of(source, |row: &crate::records::Certificate| row.item == tag).await?,
        examinations: of(source, |row: &crate::records::Examination| row.item == tag).await?,
        defects: of(source, |row: &crate::records::Defect| row.item == tag).await?,
        loans: of(source, |row: &crate::records::Loan| row.item == tag).await?,
        substitutions: of(source, |row: &crate::records::Substitution| row.item == tag).await?,
        concessions: of(source, |row: &crate::records::Concession| row.item == tag).await?,
        ..Register::default()
    };
    let page = source.fleet(|fleet| make(web, asked, fleet, tag, &register)).await?;
    html(&page)
}

async fn of<R: Shown>(source: &Source<'_>, wanted: impl Fn(&R) -> bool) -> Result<Newest<R>, Fault> {
    let rows = source.records(wanted).await?;
    Ok(rows.into_iter().map(|row| (row.key().to_owned(), row)).collect())
}

fn make(web: &Web, asked: &Asked, fleet: &Fleet, tag: &str, register: &Register) -> Result<Page, Fault> {
    let id = find(fleet, &asked.links, tag)?;
    let view = View::new(web, asked, fleet);
    let record = register.items.get(tag);
    let told = record.and_then(|item| history_of(view.set, register, fleet, item, asked.as_of));
    let Some(told) = told else {
        let right = "The policy set in force no longer knows its kind; the records are as they were.";
        return Err(Fault::missing(format!("{tag} has no history sheet."), right, vec![]));
    };
    let known = match view.item(id).station {
        Some(station) => replay::known_at(web, asked, fleet, station),
        None => replay::known(web, asked),
    };
    let agreed = agreed(fleet, register.loans.values());
    let lent = view.evaluator.loan(id, &agreed);
    Ok(Page {
        shell: Shell::of(web, asked, &format!("History sheet: {tag}"), known),
        item: asked.links.to_item(tag),
        what: view.what(id),
        place: view.place(id),
        unfit: view.shut(id).map(|shut| view.shut_words(id, &shut, None)),
        lent: lent.map(|loan| end_words(fleet, &loan, asked.as_of)),
        facts: facts(&view, &told),
        stays: stays(fleet, &told),
        lists: lists(&told),
        routine: routine(&told.work),
        certificates: told.certificates.iter().map(certificate).collect(),
        in_all: told.use_in_all,
        opening: told.opening_use,
        cautions: [caution::IF_IN_DOUBT, caution::LIMIT],
    })
}

/// What it is, by name; what is not known is said to be so.
fn facts(view: &View, told: &History) -> Vec<(String, String)> {
    let date = |text: &str| if text.is_empty() { "not known".to_owned() } else { day(text) };
    let fixed = [
        ("kind", told.kind.clone()),
        ("owner", station(view.fleet, &told.station)),
        ("made", date(&told.manufactured_on)),
        ("in service since", date(&told.entered_service_on)),
        ("serial", told.serial.clone()),
        ("came from", told.from.clone()),
        ("set", told.set.clone()),
        ("quantity", told.quantity.map(|quantity| quantity.to_string()).unwrap_or_default()),
    ];
    let fixed = fixed.into_iter().map(|(name, value)| (name.to_owned(), value));
    let kind = view.set.kinds.find(&told.kind).map(|id| view.set.kinds.kind(id));
    let own = told.attributes.iter().map(|(column, value)| {
        let attribute = kind.and_then(|kind| kind.attribute(column));
        let name = attribute.map_or_else(|| column.replace('_', " "), |attribute| attribute.name.clone());
        let unit = attribute.and_then(|attribute| attribute.unit.as_ref());
        (name, unit.map_or_else(|| value.clone(), |unit| format!("{value} {unit}")))
    });
    fixed.chain(own).filter(|(_, value)| !value.is_empty()).collect()
}

fn station(fleet: &Fleet, slug: &str) -> String {
    let found = fleet.stations.iter().find(|station| *station.slug == *slug);
    found.map_or_else(|| "central stores".to_owned(), |station| station.name.to_string())
}

/// `2026-10-06` and `2026-10-06 15:10` as pages say them; any other text as it stands.
fn day(text: &str) -> String {
    let (date, time) = text.split_once(' ').unwrap_or((text, ""));
    let Ok(date) = date.parse() else { return text.to_owned() };
    format!("{} {time}", words::full_day(date)).trim_end().to_owned()
}

fn stays(fleet: &Fleet, told: &History) -> Vec<Stay> {
    let mut stays = Vec::new();
    for place in &told.places {
        stays.extend(place.loose_days.map(|days| Stay {
            dates: words::count(usize::try_from(days).unwrap_or_default(), "days"),
            said: "fitted to nothing".to_owned(),
            used: String::new(),
        }));
        let to = if place.to.is_empty() { "now".to_owned() } else { day(&place.to) };
        stays.push(Stay {
            dates: format!("{} to {to}", day(&place.from)),
            said: format!("{} · {} · {}", place.position, place.host, station(fleet, &place.station)),
            used: if place.used.is_empty() { "no use".to_owned() } else { place.used.join(", ") },
        });
    }
    stays
}

fn lists(told: &History) -> Vec<List> {
    let work = told.work.iter().filter(|done| !done.routine).map(|done| (day(&done.at), work(done)));
    let lists = [
        ("Examinations, measurements and work", work.collect()),
        ("Reports of examinations", deeds(&told.reports)),
        ("Defects", deeds(&told.defects)),
        ("Shock loads, overloads and groundings", deeds(&told.events)),
        ("Holds", deeds(&told.holds)),
        ("States and cuts", deeds(&told.changes)),
        ("Loans", deeds(&told.loans)),
        ("Substitutions", deeds(&told.substitutions)),
        ("Concessions", deeds(&told.concessions)),
    ];
    let most = [MOST_WORK].into_iter().chain(std::iter::repeat(MOST));
    lists.into_iter().zip(most).map(|((heading, lines), most)| newest(heading, lines, most)).collect()
}

/// The newest of a list, in the order of time.
fn newest(heading: &'static str, mut lines: Vec<(String, String)>, most: usize) -> List {
    let earlier = lines.len().saturating_sub(most);
    List { heading, lines: lines.split_off(earlier), earlier }
}

fn deeds(deeds: &[Deed]) -> Vec<(String, String)> {
    deeds.iter().map(|deed| (day(&deed.at), deed.what.clone())).collect()
}

/// `Gauge the links: failed, TR-3311. Link diameter 11.66 mm. Link 6. By examiner`.
fn work(done: &Done) -> String {
    let mut text = format!("{}: {}", done.title, done.outcome);
    if !done.certificate.is_empty() {
        text = format!("{text}, {}", done.certificate);
    }
    let parts = [done.readings.join(", "), done.note.clone()];
    for part in parts.iter().filter(|part| !part.is_empty()) {
        text = format!("{text}. {}", words::upper_first(part));
    }
    if done.by.is_empty() { text } else { format!("{text}. By {}", done.by) }
}

fn routine(work: &[Done]) -> Vec<Routine> {
    let mut rules: BTreeMap<&str, Vec<&Done>> = BTreeMap::new();
    for done in work.iter().filter(|done| done.routine) {
        rules.entry(&done.title).or_default().push(done);
    }
    let routine = |(title, done): (&str, Vec<&Done>)| {
        let on = |done: Option<&&Done>| done.map(|done| day(done.at.get(..10).unwrap_or(&done.at)));
        let (first, last) = (on(done.first()).unwrap_or_default(), on(done.last()).unwrap_or_default());
        let times = match done.len() {
            1 => format!("once, {last}"),
            times => format!("{times} times, {first} to {last}"),
        };
        Routine { title: title.to_owned(), times }
    };
    rules.into_iter().map(routine).collect()
}

/// Its day, what it is, and its file.
fn certificate(paper: &Paper) -> (String, String, Option<Link>) {
    let by = if paper.issuer.is_empty() { String::new() } else { format!(", {}", paper.issuer) };
    let until = paper.valid_until.as_deref().map(|until| format!(", valid until {}", day(until)));
    let file = paper.file.as_ref().map(|file| Link { text: file.name.clone(), href: Links::file(file) });
    (day(&paper.issued_on), format!("{}{by}{}", paper.number, until.unwrap_or_default()), file)
}
