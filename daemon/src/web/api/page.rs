//! Long lists in pieces, and answers that a program need not fetch twice.

use std::fmt::Write;

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use super::call::Call;
use super::endpoint::{Asked, Of, text};
use super::json::Json;
use super::problem::{Problem, Wrong};

/// Rows of a piece, unless more or fewer are asked for.
const ROWS: usize = 100;
/// Most rows of a piece.
pub(super) const MOST: usize = 500;
/// What stands before the place in a cursor: whose list it is of.
const LIST: usize = 16;
/// So long a mark holds while nothing is recorded: a day begins somewhere at each of these.
const QUARTER: i64 = 15 * 60 * 1_000_000;

/// The parameters of a list.
pub(super) const WINDOW: [Asked; 2] = [
    Asked {
        name: "limit",
        says: "Most rows of this answer; 100 unless said.",
        of: Of::Number(MOST),
        needed: false,
    },
    text("cursor", "The `next` of the answer before."),
];

/// A row and where it stands: bytewise, and no two alike.
#[derive(Clone, Debug)]
pub(super) struct Placed {
    pub(super) place: String,
    pub(super) row: Value,
}

/// The piece that is asked for.
struct Window {
    limit: usize,
    after: Option<String>,
    list: String,
}

fn sum(text: &str) -> String {
    Sha256::digest(text).iter().fold(String::new(), |mut hex, byte| {
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

impl Window {
    fn of(call: &Call) -> Result<Window, Problem> {
        let wrong = |name: &str, detail: &str, right: &str| {
            Problem::unreadable(Wrong::parameter(name, detail, right))
        };
        let limit = call.asked("limit").map_or(Some(ROWS), |limit| limit.parse().ok());
        let Some(limit) = limit.filter(|limit| (1..=MOST).contains(limit)) else {
            return Err(wrong("limit", "This limit cannot be", "Give a whole number from 1 to 500."));
        };
        let list = list_of(call);
        let after = call.asked("cursor").map(|cursor| read(cursor, &list)).transpose();
        let Ok(after) = after else {
            return Err(wrong(
                "cursor",
                "This cursor is of no such list",
                "Give the next of an answer to the same question.",
            ));
        };
        Ok(Window { limit, after, list })
    }

    fn cursor(&self, place: &str) -> String {
        place.bytes().fold(self.list.clone(), |mut text, byte| {
            let _ = write!(text, "{byte:02x}");
            text
        })
    }
}

/// Which list: the address, and what is asked but for the piece.
fn list_of(call: &Call) -> String {
    let mut asked: Vec<&(String, String)> =
        call.asked.iter().filter(|(name, _)| name != "limit" && name != "cursor").collect();
    asked.sort();
    sum(&format!("{} {asked:?}", call.path))[..LIST].to_owned()
}

fn read(cursor: &str, list: &str) -> Result<String, ()> {
    let place =
        cursor.strip_prefix(list).filter(|place| place.len() % 2 == 0 && place.is_ascii()).ok_or(())?;
    let bytes: Result<Vec<u8>, _> =
        (0..place.len() / 2).map(|at| u8::from_str_radix(&place[2 * at..2 * at + 2], 16)).collect();
    String::from_utf8(bytes.map_err(drop)?).map_err(drop)
}

/// The piece of a list. It goes on behind the last row told, whatever came or went meanwhile.
pub(super) fn piece(call: &Call, mut rows: Vec<Placed>) -> Result<Response, Problem> {
    let window = Window::of(call)?;
    rows.sort_by(|a, b| a.place.cmp(&b.place));
    let begin = window.after.as_ref().map_or(0, |after| rows.partition_point(|row| row.place <= *after));
    let mut rest = rows.drain(begin..);
    let told: Vec<Placed> = rest.by_ref().take(window.limit).collect();
    let next = rest.next().and(told.last()).map(|last| window.cursor(&last.place));
    drop(rest);
    let told: Vec<Value> = told.into_iter().map(|placed| placed.row).collect();
    Ok(Json(json!({ "rows": told, "next": next })).into_response())
}

/// The mark of what an address answers now: it changes with every record, every rule set, and every day that begins.
///
/// # Errors
/// The store's own.
pub(super) async fn mark(call: &Call) -> Result<String, Problem> {
    let desk = &call.web().desk;
    let head = desk.store.head().await?;
    let quarter = desk.now().0.div_euclid(QUARTER);
    let text =
        format!("{} {} {} {quarter} {} {:?}", head.seq, head.hash, desk.set.hash, call.path, call.asked);
    Ok(format!("\"{}\"", &sum(&text)[..32]))
}

/// The mark of a text.
pub(super) fn mark_of(text: &str) -> String {
    format!("\"{}\"", &sum(text)[..32])
}

/// Whether a header of marks names one.
pub(super) fn names(header: &str, mark: &str) -> bool {
    header.split(',').map(|one| one.trim().trim_start_matches("W/")).any(|one| one == mark || one == "*")
}

/// Says that nothing changed, where the call has the answer of this mark already.
pub(super) fn unchanged(call: &Call, mark: &str) -> Option<Response> {
    let known = call.header("if-none-match").is_some_and(|header| names(header, mark));
    known.then(|| marked(StatusCode::NOT_MODIFIED.into_response(), mark))
}

pub(super) fn marked(mut answer: Response, mark: &str) -> Response {
    if let Ok(value) = HeaderValue::from_str(mark) {
        answer.headers_mut().insert(header::ETAG, value);
    }
    answer
}
