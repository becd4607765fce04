//! The pages: documents that happen to be live, rendered here whole, and the forms that record. Only this room knows
//! HTTP.

mod account;
mod again;
mod ahead;
mod alarms;
pub mod api;
mod asked;
mod assets;
mod bodies;
mod calendar;
mod card;
mod caution;
mod coast;
mod cookie;
mod door;
mod doubts;
mod drawing;
mod entry;
mod fault;
mod filters;
mod fitness;
mod gate;
mod guard;
mod health;
mod history;
mod holds;
mod item;
mod judged;
mod labels;
mod life;
mod life_line;
mod lifting_gear;
mod line;
mod line_ahead;
mod links;
mod loans;
mod log;
mod mail;
mod metrics;
mod near;
mod notice_link;
mod out_of_service;
mod outfit;
mod paper;
mod parts;
mod place;
mod posted;
mod proof;
mod queue;
mod region;
mod replay;
mod report;
pub mod routes;
mod rules;
mod search;
mod shell;
mod sign_in;
mod source;
mod station;
mod stops;
mod stores;
#[cfg(test)]
mod tests;
mod unsent;
mod visit;
mod welcome;
mod when;
mod why;
mod wire;
mod words;

use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use jiff::civil::Date;
use tower_http::compression::CompressionLayer;

use crate::demo::catcher::Catcher;
use crate::desk::Desk;
use crate::files::Files;
pub use door::{Door, hosts};
use fault::Fault;
use visit::Visit;
pub use wire::{Wire, serve, serve_over};

/// What the pages are made from.
#[derive(Clone)]
pub struct Web {
    /// Rules, records and the clock.
    pub desk: Arc<Desk>,
    /// The certificates' files.
    pub files: Files,
    /// The demo's own post office; only the demo has one.
    pub caught: Option<Arc<Catcher>>,
    /// The demo's stated date, which pages are read as of; today where there is none.
    pub stated: Option<Date>,
    /// Where people come in.
    pub door: Door,
}

/// Every page of the table, each answer with its headers.
pub fn router(web: Web) -> Router {
    crate::pulse::begin();
    let web = Arc::new(web);
    let bodies = Arc::new(bodies::Bodies::default());
    let mut router = Router::new();
    for routes::Row { path, need, at, answers, .. } in routes::table() {
        let gate = gate::Gate { web: Arc::clone(&web), bodies: Arc::clone(&bodies), path, need, at };
        router = router.route(path, answers.route_layer(from_fn_with_state(gate, gate::pass)));
    }
    router
        .fallback(async |visit: Visit| visit.answer(Err(Fault::no_page())))
        .method_not_allowed_fallback(async |visit: Visit| visit.answer(Err(Fault::read_only())))
        .layer(DefaultBodyLimit::max(posted::LARGEST_FORM))
        .with_state(Arc::clone(&web))
        .layer(from_fn_with_state(Arc::clone(&web), gate::know))
        .layer(CompressionLayer::new().gzip(true))
        .layer(from_fn_with_state(web, guard::guard))
}

/// A station's name.
///
/// # Errors
/// No station of that slug, or the store's own.
async fn station_name(web: &Web, slug: &str) -> Result<String, Fault> {
    let named = |fleet: &policies::facts::Fleet| {
        let found = fleet.stations.iter().find(|station| *station.slug == *slug);
        found.map(|station| station.name.to_string())
    };
    let found = web.desk.with_fleet(named).await?;
    found.ok_or_else(|| {
        Fault::missing(
            format!("No station is called \"{slug}\"."),
            "The region's page lists them.",
            Vec::new(),
        )
    })
}
