//! One call: who makes it, what the address names and asks, and what is sent with it.

use std::sync::Arc;

use axum::body::to_bytes;
use axum::extract::{FromRequest, FromRequestParts, RawPathParams, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::zone::Instant;
use serde_json::{Map, Value};

use super::deeds;
use super::problem::{Problem, Spot, Wrong};
use crate::accounts::{Come, Seen, same_word};
use crate::records::Item;
use crate::rights::{Act, Place};
use crate::web::Web;
use crate::web::fault::Fault;
use crate::web::visit::Visit;
use crate::web::{gate, posted};

/// The most that is taken at once: a long examination report with room.
const LARGEST: usize = 512 * 1024;
/// And with a file: 20 MiB in base64 are 26.7.
const LARGEST_WITH_FILE: usize = LARGEST + 27 * 1024 * 1024;
/// Years that can be replayed: gear and its records lie well within.
const YEARS: std::ops::RangeInclusive<i16> = 1900..=2199;
/// The header in which a page of this service brings its word.
pub(super) const WORD: &str = "tallow-word";

/// A call that only reads, or what is sent before its body.
pub(super) struct Call {
    pub(super) visit: Visit,
    /// What the address names, in order.
    pub(super) names: Vec<String>,
    /// What stands behind its `?`.
    pub(super) asked: Vec<(String, String)>,
    pub(super) headers: HeaderMap,
    pub(super) path: String,
}

/// A day that can be replayed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Replay {
    pub(super) judged: AsOf,
    pub(super) known_before: Option<Instant>,
    pub(super) day: Date,
}

impl Call {
    pub(super) fn web(&self) -> &Arc<Web> {
        &self.visit.web
    }

    /// The name at that place of the address.
    pub(super) fn name(&self, at: usize) -> &str {
        self.names.get(at).map(String::as_str).unwrap_or_default()
    }

    /// What is asked under a name.
    pub(super) fn asked(&self, name: &str) -> Option<&str> {
        let found = self.asked.iter().find(|(have, _)| have == name);
        found.map(|(_, value)| value.as_str()).filter(|value| !value.is_empty())
    }

    /// Refuses parameters that the address does not know, or that stand twice.
    ///
    /// # Errors
    /// Each of them.
    pub(super) fn knows(&self, known: &[&str]) -> Result<(), Problem> {
        let right = if known.is_empty() {
            "This address takes none.".to_owned()
        } else {
            format!("The parameters are {}.", known.join(", "))
        };
        let mut wrong = Vec::new();
        for (at, (name, _)) in self.asked.iter().enumerate() {
            if !known.contains(&name.as_str()) {
                wrong.push(Wrong::parameter(name, format!("\"{name}\" is no parameter here"), right.clone()));
            } else if self.asked[..at].iter().any(|(before, _)| before == name) {
                wrong.push(Wrong::parameter(name, format!("\"{name}\" stands twice"), "Name it once."));
            }
        }
        match wrong.first() {
            None => Ok(()),
            Some(first) => Err(Problem::new("unreadable", first.detail.clone()).with(wrong)),
        }
    }

    /// The day asked for.
    ///
    /// # Errors
    /// A text that is no date.
    pub(super) fn replay(&self) -> Result<Replay, Problem> {
        let asked = self.visit.asked()?;
        let named = [("as_of", asked.as_of), ("known_on", asked.known_on.unwrap_or(asked.as_of))];
        if let Some((name, day)) = named.into_iter().find(|(_, day)| !YEARS.contains(&day.year())) {
            let detail = format!("{day} lies outside of what can be replayed");
            return Err(Problem::unreadable(Wrong::parameter(name, detail, "Give a day from 1900 to 2199.")));
        }
        let known_before = asked.known_on.map(|day| self.web().desk.known_by(day));
        Ok(Replay { judged: asked.judged, known_before, day: asked.as_of })
    }

    /// Who is signed in.
    ///
    /// # Errors
    /// A stranger.
    pub(super) fn seen(&self) -> Result<&Arc<Seen>, Problem> {
        Ok(self.visit.signed()?)
    }

    /// A header as text.
    pub(super) fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).and_then(|value| value.to_str().ok()).map(str::trim)
    }

    /// The item that the address names.
    ///
    /// # Errors
    /// There is none, or the store's failure.
    pub(super) async fn item(&self, tag: &str) -> Result<Item, Problem> {
        let found = self.web().desk.store.current::<Item>(tag).await?.filter(|item| !item.void);
        found.ok_or_else(|| {
            Problem::missing(format!("No item is tagged \"{tag}\"; search under /api/v1/items?q=…"))
        })
    }

    /// Whether somebody may do something to gear of a station.
    ///
    /// # Errors
    /// What is wrong, and who may.
    pub(super) fn may(&self, act: Act, station: Option<&str>) -> Result<(), Problem> {
        Ok(gate::allowed(self.seen()?, act, Place::Of(station))?)
    }
}

impl FromRequestParts<Arc<Web>> for Call {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, web: &Arc<Web>) -> Result<Call, Response> {
        let visit = Visit::from_request_parts(parts, web).await?;
        let names = RawPathParams::from_request_parts(parts, web).await;
        let names = names.map(|names| names.iter().map(|(_, value)| value.to_owned()).collect());
        let asked = axum::extract::Query::<Vec<(String, String)>>::try_from_uri(&parts.uri);
        let Ok(axum::extract::Query(asked)) = asked else {
            let wrong = Wrong::parameter("", "What stands behind the ? cannot be read", "Write name=value.");
            return Err(Problem::unreadable(wrong).into_response());
        };
        Ok(Call {
            visit,
            names: names.unwrap_or_default(),
            asked,
            headers: parts.headers.clone(),
            path: parts.uri.path().to_owned(),
        })
    }
}

/// A call with a body, from a program, or from this service's own pages with their word.
pub(super) struct Sent {
    pub(super) call: Call,
    pub(super) body: Map<String, Value>,
}

impl FromRequest<Arc<Web>> for Sent {
    type Rejection = Response;

    async fn from_request(request: Request, web: &Arc<Web>) -> Result<Sent, Response> {
        let (mut parts, body) = request.into_parts();
        let call = Call::from_request_parts(&mut parts, web).await?;
        let read = async {
            own_word(&call, &parts)?;
            is_json(&parts.headers)?;
            let most = if deeds::takes_file(&call.path) { LARGEST_WITH_FILE } else { LARGEST };
            let bytes = to_bytes(body, most).await.map_err(|_| {
                let paper =
                    if most > LARGEST { ": a paper of 20 MiB; scan it again with fewer dots" } else { "" };
                Problem::new("too-large", format!("A body is at most {} KiB here{paper}.", most / 1024))
            })?;
            object(&bytes)
        };
        match read.await {
            Ok(body) => Ok(Sent { call, body }),
            Err(problem) => Err(problem.into_response()),
        }
    }
}

/// No browser sends a token by itself; who comes by cookie shows that their own page sends it.
fn own_word(call: &Call, parts: &Parts) -> Result<(), Problem> {
    let Come::Session(session) = &call.seen()?.by else { return Ok(()) };
    posted::own_page(&call.web().door, parts)?;
    let word = call.header(WORD).unwrap_or_default();
    if same_word(word, &session.csrf) { Ok(()) } else { Err(Fault::stale_form().into()) }
}

fn is_json(headers: &HeaderMap) -> Result<(), Problem> {
    let media = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let media = media.split(';').next().unwrap_or_default().trim();
    if media.eq_ignore_ascii_case("application/json") {
        return Ok(());
    }
    let spot = Spot::Header("content-type");
    let wrong = Wrong {
        spot,
        detail: format!("\"{}\" is not taken", media.chars().take(60).collect::<String>()),
        right: "Send application/json.".to_owned(),
    };
    Err(Problem::new("media-type", wrong.detail.clone()).with(vec![wrong]))
}

fn object(bytes: &[u8]) -> Result<Map<String, Value>, Problem> {
    let wrong = |detail: String, right: &str| {
        let wrong = Wrong { spot: Spot::Field(String::new()), detail, right: right.to_owned() };
        Problem::unreadable(wrong)
    };
    match serde_json::from_slice(bytes) {
        Ok(Value::Object(body)) => Ok(body),
        Ok(_) => Err(wrong("The body is no object".to_owned(), "Send {\"name\": value, …}.")),
        Err(error) => Err(wrong(format!("The body is no JSON: {error}"), "Send one JSON object in UTF-8.")),
    }
}
