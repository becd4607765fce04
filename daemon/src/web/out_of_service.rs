//! The tag that is hung on gear which must not be used.

use askama::Template;
use axum::response::Response;
use policies::facts::{Fleet, ItemId};
use policies::quarantine::Shut;

use super::asked::Asked;
use super::fault::Fault;
use super::item::find;
use super::links::Link;
use super::place::{Place, View};
use super::shell::Shell;
use super::source::Source;
use super::visit::html;
use super::{Web, caution, filters, replay};
use crate::examine::defects;
use crate::records::{Defect, Examination, State};

/// What the records say of why.
struct Beside {
    states: Vec<State>,
    defects: Vec<Defect>,
    reports: Vec<Examination>,
}

#[derive(Template)]
#[template(path = "out-of-service.html")]
struct Page {
    shell: Shell,
    tag: String,
    what: String,
    place: Place,
    reasons: Vec<String>,
    report: Option<Link>,
    removed_by: String,
    cautions: [&'static str; 2],
}

pub(super) async fn page(
    web: &Web,
    asked: &Asked,
    source: &Source<'_>,
    tag: &str,
) -> Result<Response, Fault> {
    let beside = Beside {
        states: source.of_item::<State>(tag).await?,
        defects: source.of_item::<Defect>(tag).await?,
        reports: source.of_item::<Examination>(tag).await?,
    };
    let page = source.fleet(|fleet| make(web, asked, fleet, tag, &beside)).await?;
    html(&page)
}

fn make(web: &Web, asked: &Asked, fleet: &Fleet, tag: &str, beside: &Beside) -> Result<Page, Fault> {
    let id = find(fleet, &asked.links, tag)?;
    let view = View::new(web, asked, fleet);
    let shut = view.shut(id);
    let reasons = reasons(&view, id, shut.as_ref(), beside);
    if reasons.is_empty() {
        return Err(Fault::missing(
            format!("{tag} is not out of use."),
            "A tag is for gear that is withdrawn, in quarantine, or has a defect that is a danger.",
            vec![asked.links.to_item(tag)],
        ));
    }
    Ok(Page {
        shell: Shell::of(web, asked, &format!("Do not use: {tag}"), replay::known(web, asked)),
        what: view.what(id),
        place: view.place(id),
        reasons,
        report: report(&view, id, &beside.reports),
        removed_by: removed_by(&view, shut.as_ref()),
        cautions: [caution::IF_IN_DOUBT, caution::NO_REPAIR],
        tag: tag.to_owned(),
    })
}

fn reasons(view: &View, id: ItemId, shut: Option<&Shut>, beside: &Beside) -> Vec<String> {
    let newest =
        beside.states.iter().filter(|state| state.at < view.cutoff(id).0).max_by_key(|state| state.at);
    let said = newest.and_then(|state| state.reason.as_deref());
    let by = newest.and_then(|state| state.by.as_ref()).map(|by| format!(", by {by}")).unwrap_or_default();
    let by = if matches!(shut, Some(Shut::Failed(_))) { String::new() } else { by };
    let said = if matches!(shut, Some(Shut::Failed(_))) { None } else { said };
    let mut reasons: Vec<String> =
        shut.map(|shut| format!("{}{by}", view.shut_words(id, shut, said))).into_iter().collect();
    let open = defects::of_fleet(view.fleet, &beside.defects);
    reasons.extend(open.iter().filter(|defect| defect.stops_launch(view.day(id))).map(defects::says));
    reasons
}

/// The newest report that does not find it safe.
fn report(view: &View, id: ItemId, reports: &[Examination]) -> Option<Link> {
    let unsafe_then =
        |row: &&Examination| row.at < view.cutoff(id).0 && row.safe_to_operate.as_deref() == Some("no");
    let row = reports.iter().filter(unsafe_then).max_by_key(|row| row.at)?;
    Some(Link { text: row.key.clone(), href: view.links.report(&row.key) })
}

fn removed_by(view: &View, shut: Option<&Shut>) -> String {
    match shut {
        Some(Shut::Withdrawn(_)) => "the regional engineer: this gear does not come back".to_owned(),
        Some(Shut::Quarantined(_)) => "the regional engineer, by a release".to_owned(),
        Some(Shut::Condemned(_)) => "a competent person, whose decision is recorded as a release".to_owned(),
        Some(Shut::Failed(done)) => {
            let rule = view.set.rule(done.rule);
            let by = rule.by.as_deref().unwrap_or("station mechanic");
            format!("a {by}, after it has passed: {}; or the regional engineer, by a release", rule.title)
        }
        None => "a competent person who records that the defect is put right".to_owned(),
    }
}
