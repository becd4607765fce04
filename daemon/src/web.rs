//! The pages: documents that happen to be live, rendered here whole. Only this room knows HTTP.

mod ahead;
mod asked;
mod card;
mod caution;
mod chart;
mod doubts;
mod fault;
mod filters;
mod fitness;
mod guard;
mod history;
mod holds;
mod item;
mod judged;
mod life;
mod lifting_gear;
mod line;
mod links;
mod loans;
mod mail;
mod near;
mod out_of_service;
mod outfit;
mod paper;
mod place;
mod proof;
mod region;
mod replay;
mod report;
mod rules;
mod search;
mod shell;
mod source;
mod station;
#[cfg(test)]
mod tests;
mod visit;
mod when;
mod why;
mod words;

use std::future::Future;
use std::sync::Arc;

use axum::Router;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use jiff::civil::Date;
use tokio::net::TcpListener;

use crate::demo::catcher::Catcher;
use crate::desk::Desk;
use crate::files::Files;
use fault::Fault;
use visit::Visit;

const STYLE: &str = include_str!("../templates/pages.css");

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
}

/// Every page, each answer with its headers.
pub fn router(web: Web) -> Router {
    let web = Arc::new(web);
    Router::new()
        .route("/", get(async |visit: Visit| visit.answer(region::page(&visit).await)))
        .route("/station/{slug}", get(async |visit: Visit| visit.answer(station::page(&visit).await)))
        .route(
            "/station/{slug}/register",
            get(async |visit: Visit| visit.answer(lifting_gear::page(&visit).await)),
        )
        .route("/station/{slug}/card", get(async |visit: Visit| visit.answer(card::page(&visit).await)))
        .route("/item/{*tag}", get(async |visit: Visit| visit.answer(item::or_why(&visit).await)))
        .route("/report/{*number}", get(async |visit: Visit| visit.answer(report::page(&visit).await)))
        .route("/file/{digest}", get(async |visit: Visit| visit.answer(paper::file(&visit).await)))
        .route("/proof/{*tag}", get(async |visit: Visit| visit.answer(proof::page(&visit).await)))
        .route("/search", get(async |visit: Visit| visit.answer(search::page(&visit).await)))
        .route("/rules", get(async |visit: Visit| visit.answer(rules::all(&visit))))
        .route("/rules/{id}", get(async |visit: Visit| visit.answer(rules::one(&visit).await)))
        .route("/mail", get(async |visit: Visit| visit.answer(mail::list(&visit))))
        .route("/mail/{number}", get(async |visit: Visit| visit.answer(mail::one(&visit))))
        .route("/mail/{number}/raw", get(async |visit: Visit| visit.answer(mail::raw(&visit))))
        .route("/pages.css", get(style))
        .route("/health/live", get("live\n"))
        .fallback(async |visit: Visit| visit.answer(Err(Fault::no_page())))
        .method_not_allowed_fallback(async |visit: Visit| visit.answer(Err(Fault::read_only())))
        .with_state(Arc::clone(&web))
        .layer(axum::middleware::from_fn_with_state(web, guard::guard))
}

async fn style() -> Response {
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], STYLE).into_response()
}

/// Serves the pages until `stop` comes; what is under way then is still answered.
///
/// # Errors
/// The listener's own.
pub async fn serve(
    listener: TcpListener,
    web: Web,
    stop: impl Future<Output = ()> + Send + 'static,
) -> std::io::Result<()> {
    axum::serve(listener, router(web)).with_graceful_shutdown(stop).await
}
