//! The register of lifting gear of a station: what each piece is, its rated load, when it was examined and proved, and
//! how it stands (after ILO Convention 152, art. 25; a national form may be prescribed).

use std::collections::BTreeMap;

use askama::Template;
use axum::response::Response;
use policies::facts::{Fleet, ItemId, Outcome, StationId};
use policies::rule::{Value, Work as Sort};

use super::asked::Asked;
use super::fault::Fault;
use super::links::{Link, Links};
use super::place::{Place, View};
use super::shell::Shell;
use super::source::Source;
use super::visit::{Visit, html};
use super::{Web, replay, station, words};
use crate::files::Filed;
use crate::records::{Certificate, Work};

/// Attribute columns that give a rated load, in the order in which they are looked for.
const RATINGS: [&str; 4] = ["wll_t", "swl_t", "anchor_swl_t", "rated_pull_kN"];

/// One piece of gear.
struct Entry {
    item: Link,
    what: String,
    rated: String,
    place: Place,
    made: String,
    in_service: String,
    examined: String,
    report: String,
    /// Where its stored file is.
    paper: Option<String>,
    next: String,
    proved: String,
    stands: String,
    unfit: bool,
}

#[derive(Template)]
#[template(path = "lifting-gear.html")]
struct Page {
    shell: Shell,
    name: String,
    entries: Vec<Entry>,
}

/// The page.
///
/// # Errors
/// An unknown station, a date that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let source = Source::open(&visit.web, &asked).await?;
    let mut papers: BTreeMap<String, Papers> = BTreeMap::new();
    for work in source.records(|work: &Work| work.certificate.is_some()).await? {
        papers.entry(work.item.clone()).or_default().works.push(work);
    }
    for certificate in source.records(|_: &Certificate| true).await? {
        papers.entry(certificate.item.clone()).or_default().certificates.push(certificate);
    }
    let page = source.fleet(|fleet| make(&visit.web, &asked, fleet, visit.name(), &papers)).await?;
    html(&page)
}

/// What is on paper of one item.
#[derive(Default)]
struct Papers {
    works: Vec<Work>,
    certificates: Vec<Certificate>,
}

impl Papers {
    /// Where the file of the certificate with a number is.
    fn file(&self, number: &str) -> Option<String> {
        let mut same = self.certificates.iter().filter(|paper| paper.number == number);
        same.find_map(|paper| Filed::parse(paper.file.as_deref()?)).map(|filed| Links::file(&filed))
    }
}

fn make(
    web: &Web,
    asked: &Asked,
    fleet: &Fleet,
    slug: &str,
    papers: &BTreeMap<String, Papers>,
) -> Result<Page, Fault> {
    let view = View::new(web, asked, fleet);
    let id = view.find_station(slug).ok_or_else(|| station::unknown(&view, slug))?;
    let name = view.station(id).name.to_string();
    let none = Papers::default();
    let gear = fleet.ids().filter(|item| is_listed(&view, *item, id));
    let entries = gear.map(|item| entry(&view, item, papers.get(view.tag(item)).unwrap_or(&none))).collect();
    let title = format!("Register of lifting gear: {name}");
    let known = replay::known_at(web, asked, fleet, id);
    Ok(Page { shell: Shell::of(web, asked, &title, known), name, entries })
}

/// Gear that bears load, and that the station owns or uses.
fn is_listed(view: &View, id: ItemId, station: StationId) -> bool {
    let owned = view.item(id).station == Some(station) || view.counts_for(id) == Some(station);
    owned && !view.kind(id).load_path.is_empty()
}

fn entry(view: &View, id: ItemId, papers: &Papers) -> Entry {
    let item = view.item(id);
    let shut = view.shut(id);
    let (examined, report) = last(view, id, Sort::ThoroughExamination, papers);
    let (proved, _) = last(view, id, Sort::ProofLoadTest, papers);
    let report = if report.is_empty() { newest_certificate(papers) } else { report };
    let date = |date: Option<jiff::civil::Date>| date.map(words::full_day).unwrap_or_default();
    Entry {
        item: view.links.to_item(view.tag(id)),
        what: view.what(id),
        rated: rated(view, id),
        place: view.place(id),
        made: date(item.manufactured_on),
        in_service: date(item.entered_service_on),
        paper: papers.file(&report),
        report,
        examined,
        next: next_examination(view, id),
        proved,
        unfit: shut.is_some(),
        stands: shut
            .map_or_else(|| "fit as far as recorded".to_owned(), |shut| view.shut_words(id, &shut, None)),
    }
}

fn rated(view: &View, id: ItemId) -> String {
    let attributes = &view.item(id).attributes;
    let found = RATINGS.iter().find_map(|wanted| attributes.iter().find(|(column, _)| **column == **wanted));
    let Some((column, Value::Number(load))) = found else { return String::new() };
    let unit = if column.ends_with("_kN") { "kN" } else { "t" };
    format!("{load} {unit}")
}

/// The last sound work of a sort, and its report.
fn last(view: &View, id: ItemId, sort: Sort, papers: &Papers) -> (String, String) {
    let cutoff = view.cutoff(id);
    let own = view.item(id).works.iter().rev();
    let done = own.filter(|done| done.at < cutoff && done.outcome != Outcome::Failed);
    let mut done = done.filter(|done| view.set.rule(done.rule).work == sort);
    let Some(done) = done.next() else { return (String::new(), String::new()) };
    let rule = &view.set.rule(done.rule).id;
    let mut reports = papers.works.iter().filter(|work| work.rule == *rule && work.at == done.at.0);
    let report = reports.find_map(|work| work.certificate.clone()).unwrap_or_default();
    (words::full_day(done.date), report)
}

fn newest_certificate(papers: &Papers) -> String {
    let newest = papers.certificates.iter().max_by(|a, b| a.issued_on.cmp(&b.issued_on));
    newest.map(|paper| paper.number.clone()).unwrap_or_default()
}

/// The earliest date of a periodic thorough examination.
fn next_examination(view: &View, id: ItemId) -> String {
    let periodic = |row: &policies::due::DueRow| {
        let rule = view.set.rule(row.rule);
        rule.work == Sort::ThoroughExamination && !rule.calendar.is_empty()
    };
    let rows = view.rows_of(id);
    let mut dates: Vec<_> = rows.iter().filter(|row| periodic(row)).filter_map(|row| row.due_on).collect();
    dates.sort();
    dates.first().map(|date| words::full_day(*date)).unwrap_or_default()
}
