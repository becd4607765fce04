//! What load must it bear? The proof-load notice of one item, to be printed and handed to a test house.

use askama::Template;
use axum::response::Response;
use policies::due::DueRow;
use policies::facts::{Fleet, ItemId};
use policies::readiness::Papers;
use policies::rule::Work;

use super::asked::Asked;
use super::fault::Fault;
use super::links::Link;
use super::place::{Place, View};
use super::shell::Shell;
use super::source::Source;
use super::visit::{Visit, html};
use super::{Web, caution, item, replay, words};
use crate::fitness::NO_CAUSES;
use crate::notices::compose::Desk;
use crate::notices::digest::{ProofLoadNotice, RETURN};
use crate::records;

/// A proof load is found from the gear alone.
static NO_PAPERS: Papers = Papers { concessions: Vec::new(), certificates: Vec::new(), defects: Vec::new() };

#[derive(Template)]
#[template(path = "proof.html")]
struct Page {
    shell: Shell,
    item: Link,
    what: String,
    place: Place,
    load: String,
    facts: Vec<(&'static str, String)>,
    why: Option<Link>,
    caution: &'static str,
    back: &'static str,
}

/// The page.
///
/// # Errors
/// An unknown tag, gear of which no proof load can be found, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let source = Source::open(&visit.web, &asked).await?;
    let tag = visit.name();
    let record = source.one::<records::Item>(tag).await?;
    let certificate = record.and_then(|record| record.certificate);
    let page = source.fleet(|fleet| make(&visit.web, &asked, fleet, tag, certificate)).await?;
    html(&page)
}

fn make(
    web: &Web,
    asked: &Asked,
    fleet: &Fleet,
    tag: &str,
    certificate: Option<String>,
) -> Result<Page, Fault> {
    let id = item::find(fleet, &asked.links, tag)?;
    let view = View::new(web, asked, fleet);
    let row = soonest(&view, id);
    let (set, desk) = (&*web.desk.set, asking(web, asked, fleet));
    let rule = row.map(|row| set.rule(row.rule));
    let notice = desk.proof_asked(id, rule, row.and_then(|row| row.due_on)).map_err(|error| {
        Fault::missing(format!("{error}."), "The item's own page:", vec![asked.links.to_item(tag)])
    })?;
    let known = match view.item(id).station {
        Some(station) => replay::known_at(web, asked, fleet, station),
        None => replay::known(web, asked),
    };
    Ok(Page {
        shell: Shell::of(web, asked, &format!("{tag}: what proof load must it bear?"), known),
        item: asked.links.to_item(tag),
        what: view.what(id),
        place: view.place(id),
        load: format!("{} t = {} kN", notice.load_t, notice.load_kn),
        facts: facts(&notice, certificate),
        why: rule.map(|rule| Link { text: rule.title.clone(), href: asked.links.why(tag, &rule.id) }),
        caution: caution::PROOF_LOADING,
        back: RETURN,
    })
}

/// What notices are composed from, for a page instead of a mail.
pub(super) fn asking<'w>(web: &'w Web, asked: &Asked, fleet: &'w Fleet) -> Desk<'w> {
    Desk {
        set: &web.desk.set,
        fleet,
        papers: &NO_PAPERS,
        causes: &NO_CAUSES,
        loans: &[],
        as_of: asked.as_of,
        now: web.desk.now(),
        from: "",
        reply_to: None,
        pages_url: None,
        links: crate::notices::compose::Links::None,
        down: None,
    }
}

/// The proof load test that it is to have first.
fn soonest(view: &View, id: ItemId) -> Option<DueRow> {
    let rows = view.rows_of(id).into_iter();
    let tests = rows.filter(|row| view.set.rule(row.rule).work == Work::ProofLoadTest);
    tests.min_by_key(|row| (row.due_on.is_none(), row.due_on))
}

/// Field by field, as the mail says it in sentences.
fn facts(notice: &ProofLoadNotice, certificate: Option<String>) -> Vec<(&'static str, String)> {
    let none = || "none".to_owned();
    let list = |parts: &[String]| if parts.is_empty() { none() } else { parts.join("; ") };
    let share = notice.share.as_ref();
    let mut facts = vec![
        ("maker's certificate", certificate.unwrap_or_else(none)),
        ("rated load", format!("{} {} t", notice.rated, notice.wll_t)),
        ("proof load", format!("{} t = {} kN", notice.load_t, notice.load_kn)),
        ("factor", notice.formula.clone()),
        ("its source", format!("{}: {}", notice.authority, notice.source)),
        ("hold", notice.hold.clone()),
        ("rig points", list(&notice.rig_points)),
        ("take off before the pull", list(&notice.take_off)),
    ];
    facts.extend(share.map(|share| ("termination factor K", share.factor.clone())));
    facts.extend(share.map(|share| {
        let words = format!("{} % of {} kN (MBF {} kN x K)", share.percent, share.strength_kn, share.mbf_kn);
        ("share of its strength", words)
    }));
    facts.extend([
        ("prior proofs", list(&notice.prior_proofs)),
        ("witness", notice.witness.clone().unwrap_or_else(none)),
        ("report needed by", notice.report_by.map_or_else(|| "no date yet".to_owned(), words::full_day)),
    ]);
    facts
}
