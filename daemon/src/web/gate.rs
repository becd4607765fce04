//! Before every page: who is there, and whether the row of the table lets them through.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::extract::{ConnectInfo, FromRequestParts, RawPathParams, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use axum::middleware::Next;
use axum::response::Response;

use super::bodies::Bodies;
use super::cookie::{self, Jar};
use super::fault::{self, Fault};
use super::routes::{At, Need};
use super::{Door, Web, metrics, unsent};
use crate::accounts::{Seen, Worth};
use crate::rights::{self, Act, Place};
use crate::store::StoreError;

/// Who is there.
#[derive(Clone, Debug, Default)]
pub(super) enum Presence {
    /// Nobody that is known.
    #[default]
    Stranger,
    /// Somebody signed in, or a program of theirs.
    In(Arc<Seen>),
    /// Somebody whose account was shut.
    Shut,
}

impl Presence {
    pub(super) fn seen(&self) -> Option<&Arc<Seen>> {
        match self {
            Presence::In(seen) => Some(seen),
            Presence::Stranger | Presence::Shut => None,
        }
    }
}

/// What one row of the table asks for.
#[derive(Clone)]
pub(super) struct Gate {
    pub(super) web: Arc<Web>,
    pub(super) bodies: Arc<Bodies>,
    pub(super) path: &'static str,
    pub(super) need: Need,
    pub(super) at: At,
}

/// Finds out who is there; the page behind is handed it.
pub(super) async fn know(State(web): State<Arc<Web>>, mut request: Request, next: Next) -> Response {
    match present(&web.door, request.headers()).await {
        Ok(presence) => {
            request.extensions_mut().insert(presence);
            next.run(request).await
        }
        Err(error) => fault::answer(&web, &error.into()),
    }
}

async fn present(door: &Door, headers: &HeaderMap) -> Result<Presence, StoreError> {
    let worth = match (bearer(headers), cookie::brought(door, Jar::Session, headers)) {
        (Some(token), _) => match door.accounts.by_token(token).await? {
            // A program is told that its token is worth nothing, rather than read as a stranger.
            Worth::Nothing => Worth::Shut,
            worth => worth,
        },
        (None, Some(token)) => door.accounts.by_session(token).await?,
        (None, None) => Worth::Nothing,
    };
    Ok(match worth {
        Worth::In(seen) => Presence::In(Arc::from(seen)),
        Worth::Nothing => Presence::Stranger,
        Worth::Shut => Presence::Shut,
    })
}

fn bearer(headers: &HeaderMap) -> Option<&str> {
    headers.get(header::AUTHORIZATION)?.to_str().ok()?.strip_prefix("Bearer ").map(str::trim)
}

/// Lets a request through to its page, or says why not.
pub(super) async fn pass(State(gate): State<Gate>, request: Request, next: Next) -> Response {
    let (mut parts, body) = request.into_parts();
    let writes = !parts.method.is_safe();
    let presence = parts.extensions.get::<Presence>().cloned().unwrap_or_default();
    parts.extensions.insert(Arc::clone(&gate.bodies));
    let answer = match gate.judge(&mut parts).await {
        Ok(()) => next.run(Request::from_parts(parts, body)).await,
        Err(fault @ Fault::Unsigned { .. }) if is_stranger(&parts) => {
            let kept = parts.clone();
            let way_in = unsent::way_in(&gate.web, &kept, Request::from_parts(parts, body)).await;
            match way_in {
                Some(page) => page.unwrap_or_else(|fault| fault::answer(&gate.web, &fault)),
                None => fault::answer(&gate.web, &fault),
            }
        }
        Err(fault) => fault::answer(&gate.web, &fault),
    };
    if let Some(seen) = presence.seen().filter(|_| writes) {
        gate.bodies.note(&seen.who.person.key);
    }
    metrics::of_route(gate.path, answer)
}

fn is_stranger(parts: &Parts) -> bool {
    matches!(parts.extensions.get::<Presence>(), None | Some(Presence::Stranger))
}

impl Gate {
    async fn judge(&self, parts: &mut Parts) -> Result<(), Fault> {
        let presence = parts.extensions.get::<Presence>().cloned().unwrap_or_default();
        let open = self.web.door.open;
        let seen = match (&presence, self.need) {
            (_, Need::Nothing) => return Ok(()),
            (Presence::Shut, _) => return Err(Fault::shut()),
            (Presence::Stranger, Need::Reads(_)) if open => return Ok(()),
            (Presence::Stranger, _) => return Err(Fault::unsigned(&came_from(parts))),
            (Presence::In(seen), _) => seen,
        };
        let (Need::Reads(act) | Need::Does(act)) = self.need else { return Ok(()) };
        let named = match self.at {
            At::Region | At::Page => None,
            At::Station => station(parts).await,
        };
        allowed(seen, act, named.as_deref().map_or(Place::Own, |slug| Place::Of(Some(slug))))
    }
}

async fn station(parts: &mut Parts) -> Option<String> {
    let names = RawPathParams::from_request_parts(parts, &()).await.ok()?;
    names.iter().next().map(|(_, slug)| slug.to_owned())
}

/// Where somebody was when they had to sign in: a page they can be led back to.
fn came_from(parts: &Parts) -> String {
    let get = parts.method == axum::http::Method::GET;
    let address = parts.uri.path_and_query().map(axum::http::uri::PathAndQuery::as_str);
    address.filter(|_| get).unwrap_or("/").to_owned()
}

/// Whether somebody may do something there.
///
/// # Errors
/// What is wrong, and who may; it is written into the log too.
pub(super) fn allowed(seen: &Seen, act: Act, place: Place) -> Result<(), Fault> {
    rights::may(&seen.who, act, place).map_err(|refusal| {
        tracing::warn!(email = %seen.who.person.key, act = ?act, ?place, "an act was refused");
        Fault::forbidden(refusal)
    })
}

/// The network address a request comes from; empty where it is not known.
pub(super) fn address(web: &Web, parts: &Parts) -> String {
    // The last entry is the one that the web server before the pages wrote; those before it anybody can write.
    let forwarded = parts.headers.get_all("x-forwarded-for").into_iter().next_back();
    let forwarded = forwarded.filter(|_| web.door.forwarded).and_then(|value| value.to_str().ok());
    if let Some(last) = forwarded.and_then(|value| value.rsplit(',').next()) {
        return last.trim().chars().take(64).collect();
    }
    let peer = parts.extensions.get::<ConnectInfo<SocketAddr>>();
    peer.map(|ConnectInfo(peer)| peer.ip().to_string()).unwrap_or_default()
}
