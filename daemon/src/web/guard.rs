//! Around every answer: the headers that keep a page to itself, and a page in place of a panic.

use std::panic::AssertUnwindSafe;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;
use futures_util::FutureExt;

use super::alarms;
use super::fault::{self, Fault};
use super::{Web, api, metrics};

/// Nothing from elsewhere, nothing inline; forms go back to where they came from.
const CONTENT_POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; \
                              worker-src 'self'; connect-src 'self'; manifest-src 'self'; form-action 'self'; \
                              object-src 'none'; base-uri 'none'; frame-ancestors 'none'";

const HEADERS: [(HeaderName, &str); 6] = [
    (header::CONTENT_SECURITY_POLICY, CONTENT_POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "no-referrer"),
    (header::CACHE_CONTROL, "no-store"),
    // Read only over TLS (RFC 6797, 8.1), which a proxy in front gives; on loopback it says nothing.
    (header::STRICT_TRANSPORT_SECURITY, "max-age=31536000"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
];

/// Whether a request names this service as its host. One that names none comes from no browser.
fn is_meant(web: &Web, request: &Request) -> bool {
    let said = request.headers().get(header::HOST).map(|host| host.to_str().unwrap_or("?"));
    let host = said.or_else(|| request.uri().authority().map(axum::http::uri::Authority::as_str));
    host.is_none_or(|host| web.door.answers_to(host))
}

/// Whether an address holds a NUL: no name has one, and not every database can be asked for it.
fn holds_nul(request: &Request) -> bool {
    request.uri().path_and_query().is_some_and(|address| address.as_str().contains("%00"))
}

/// Answers a request whatever happens, and marks the answer.
pub(super) async fn guard(State(web): State<Arc<Web>>, request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let answer = if holds_nul(&request) {
        let right = "Follow a link, or search for the tag.";
        fault::answer(&web, &Fault::asked("The address holds a character that no name has.", right))
    } else if is_meant(&web, &request) {
        let answered = AssertUnwindSafe(alarms::known(&web, next.run(request))).catch_unwind().await;
        answered.unwrap_or_else(|_| fault::answer(&web, &Fault::Panicked(path.clone())))
    } else {
        fault::answer(&web, &Fault::another_host())
    };
    metrics::count(&answer);
    let mut answer = api::spoken(&path, answer);
    for (name, value) in HEADERS {
        answer.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    // By the clock that records are judged by: a phone measures its own against it.
    let date = web.desk.now().timestamp().strftime("%a, %d %b %Y %H:%M:%S GMT").to_string();
    if let Ok(date) = HeaderValue::from_str(&date) {
        answer.headers_mut().insert(header::DATE, date);
    }
    answer
}
