//! One visit to a page: the address taken apart, and the way to its answer.

use std::sync::Arc;

use askama::Template;
use axum::extract::rejection::RawPathParamsRejection;
use axum::extract::{FromRequestParts, RawPathParams};
use axum::http::request::Parts;
use axum::response::{Html, IntoResponse, Response};

use super::Web;
use super::asked::{Asked, Query, check_names};
use super::bodies::Bodies;
use super::cookie::{self, Jar};
use super::entry::once;
use super::fault::{self, Fault};
use super::gate::Presence;
use crate::accounts::Seen;
use crate::rights::{self, Act, Place};

/// A visit, before what it asks for was looked at.
#[derive(Clone)]
pub(super) struct Visit {
    pub(super) web: Arc<Web>,
    pub(super) query: Query,
    pub(super) presence: Presence,
    pub(super) bodies: Arc<Bodies>,
    /// What the browser keeps for a stranger's forms.
    pub(super) bound: Option<String>,
    /// What the browser keeps of who came in there before.
    pub(super) known: String,
    /// The address as it was asked for.
    pub(super) address: String,
    /// What the form that led here did.
    done: Option<String>,
    name: String,
    pairs: Vec<(String, String)>,
}

impl Visit {
    /// What the address names behind the page's own path: a slug, a tag, a number.
    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// Everything behind the ?, in its order.
    pub(super) fn pairs(&self) -> Vec<(String, String)> {
        self.pairs.clone()
    }

    /// The day asked for.
    ///
    /// # Errors
    /// A text that is no date.
    pub(super) fn asked(&self) -> Result<Asked, Fault> {
        let signed = self.presence.seen().map(|seen| seen.who.person.name.clone());
        // Who may record sees what was recorded: the demo's stated evening is for those who only read.
        let stated = self.web.stated.filter(|_| signed.is_none());
        let done = self.done.clone();
        Ok(Asked { signed, stores: self.sees_stores(), done, ..self.query.read(&self.web, stated)? })
    }

    /// Whether who is there may read the stores' pages.
    pub(super) fn sees_stores(&self) -> bool {
        match self.presence.seen() {
            Some(seen) => rights::may(&seen.who, Act::ViewStores, Place::Own).is_ok(),
            None => self.web.door.open,
        }
    }

    /// Who is signed in.
    ///
    /// # Errors
    /// A stranger.
    pub(super) fn signed(&self) -> Result<&Arc<Seen>, Fault> {
        self.presence.seen().ok_or_else(|| Fault::unsigned("/"))
    }

    /// The page, or the page that says why there is none.
    pub(super) fn answer(&self, made: Result<Response, Fault>) -> Response {
        made.unwrap_or_else(|fault| fault::answer(&self.web, &fault))
    }
}

/// A whole page.
///
/// # Errors
/// The template's own.
pub(super) fn html(page: &impl Template) -> Result<Response, Fault> {
    Ok(Html(page.render()?).into_response())
}

impl FromRequestParts<Arc<Web>> for Visit {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, web: &Arc<Web>) -> Result<Visit, Response> {
        let read = async {
            let name = first_name(RawPathParams::from_request_parts(parts, web).await)?;
            if !names_its_own(parts.uri.path()) {
                check_names(parts.uri.query().unwrap_or_default())?;
            }
            let query = axum::extract::Query::<Query>::try_from_uri(&parts.uri);
            let axum::extract::Query(query) = query.map_err(|_| {
                Fault::asked(
                    "The part of the address behind the ? cannot be read.",
                    "Name each thing once, like ?as_of=2026-10-12.",
                )
            })?;
            let presence = parts.extensions.get::<Presence>().cloned().unwrap_or_default();
            let bodies = parts.extensions.get::<Arc<Bodies>>().cloned().unwrap_or_default();
            let bound = cookie::brought(&web.door, Jar::Form, &parts.headers).map(str::to_owned);
            let known = cookie::brought(&web.door, Jar::Known, &parts.headers).unwrap_or_default().to_owned();
            let address = parts.uri.path_and_query().map(ToString::to_string).unwrap_or_default();
            let pairs = axum::extract::Query::<Vec<(String, String)>>::try_from_uri(&parts.uri);
            let pairs = pairs.map(|axum::extract::Query(pairs)| pairs).unwrap_or_default();
            // Words of records are for who is signed in.
            let done = match query.done.as_deref().filter(|_| presence.seen().is_some()) {
                Some(key) => once::told(&web.desk, key).await?,
                None => None,
            };
            Ok::<_, Fault>(Visit {
                web: Arc::clone(web),
                done,
                query,
                presence,
                bodies,
                bound,
                known,
                address,
                name,
                pairs,
            })
        };
        read.await.map_err(|fault| fault::answer(web, &fault))
    }
}

/// Whether an address knows other names behind the ? than pages do, and checks them itself: a table's columns, the
/// readings of a rule; or is asked by programs that add some of their own.
fn names_its_own(path: &str) -> bool {
    ["/api/", "/table/", "/calendar/"].iter().any(|start| path.starts_with(start)) || path.ends_with("/judge")
}

fn first_name(found: Result<RawPathParams, RawPathParamsRejection>) -> Result<String, Fault> {
    match found {
        Ok(names) => Ok(names.iter().next().map(|(_, value)| value.to_owned()).unwrap_or_default()),
        Err(RawPathParamsRejection::MissingPathParams(_)) => Ok(String::new()),
        Err(_) => Err(Fault::asked("The address is not UTF-8.", "Follow a link, or search for the tag.")),
    }
}
