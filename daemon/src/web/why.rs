//! Why is it due? The whole derivation of one row.

use askama::Template;
use axum::response::Response;
use policies::facts::Fleet;

use super::asked::Asked;
use super::fault::Fault;
use super::line::{Mark, mark};
use super::links::Link;
use super::place::{Place, View};
use super::shell::Shell;
use super::source::Source;
use super::visit::html;
use super::{Web, caution, item, replay, words};
use crate::records::Work;
use crate::why::{Part, Why};

#[derive(Template)]
#[template(path = "why.html")]
struct Page {
    shell: Shell,
    item: Link,
    what: String,
    place: Place,
    task: String,
    rule: Link,
    mark: Mark,
    by: String,
    because: String,
    parts: Vec<Part>,
    cautions: Vec<&'static str>,
}

/// The page.
///
/// # Errors
/// An unknown tag or rule, a rule that gives the item no row, or records that cannot be read.
pub(super) async fn page(
    web: &Web,
    asked: &Asked,
    source: &Source<'_>,
    tag: &str,
    rule: &str,
) -> Result<Response, Fault> {
    let works = source.of_item::<Work>(tag).await?;
    let page = source.fleet(|fleet| make(web, asked, fleet, tag, rule, &works)).await?;
    html(&page)
}

fn make(web: &Web, asked: &Asked, fleet: &Fleet, tag: &str, id: &str, works: &[Work]) -> Result<Page, Fault> {
    let set = &*web.desk.set;
    let item = item::find(fleet, &asked.links, tag)?;
    let view = View::new(web, asked, fleet);
    let row = set.find_rule(id).and_then(|rule| view.rows_of(item).into_iter().find(|row| row.rule == rule));
    let why = row.and_then(|row| Some((row, Why::of(set, fleet, asked.judged, tag, id)?)));
    let (row, why) = why.ok_or_else(|| no_row(&view, tag, id))?;
    let why = why.with_wear(works);
    let when = view.when(&why.derivation);
    let known = match view.item(item).station {
        Some(station) => replay::known_at(web, asked, fleet, station),
        None => replay::known(web, asked),
    };
    let mut cautions = vec![caution::LIMIT];
    cautions.extend((row.forecast[0].is_some() || why.foresees_wear()).then_some(caution::ODDS));
    Ok(Page {
        shell: Shell::of(web, asked, &format!("Why is {tag} due?"), known),
        item: asked.links.to_item(tag),
        what: view.what(item),
        place: view.place(item),
        task: words::lower_first(&set.rule(row.rule).title),
        rule: Link { text: id.to_owned(), href: asked.links.rule(id) },
        mark: mark(row.standing),
        by: when.by,
        because: when.because,
        parts: why.parts(),
        cautions,
    })
}

fn no_row(view: &View, tag: &str, rule: &str) -> Fault {
    let wrong = match view.set.find_rule(rule) {
        None => format!("No rule is called \"{rule}\"."),
        Some(_) => format!(
            "The rule \"{rule}\" gives {tag} no due date: it is for other gear, or {tag} is withdrawn."
        ),
    };
    Fault::missing(wrong, "What is due on it stands here:", vec![view.links.to_item(tag)])
}
