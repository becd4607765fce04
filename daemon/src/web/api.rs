//! The records and what people do to them, as JSON for other programs, with the rights of the pages. Every address
//! stands in one table, from which the router, the rights and the published document are all made.

mod ask;
mod batch;
mod call;
mod deeds;
mod document;
mod drafts;
mod endpoint;
mod json;
mod once;
mod page;
mod problem;
mod reading;
mod sheets;

pub(super) use json::Json;
pub(super) use problem::{Told, spoken};

use endpoint::Endpoint;
pub(super) use sheets::guarded;

use super::routes::Row;

/// The published document, as it is committed.
pub const DOCUMENT: &str = include_str!("../../openapi.json");

/// Every address of the interface.
fn endpoints() -> Vec<Endpoint> {
    let mut all = reading::endpoints();
    all.extend(deeds::endpoints());
    all.extend(drafts::endpoints());
    all.push(batch::endpoint());
    all.push(document::endpoint());
    all.push(problem::endpoint());
    all
}

/// Their rows of the table of routes, with the tables as files.
pub(super) fn rows() -> Vec<Row> {
    let mut rows: Vec<Row> = endpoints().into_iter().map(Endpoint::row).collect();
    rows.extend(sheets::rows());
    rows
}

/// The document that the table makes; what is committed must not differ from it.
///
/// # Errors
/// Never for these types; serde's own.
pub fn document() -> anyhow::Result<String> {
    Ok(document::of(&endpoints()).to_pretty_json()? + "\n")
}
