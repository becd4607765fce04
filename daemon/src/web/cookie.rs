//! The cookies: one for who is signed in, one that ties a stranger's form to their browser, and one by which a browser
//! is known again. All are out of reach of scripts, and over TLS of other hosts too.

use axum::http::header::{COOKIE, SET_COOKIE};
use axum::http::{HeaderMap, HeaderValue};
use axum::response::Response;

use super::door::Door;

/// What a cookie is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Jar {
    /// Who is signed in.
    Session,
    /// A stranger's form.
    Form,
    /// Who came in here before.
    Known,
}

fn name(door: &Door, jar: Jar) -> &'static str {
    match (jar, door.secure) {
        (Jar::Session, true) => "__Host-tallow",
        (Jar::Session, false) => "tallow",
        (Jar::Form, true) => "__Host-tallow-form",
        (Jar::Form, false) => "tallow-form",
        (Jar::Known, true) => "__Host-tallow-known",
        (Jar::Known, false) => "tallow-known",
    }
}

/// The value a request brings.
pub(super) fn brought<'h>(door: &Door, jar: Jar, headers: &'h HeaderMap) -> Option<&'h str> {
    let all = headers.get_all(COOKIE).into_iter().filter_map(|value| value.to_str().ok());
    let mut pairs = all.flat_map(|value| value.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(have, _)| *have == name(door, jar)).map(|(_, value)| value).filter(|value| !value.is_empty())
}

/// Gives an answer a cookie that lasts so many seconds; none: it is taken back.
pub(super) fn give(answer: &mut Response, door: &Door, jar: Jar, value: Option<(&str, i64)>) {
    let secure = if door.secure { "; Secure" } else { "" };
    let (value, lasts) = value.unwrap_or_default();
    let text =
        format!("{}={value}; Path=/; HttpOnly; SameSite=Lax; Max-Age={lasts}{secure}", name(door, jar));
    if let Ok(value) = HeaderValue::from_str(&text) {
        answer.headers_mut().append(SET_COOKIE, value);
    }
}
