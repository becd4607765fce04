//! Rules: their words, authority and source, where they apply, and how what they apply to stands.

use askama::Template;
use axum::response::Response;
use policies::facts::Fleet;
use policies::load::PolicySet;
use policies::rule::{Authority, Rule, RuleId};

use super::asked::Asked;
use super::fault::Fault;
use super::judged::{Judged, by_urgency};
use super::line::Line;
use super::links::{Link, Links};
use super::place::View;
use super::shell::Shell;
use super::source::Source;
use super::visit::{Visit, html};
use super::{Web, caution, filters, near, replay, words};
use crate::records::Concession;

/// Lines of gear on a rule's first screen.
const LINES: usize = 25;

/// A rule in the list.
struct Entry {
    rule: Link,
    clauses: Vec<String>,
    by: String,
    effect: &'static str,
    authority: &'static str,
    source: Option<String>,
}

/// Rules of one kind of gear.
struct Chapter {
    kind: String,
    entries: Vec<Entry>,
}

#[derive(Template)]
#[template(path = "rules.html")]
struct All {
    shell: Shell,
    count: usize,
    chapters: Vec<Chapter>,
}

/// Every rule.
///
/// # Errors
/// A date that is none.
pub(super) fn all(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let set = &*visit.web.desk.set;
    let shell = Shell::of(
        &visit.web,
        &asked,
        "What must be done, and who says so?",
        replay::known(&visit.web, &asked),
    );
    html(&All { shell, count: set.rules.len(), chapters: chapters(set, &asked.links) })
}

fn chapters(set: &PolicySet, links: &Links) -> Vec<Chapter> {
    let chapters = set.kinds.kinds.iter().enumerate().map(|(index, kind)| {
        let rules = set.rules.iter().filter(|rule| usize::from(rule.applies_to.kind.0) == index);
        Chapter {
            kind: words::upper_first(&kind.name),
            entries: rules.map(|rule| entry(set, links, rule)).collect(),
        }
    });
    chapters.filter(|chapter| !chapter.entries.is_empty()).collect()
}

fn entry(set: &PolicySet, links: &Links, rule: &Rule) -> Entry {
    Entry {
        rule: Link { text: rule.title.clone(), href: links.rule(&rule.id) },
        clauses: words::clauses(set, rule),
        by: rule.by.clone().unwrap_or_default(),
        effect: rule.overdue.word(),
        authority: rule.authority.word(),
        source: rule.source.clone(),
    }
}

#[derive(Template)]
#[template(path = "rule.html")]
struct One {
    shell: Shell,
    entry: Entry,
    id: String,
    work: &'static str,
    applies_to: String,
    window: Vec<String>,
    notice: Vec<String>,
    records: Vec<String>,
    covers: Vec<Link>,
    covered_by: Vec<Link>,
    place: String,
    caution: &'static str,
    house: Option<&'static str>,
    lines: Vec<Line>,
    items: usize,
    failed: usize,
    hidden: usize,
    whole: String,
    /// Where it is rehearsed otherwise, for who may.
    what_if: String,
}

/// One rule.
///
/// # Errors
/// An unknown rule, a date that is none, or records that cannot be read.
pub(super) async fn one(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let set = &*visit.web.desk.set;
    let rule = set.find_rule(visit.name()).ok_or_else(|| unknown(set, &asked.links, visit.name()))?;
    let source = Source::open(&visit.web, &asked).await?;
    let concessions = source.records(|_: &Concession| true).await?;
    let mut page = source.fleet(|fleet| Ok(make(&visit.web, &asked, fleet, rule, &concessions))).await?;
    page.what_if = super::entry::way_to_rehearse(visit, &set.rule(rule).file);
    html(&page)
}

fn unknown(set: &PolicySet, links: &Links, id: &str) -> Fault {
    let near = near::nearest(id, set.rules.iter().map(|rule| rule.id.as_str()));
    let mut near: Vec<Link> =
        near.into_iter().map(|id| Link { text: id.to_owned(), href: links.rule(id) }).collect();
    near.push(Link { text: "all rules".to_owned(), href: links.rules() });
    Fault::missing(format!("No rule is called \"{id}\"."), "Look here:", near)
}

fn make(web: &Web, asked: &Asked, fleet: &Fleet, id: RuleId, concessions: &[Concession]) -> One {
    let set = &*web.desk.set;
    let (view, rule) = (View::new(web, asked, fleet), set.rule(id));
    let (mut lines, items) = lines(&view, id, concessions);
    let shown = if asked.all { lines.len() } else { LINES };
    let hidden = lines.len().saturating_sub(shown);
    lines.truncate(shown);
    let to_rule =
        |id: RuleId| Link { text: set.rule(id).title.clone(), href: asked.links.rule(&set.rule(id).id) };
    let covering = (0u16..).zip(&set.rules).filter(|(_, other)| other.covers.contains(&id));
    let house = matches!(rule.authority, Authority::House | Authority::CommonPractice);
    One {
        shell: Shell::of(web, asked, &rule.title, replay::known(web, asked)),
        entry: entry(set, &asked.links, rule),
        id: rule.id.clone(),
        work: rule.work.word(),
        applies_to: words::applies_to(set, rule),
        window: window(rule),
        notice: notice(rule),
        records: rule.records.iter().map(words::reading).collect(),
        covers: rule.covers.iter().map(|id| to_rule(*id)).collect(),
        covered_by: covering.map(|(index, _)| to_rule(RuleId(index))).collect(),
        what_if: String::new(),
        place: format!("{}, line {}", rule.file, rule.line),
        caution: caution::of(set, rule),
        house: house.then_some(caution::HOUSE_FIGURES),
        lines,
        items,
        failed: failed(&view, id),
        hidden,
        whole: asked.links.whole(&format!("/rules/{}", rule.id)),
    }
}

/// Lines of the gear it applies to, and of how many items.
fn lines(view: &View, id: RuleId, concessions: &[Concession]) -> (Vec<Line>, usize) {
    let kind = view.set.rule(id).applies_to.kind;
    let items = view.fleet.ids().filter(|item| view.item(*item).kind == kind);
    let rows = items.flat_map(|item| view.rows_of(item)).filter(|row| row.rule == id);
    let judged: Vec<Judged> = rows.map(|row| view.judge(row, concessions)).collect();
    let mut sorted: Vec<&Judged> = judged.iter().collect();
    by_urgency(view, &mut sorted);
    let groups = view.alike(sorted);
    let lines = groups.iter().map(|group| {
        let station = group.first().and_then(|judged| judged.station).map(|id| view.station_link(id));
        Line { station, ..view.line(group) }
    });
    (lines.collect(), judged.len())
}

/// Failed work on the rule, in the whole fleet's history.
fn failed(view: &View, id: RuleId) -> usize {
    let works = view
        .fleet
        .ids()
        .flat_map(|item| view.item(item).works.iter().filter(move |done| done.at < view.cutoff(item)));
    works.filter(|done| done.rule == id && done.outcome == policies::facts::Outcome::Failed).count()
}

fn window(rule: &Rule) -> Vec<String> {
    let early = (!rule.window.early.is_zero()).then(|| format!("from {} before the date", rule.window.early));
    let late = if rule.window.late.is_zero() {
        "no later than the date".to_owned()
    } else {
        format!("tolerated {} after", rule.window.late)
    };
    if rule.calendar.is_empty() { Vec::new() } else { early.into_iter().chain([late]).collect() }
}

fn notice(rule: &Rule) -> Vec<String> {
    let notice = &rule.notice;
    let lead = (!notice.lead.is_zero()).then(|| format!("first {} before", notice.lead));
    let remind = notice.remind.iter().map(|span| {
        if span.is_zero() {
            "again on the last allowed day".to_owned()
        } else {
            format!("again {span} before")
        }
    });
    let escalate = notice.escalate.iter().map(|step| {
        let days = words::count(step.days.unsigned_abs() as usize, "days");
        let when = if step.days < 0 { "before" } else { "after" };
        format!("to the {} {days} {when}", step.role)
    });
    lead.into_iter().chain(remind).chain(escalate).collect()
}
