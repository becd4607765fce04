//! What a page is made up with: its style, the small script of the station's day, and what lets a phone keep that day.

use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::get;

use super::routes::{At, Need, Row};

const STYLE: &str =
    concat!(include_str!("../../templates/pages.css"), include_str!("../../templates/drawings.css"));
const APP: &str = include_str!("../../templates/app.js");
const QUEUE: &str = include_str!("../../templates/queue.js");
const WORKER: &str = include_str!("../../templates/sw.js");
const MANIFEST: &str = include_str!("../../templates/manifest.webmanifest");
const ICON: &str = include_str!("../../templates/icon.svg");

const SCRIPT: &str = "text/javascript; charset=utf-8";

/// Their addresses: anybody may have them.
pub(super) fn rows() -> Vec<Row> {
    let files = [
        ("/pages.css", "text/css; charset=utf-8", STYLE),
        ("/app.js", SCRIPT, APP),
        ("/queue.js", SCRIPT, QUEUE),
        ("/sw.js", SCRIPT, WORKER),
        ("/manifest.webmanifest", "application/manifest+json", MANIFEST),
        ("/icon.svg", "image/svg+xml", ICON),
    ];
    let row = |(path, kind, text): (&'static str, &'static str, &'static str)| {
        Row::get(path, Need::Nothing, At::Region, get(async move || file(kind, text)))
    };
    files.into_iter().map(row).collect()
}

fn file(kind: &'static str, text: &'static str) -> Response {
    ([(header::CONTENT_TYPE, kind)], text).into_response()
}
