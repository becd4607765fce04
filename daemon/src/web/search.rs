//! Search by tag (also mistyped), serial, certificate, station or rule.

use askama::Template;
use axum::response::Response;
use policies::facts::{Fleet, ItemId};

use super::asked::Asked;
use super::fault::Fault;
use super::links::{Link, Links};
use super::near;
use super::place::{Place, View};
use super::shell::Shell;
use super::source::Source;
use super::visit::{Visit, html};
use super::{Web, fitness, replay};
use crate::files::Filed;
use crate::records::{Certificate, Item};

/// Finds shown at most; a text that finds more is too short.
const MOST: usize = 50;

/// An item that was found.
struct Found {
    item: Link,
    what: String,
    place: Place,
    /// `withdrawn` or `quarantined`.
    unfit: &'static str,
    /// By what it was found, where not by its tag.
    through: String,
    /// The certificate's file, where it is kept.
    file: Option<Link>,
}

#[derive(Template)]
#[template(path = "search.html")]
struct Page {
    shell: Shell,
    sought: String,
    found: Vec<Found>,
    near: Vec<Found>,
    stations: Vec<Link>,
    rules: Vec<Link>,
    more: bool,
}

/// The page; a whole tag leads straight to its item, as a scanned label does.
///
/// # Errors
/// A date that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let source = Source::open(&visit.web, &asked).await?;
    let sought = visit.query.q.as_deref().unwrap_or_default().trim().to_owned();
    if let Some(tag) = source.fleet(|fleet| Ok(whole_tag(fleet, &sought))).await? {
        return Err(Fault::Elsewhere(asked.links.item(&tag)));
    }
    let papers = Papers {
        items: source.records(|item: &Item| item.serial.is_some() || item.certificate.is_some()).await?,
        certificates: source.records(|_: &Certificate| true).await?,
    };
    let page = source.fleet(|fleet| Ok(make(&visit.web, &asked, fleet, sought, &papers))).await?;
    html(&page)
}

struct Papers {
    items: Vec<Item>,
    certificates: Vec<Certificate>,
}

/// The one tag that reads the same but for capitals and strokes.
fn whole_tag(fleet: &Fleet, sought: &str) -> Option<String> {
    let wanted = near::plain(sought);
    let mut same = fleet.items.iter().filter(|item| !wanted.is_empty() && near::plain(&item.tag) == wanted);
    let first = same.next()?;
    same.next().is_none().then(|| first.tag.to_string())
}

fn make(web: &Web, asked: &Asked, fleet: &Fleet, sought: String, papers: &Papers) -> Page {
    let view = View::new(web, asked, fleet);
    let mut found = papers.find(&view, &sought);
    let near = near::nearest(&sought, fleet.items.iter().map(|item| &*item.tag));
    let near = near.into_iter().filter_map(|tag| Some(view.found(fleet.find(tag)?, String::new())));
    let mut shell = Shell::of(web, asked, "Which gear is meant?", replay::known(web, asked));
    shell.sought.clone_from(&sought);
    let more = found.len() > MOST;
    found.truncate(MOST);
    Page {
        near: near.collect(),
        stations: stations(&view, &sought),
        rules: rules(&view, &sought),
        found,
        more,
        shell,
        sought,
    }
}

impl Papers {
    /// Items whose serial or certificate holds the text.
    fn find(&self, view: &View, sought: &str) -> Vec<Found> {
        let holds = |text: Option<&str>| text.is_some_and(|text| contains(text, sought));
        let serials = self.items.iter().filter(|item| holds(item.serial.as_deref()));
        let serials = serials
            .map(|item| (&item.key, format!("serial {}", item.serial.as_deref().unwrap_or_default()), None));
        let own = self.items.iter().filter(|item| holds(item.certificate.as_deref()));
        let own = own.map(|item| {
            let number = item.certificate.as_deref().unwrap_or_default();
            (&item.key, format!("certificate {number}"), self.file_of(&item.key, number))
        });
        let issued = self.certificates.iter().filter(|certificate| contains(&certificate.number, sought));
        let issued = issued.map(|paper| {
            (&paper.item, format!("certificate {}", paper.number), self.file_of(&paper.item, &paper.number))
        });
        let mut found: Vec<(&String, String, Option<Filed>)> = serials.chain(own).chain(issued).collect();
        found.sort_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
        found.dedup_by(|a, b| (a.0, &a.1) == (b.0, &b.1));
        let found = found.into_iter().filter_map(|(tag, through, file)| {
            let file = file.map(|filed| Link { href: Links::file(&filed), text: filed.name });
            Some(Found { file, ..view.found(view.fleet.find(tag)?, through) })
        });
        found.collect()
    }

    /// The file of an item's certificate of that number.
    fn file_of(&self, tag: &str, number: &str) -> Option<Filed> {
        let mut own = self.certificates.iter().filter(|paper| paper.item == tag && paper.number == number);
        own.find_map(|paper| Filed::parse(paper.file.as_deref()?))
    }
}

/// Texts of one or two letters find everything, which is nothing.
fn contains(text: &str, sought: &str) -> bool {
    sought.chars().count() > 2 && text.to_lowercase().contains(&sought.to_lowercase())
}

impl View<'_> {
    fn found(&self, id: ItemId, through: String) -> Found {
        let unfit = self.shut(id).map(|shut| fitness::word(&shut)).unwrap_or_default();
        Found {
            item: self.links.to_item(self.tag(id)),
            what: self.what(id),
            place: self.place(id),
            unfit,
            through,
            file: None,
        }
    }
}

fn stations(view: &View, sought: &str) -> Vec<Link> {
    let found = view
        .fleet
        .stations
        .iter()
        .filter(|station| contains(&station.name, sought) || *station.slug == *sought);
    found
        .map(|station| Link { text: station.name.to_string(), href: view.links.station(&station.slug) })
        .collect()
}

fn rules(view: &View, sought: &str) -> Vec<Link> {
    let found =
        view.set.rules.iter().filter(|rule| contains(&rule.title, sought) || contains(&rule.id, sought));
    found.map(|rule| Link { text: rule.title.clone(), href: view.links.rule(&rule.id) }).collect()
}
