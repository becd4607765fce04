//! Which label goes on which gear? Sheets of labels whose symbols open the item's page.

pub(super) mod symbols;

use std::fmt::Write;

use askama::Template;
use axum::response::Response;
use policies::facts::{Fleet, ItemId};

use super::asked::Asked;
use super::drawing::{cut, escaped};
use super::fault::Fault;
use super::item::find;
use super::links::{Link, encoded};
use super::parts::part;
use super::place::View;
use super::shell::Shell;
use super::source::Source;
use super::station::unknown;
use super::visit::{Visit, html};
use super::{Web, replay};
use symbols::{Modules, data_matrix, qr};

/// Labels of one sheet of A4: three columns of six.
const SHEET: usize = 18;
const CAUTION: &str = "A label never replaces the stamped tag. Read the stamp before you trust the label; where the two \
                       differ, the stamp holds and the label comes off.";
/// Millimetres.
const WIDTH: u32 = 58;
const HEIGHT: u32 = 35;

#[derive(Template)]
#[template(path = "labels.html")]
struct Page {
    shell: Shell,
    of: String,
    labels: Vec<(Link, String)>,
    /// The service has no address that a label could lead to.
    nowhere: bool,
    caution: &'static str,
    parts: Vec<(Link, bool)>,
    stations: Vec<Link>,
}

/// The page.
///
/// # Errors
/// An unknown station or tag, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let number = visit.query.part()?;
    let source = Source::open(&visit.web, &asked).await?;
    let (station, items) = (visit.query.station.as_deref(), visit.query.items.as_deref());
    let made = |fleet: &Fleet| make(&visit.web, &asked, fleet, (station, items), number);
    html(&source.fleet(made).await?)
}

fn make(
    web: &Web,
    asked: &Asked,
    fleet: &Fleet,
    (station, items): (Option<&str>, Option<&str>),
    number: usize,
) -> Result<Page, Fault> {
    let view = View::new(web, asked, fleet);
    let (of, ids, more) = match (station, items) {
        (Some(slug), _) => (at_station(&view, slug)?, gear_of(&view, slug), vec![("station", slug)]),
        (None, Some(tags)) => (String::new(), named(&view, tags)?, vec![("items", tags)]),
        (None, None) => (String::new(), Vec::new(), Vec::new()),
    };
    let here = part(ids, (number, SHEET), view.links, "/labels", &more)?;
    // A label is stuck on for years: without an address of the service there is nothing to print on it.
    let base = web.door.public_url.as_deref();
    let label = |id: &ItemId| Some((view.links.to_item(view.tag(*id)), drawn(&view, base?, *id)));
    let stations = view
        .fleet
        .stations
        .iter()
        .map(|station| Link { text: station.name.to_string(), href: view.links.labels(&station.slug) });
    Ok(Page {
        of,
        labels: here.here.iter().filter_map(label).collect(),
        nowhere: base.is_none(),
        caution: CAUTION,
        parts: here.ways,
        stations: stations.collect(),
        shell: Shell::of(web, asked, "Which label goes on which gear?", replay::known(web, asked)),
    })
}

fn at_station(view: &View, slug: &str) -> Result<String, Fault> {
    let id = view.find_station(slug).ok_or_else(|| unknown(view, slug))?;
    Ok(view.station(id).name.to_string())
}

/// Everything of a station that is in service, by tag.
fn gear_of(view: &View, slug: &str) -> Vec<ItemId> {
    let station = view.find_station(slug);
    let here = |id: &ItemId| {
        let item = view.item(*id);
        view.counts_for(*id).or(item.station) == station && !view.evaluator.is_withdrawn(item)
    };
    let mut ids: Vec<ItemId> = view.fleet.ids().filter(here).collect();
    ids.sort_by_key(|id| view.tag(*id));
    ids
}

fn named(view: &View, tags: &str) -> Result<Vec<ItemId>, Fault> {
    let tags = tags.split(',').map(str::trim).filter(|tag| !tag.is_empty());
    tags.map(|tag| find(view.fleet, view.links, tag)).collect()
}

/// What the symbols say: the address of the item's page. Capitals alone make a smaller symbol, and the pages answer
/// to them; where the service lives under a path, or a tag has small letters, the address stays as it is.
pub(super) fn address(base: &str, tag: &str) -> String {
    let base = base.trim_end_matches('/');
    let tag = encoded(tag, true);
    let host = base.split_once("://").map_or(base, |(_, host)| host);
    if host.contains('/') || tag.bytes().any(|byte| byte.is_ascii_lowercase()) {
        format!("{base}/item/{tag}")
    } else {
        format!("{base}/item/{tag}").to_ascii_uppercase()
    }
}

/// One label, in millimetres. Its symbols are black on white by night too.
fn drawn(view: &View, base: &str, id: ItemId) -> String {
    let tag = view.tag(id);
    let said = address(base, tag);
    let station = view.fleet.station_of(view.item(id)).map_or("central stores", |station| &*station.name);
    let number = id.0;
    let mut svg = format!(
        "<svg class=\"label\" role=\"img\" aria-labelledby=\"label-{number}\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" \
         width=\"{WIDTH}mm\" height=\"{HEIGHT}mm\"><title id=\"label-{number}\">Label of {}: two symbols that open its \
         page</title><path class=\"ground\" d=\"M0 0H{WIDTH}V{HEIGHT}H0Z\"/>",
        escaped(tag)
    );
    let symbols =
        [("qr", qr(&said), (0.5, 0.5), 26.0, 4), ("matrix", data_matrix(&said), (31.0, 1.5), 18.0, 2)];
    for (class, symbol, at, side, quiet) in symbols {
        let Some(symbol) = symbol else { continue };
        place(&mut svg, class, &symbol, at, (side, quiet));
    }
    let host = said.split_once("://").map_or(&*said, |(_, host)| host);
    let host = host.split('/').next().unwrap_or(host).to_ascii_lowercase();
    for (class, x, y, text) in [
        ("small", 32.5, 22.0, cut(&host, 24)),
        ("small", 32.5, 25.0, cut(station, 22)),
        ("tag", 3.0, 30.0, cut(tag, 22)),
        ("small", 3.0, 33.3, cut(&view.what(id), 46)),
    ] {
        let _ = write!(svg, "<text class=\"{class}\" x=\"{x}\" y=\"{y}\">{}</text>", escaped(&text));
    }
    svg + "</svg>"
}

/// A symbol within so many millimetres, its quiet edge among them.
fn place(svg: &mut String, class: &str, symbol: &Modules, (x, y): (f64, f64), (side, quiet): (f64, u32)) {
    let across = f64::from(symbol.width + 2 * quiet);
    let scale = side / across;
    let edge = f64::from(quiet) * scale;
    let _ = write!(
        svg,
        "<path class=\"modules {class}\" transform=\"translate({:.3} {:.3}) scale({scale:.5})\" d=\"{}\"/>",
        x + edge,
        y + edge,
        symbol.path()
    );
}
