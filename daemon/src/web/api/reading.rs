//! What can be read. A list is a table of rows with named columns: one source for the interface and for the files.

mod judged;
mod register;
mod rules;
mod service;
mod single;

use std::pin::Pin;
use std::sync::Arc;

use serde_json::Value;

use super::call::{Call, Replay};
use super::document;
use super::endpoint::{Asked, Endpoint, Of, header, text};
use super::page::{self, Placed, WINDOW};
use super::problem::Problem;
use crate::rights::Act;
use crate::web::routes::{At, Need};

/// The rows of a list.
pub(super) type Rows = Pin<Box<dyn Future<Output = Result<Vec<Placed>, Problem>> + Send>>;

/// A table.
#[derive(Clone, Copy)]
pub(super) struct Table {
    /// Its name in addresses.
    pub(super) name: &'static str,
    /// Whom it is for.
    pub(super) need: Need,
    pub(super) says: &'static str,
    /// Its columns; the first ones say where a row stands.
    pub(super) columns: &'static [&'static str],
    /// Columns by which rows are chosen.
    pub(super) by: &'static [&'static str],
    /// Whether a day can be replayed.
    pub(super) replays: bool,
    /// Whether it changes with the records alone.
    pub(super) marked: bool,
    pub(super) rows: fn(Arc<Call>) -> Rows,
}

/// Every table.
pub(super) fn tables() -> Vec<Table> {
    let mut tables = judged::TABLES.to_vec();
    tables.extend(register::TABLES);
    tables.extend(rules::tables());
    tables.extend(service::tables());
    tables
}

const AS_OF: Asked = Asked {
    name: "as_of",
    says: "The world at 24:00 of this day; today where left out.",
    of: Of::Date,
    needed: false,
};
const KNOWN_ON: Asked = Asked {
    name: "known_on",
    says: "Without what became known after this day.",
    of: Of::Date,
    needed: false,
};
const UNCHANGED: Asked = header("If-None-Match", "The ETag of an earlier answer: 304 where it still holds.");

pub(super) const REPLAY: [Asked; 2] = [AS_OF, KNOWN_ON];

/// Rows that everybody of the service may read.
const HOUSE: Need = Need::Reads(Act::ViewRegion);
/// Rows that everybody who is in may read.
const ALL: Need = Need::Reads(Act::ViewItem);

pub(super) fn endpoints() -> Vec<Endpoint> {
    let mut all: Vec<Endpoint> = tables().into_iter().map(Table::endpoint).collect();
    all.extend(single::endpoints());
    all
}

impl Table {
    /// What may be asked of it, but for the piece.
    pub(super) fn parameters(self) -> Vec<Asked> {
        let by = self.by.iter().map(|column| match *column {
            "q" => text("q", "Only rows in which this text stands, in capitals or not."),
            column => text(column, "Only rows with this value."),
        });
        let replay = if self.replays { &REPLAY[..] } else { &[] };
        by.chain(replay.iter().copied()).collect()
    }

    fn endpoint(self) -> Endpoint {
        let schema = document::rows(self.columns);
        let path = format!("/api/v1/{}", self.name);
        let read = move |call: Call| -> super::endpoint::Answering { Box::pin(self.piece(call)) };
        let marked = self.marked.then_some(UNCHANGED);
        let also: &[u16] = if self.marked { &[304] } else { &[] };
        Endpoint::reads(path, (self.need, At::Region), (self.name, self.says), schema, read)
            .asking(self.parameters().into_iter().chain(WINDOW).chain(marked))
            .also(also)
    }

    async fn piece(self, call: Call) -> Result<axum::response::Response, Problem> {
        let own = self.parameters();
        let known: Vec<&str> = own.iter().chain(&WINDOW).map(|asked| asked.name).collect();
        call.knows(&known)?;
        let mark = if self.marked { Some(page::mark(&call).await?) } else { None };
        if let Some(same) = mark.as_ref().and_then(|mark| page::unchanged(&call, mark)) {
            return Ok(same);
        }
        let call = Arc::new(call);
        let rows = self.found(Arc::clone(&call)).await?;
        let answer = page::piece(&call, rows)?;
        Ok(match mark {
            Some(mark) => page::marked(answer, &mark),
            None => answer,
        })
    }

    /// The rows that are asked for.
    ///
    /// # Errors
    /// A parameter that cannot be read, or the store's failure.
    pub(super) async fn found(self, call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
        let mut rows = (self.rows)(Arc::clone(&call)).await?;
        for column in self.by {
            let Some(wanted) = call.asked(column) else { continue };
            rows.retain(|placed| match *column {
                "q" => holds(&placed.row, wanted),
                column => self::text_of(&placed.row[column]) == wanted,
            });
        }
        Ok(rows)
    }
}

fn holds(row: &Value, sought: &str) -> bool {
    let sought = sought.to_lowercase();
    let mut values = row.as_object().into_iter().flat_map(serde_json::Map::values);
    values.any(|value| text_of(value).to_lowercase().contains(&sought))
}

/// A value as a table shows it.
pub(super) fn text_of(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(parts) => parts.iter().map(text_of).collect::<Vec<_>>().join(" | "),
        other => other.to_string(),
    }
}

/// A row that stands where its first columns say.
pub(super) fn placed<const N: usize>(row: Value, by: [&str; N]) -> Placed {
    let place: Vec<String> = by.iter().map(|column| text_of(&row[*column])).collect();
    Placed { place: place.join("\u{1}"), row }
}

/// Something as JSON.
///
/// # Errors
/// Never for these types.
pub(super) fn value(thing: &impl serde::Serialize) -> Result<Value, Problem> {
    serde_json::to_value(thing).map_err(|error| {
        tracing::error!(%error, "an answer could not be written");
        Problem::new("failed", "The answer could not be written.")
    })
}

/// The replayed day of a call.
fn replay(call: &Call) -> Result<Replay, Problem> {
    call.replay()
}
