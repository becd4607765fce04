//! What a form sends. It is taken only from the service's own pages: the browser says that it was sent from there, and
//! it brings back a word that only the page of this very person bears. A program with a token of its own needs neither,
//! since no browser sends that for it.

use std::sync::Arc;

use axum::extract::{FromRequest, FromRequestParts, Multipart, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};

use super::cookie::{self, Jar};
use super::fault::{self, Fault};
use super::gate;
use super::unsent::Unsent;
use super::visit::Visit;
use super::{Door, Web};
use crate::accounts::{Come, Seen, form_word, same_word};

/// Largest form.
pub(super) const LARGEST_FORM: usize = 64 * 1024;
/// The field that brings the page's word back.
pub(super) const WORD: &str = "token";

/// The fields of a form.
#[derive(Clone, Debug, Default)]
pub(super) struct Form {
    fields: Vec<(String, String)>,
}

/// A file that came with a form.
#[derive(Clone, Debug)]
pub(super) struct Upload {
    /// The name it had.
    pub(super) name: String,
    pub(super) bytes: Vec<u8>,
}

impl Form {
    /// What stands in a field, blanks around it left out; nothing where there is none.
    pub(super) fn field(&self, name: &str) -> &str {
        self.raw(name).trim()
    }

    /// What stands in every field of a name.
    pub(super) fn every<'f>(&'f self, name: &'f str) -> impl Iterator<Item = &'f str> {
        self.fields.iter().filter(move |(have, _)| have == name).map(|(_, value)| value.as_str())
    }

    /// Every field, in its order.
    pub(super) fn all(&self) -> impl Iterator<Item = (&str, &str)> {
        self.fields.iter().map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// What stands in a field as it was typed.
    pub(super) fn raw(&self, name: &str) -> &str {
        let found = self.fields.iter().find(|(have, _)| have == name);
        found.map(|(_, value)| value.as_str()).unwrap_or_default()
    }
}

/// A form that may be acted on.
pub(super) struct Posted {
    pub(super) visit: Visit,
    pub(super) form: Form,
    /// The file that came with it.
    pub(super) file: Option<Upload>,
    /// What the browser says it is.
    pub(super) device: String,
    /// The network address it comes from.
    pub(super) from: String,
}

impl Posted {
    /// Who sent it.
    ///
    /// # Errors
    /// A stranger.
    pub(super) fn signed(&self) -> Result<&Seen, Fault> {
        Ok(self.visit.signed()?.as_ref())
    }

    /// Who sent it, having proved within five minutes who they are, for what is signed.
    ///
    /// # Errors
    /// A stranger, or too long ago: then the way leads over the page that asks again, and back to `draft`.
    pub(super) fn fresh(&self, draft: &str) -> Result<&Seen, Fault> {
        let seen = self.signed()?;
        if self.visit.web.door.accounts.is_fresh(seen) {
            return Ok(seen);
        }
        match seen.by {
            Come::Session(_) => Err(Fault::again(draft)),
            Come::Token(_) => Err(Fault::for_people()),
        }
    }
}

/// To the page that shows what was done.
pub(super) fn see(address: &str) -> Response {
    Redirect::to(address).into_response()
}

impl FromRequest<Arc<Web>> for Posted {
    type Rejection = Response;

    async fn from_request(request: Request, web: &Arc<Web>) -> Result<Posted, Response> {
        let (mut parts, body) = request.into_parts();
        let visit = Visit::from_request_parts(&mut parts, web).await?;
        let device = parts.headers.get(header::USER_AGENT).and_then(|value| value.to_str().ok());
        let device = device.unwrap_or_default().to_owned();
        let from = gate::address(web, &parts);
        let read = async {
            let by_program = visit.presence.seen().is_some_and(|seen| matches!(seen.by, Come::Token(_)));
            if !by_program {
                own_page(&web.door, &parts)?;
            }
            let headers = parts.headers.clone();
            let (form, file) = fields(Request::from_parts(parts, body)).await?;
            let known = by_program || bears_word(&web.door, &visit, &form, &headers);
            Ok::<_, Fault>((form, file, known))
        };
        match read.await {
            Ok((form, file, true)) => Ok(Posted { visit, form, file, device, from }),
            Ok((_, Some(_), false)) => Err(fault::answer(web, &Fault::stale_form())),
            Ok((form, None, false)) => {
                Err(stale(&visit, &form).unwrap_or_else(|fault| fault::answer(web, &fault)))
            }
            Err(fault) => Err(fault::answer(web, &fault)),
        }
    }
}

/// A form of an earlier sign-in: it is not taken, and what was filled in is shown, to be sent again.
fn stale(visit: &Visit, form: &Form) -> Result<Response, Fault> {
    let (Some(seen), Some(unsent)) = (visit.presence.seen(), Unsent::of(&visit.address, form)) else {
        return Err(Fault::stale_form());
    };
    let says =
        "The form was of an earlier sign-in, so nothing was recorded. Look through it, and send it again.";
    let who = (seen.who.person.name.as_str(), visit.word()?.text);
    unsent.page(&visit.web, who, (StatusCode::FORBIDDEN, says))
}

fn too_large() -> Fault {
    Fault::form(
        StatusCode::PAYLOAD_TOO_LARGE,
        "What was sent is larger than this form takes.",
        "A form takes 64 KiB, a certificate's file 20 MiB; nothing was recorded.",
    )
}

/// A form that brings a file.
async fn parts(request: Request) -> Result<(Form, Option<Upload>), Fault> {
    let unread = |status: StatusCode| match status {
        StatusCode::PAYLOAD_TOO_LARGE => too_large(),
        _ => Fault::form(
            StatusCode::BAD_REQUEST,
            "The form cannot be read.",
            "Send it again from its page; nothing was recorded.",
        ),
    };
    let mut parts = Multipart::from_request(request, &()).await.map_err(|error| unread(error.status()))?;
    let (mut form, mut file) = (Form::default(), None);
    while let Some(part) = parts.next_field().await.map_err(|error| unread(error.status()))? {
        let name = part.name().unwrap_or_default().to_owned();
        let given = part.file_name().map(str::to_owned);
        let bytes = part.bytes().await.map_err(|error| unread(error.status()))?;
        match given {
            // A field left empty comes as a file without a name.
            Some(given) if !given.is_empty() => file = Some(Upload { name: given, bytes: bytes.to_vec() }),
            Some(_) => {}
            None => form.fields.push((name, String::from_utf8_lossy(&bytes).into_owned())),
        }
    }
    Ok((form, file))
}

pub(super) async fn fields(request: Request) -> Result<(Form, Option<Upload>), Fault> {
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    if kind.is_some_and(|kind| kind.starts_with("multipart/form-data")) {
        return parts(request).await;
    }
    match axum::Form::<Vec<(String, String)>>::from_request(request, &()).await {
        Ok(axum::Form(fields)) => Ok((Form { fields }, None)),
        Err(rejected) => Err(match rejected.into_response().status() {
            StatusCode::PAYLOAD_TOO_LARGE => too_large(),
            StatusCode::UNSUPPORTED_MEDIA_TYPE => Fault::form(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "What was sent is no form.",
                "Send it as application/x-www-form-urlencoded; nothing was recorded.",
            ),
            _ => Fault::form(
                StatusCode::BAD_REQUEST,
                "The form cannot be read.",
                "Send it again from its page; nothing was recorded.",
            ),
        }),
    }
}

/// Whether the browser says that a form was sent from the service's own pages (Fetch Metadata; else the origin).
pub(super) fn own_page(door: &Door, parts: &Parts) -> Result<(), Fault> {
    let said = |name: &str| parts.headers.get(name).and_then(|value| value.to_str().ok());
    let own = match (said("sec-fetch-site"), said("origin")) {
        (Some(site), _) => site == "same-origin",
        (None, Some(origin)) => is_own(door, origin, said("host")),
        (None, None) => false,
    };
    if own { Ok(()) } else { Err(Fault::cross_site()) }
}

fn is_own(door: &Door, origin: &str, host: Option<&str>) -> bool {
    match &door.origin {
        Some(own) if own == origin => true,
        // On this machine the pages may be reached past the address that others use.
        _ => !door.secure && origin.split_once("://").is_some_and(|(_, from)| Some(from) == host),
    }
}

fn bears_word(door: &Door, visit: &Visit, form: &Form, headers: &HeaderMap) -> bool {
    let word = form.raw(WORD);
    match visit.presence.seen().map(|seen| &seen.by) {
        Some(Come::Session(session)) => same_word(word, &session.csrf),
        Some(Come::Token(_)) => true,
        None => {
            let bound = cookie::brought(door, Jar::Form, headers);
            bound.is_some_and(|bound| same_word(word, &form_word(bound)))
        }
    }
}

impl Visit {
    /// The word that a form of this page bears, and the cookie that goes with it where nobody is signed in.
    ///
    /// # Errors
    /// No randomness.
    pub(super) fn word(&self) -> Result<Word, Fault> {
        if let Some(Come::Session(session)) = self.presence.seen().map(|seen| &seen.by) {
            return Ok(Word { text: session.csrf.clone(), cookie: None });
        }
        let bound = match &self.bound {
            Some(bound) => bound.clone(),
            None => crate::accounts::random_word()?,
        };
        Ok(Word { text: form_word(&bound), cookie: Some(bound) })
    }
}

/// A form's word.
pub(super) struct Word {
    /// For the field.
    pub(super) text: String,
    cookie: Option<String>,
}

impl Word {
    /// The page that bears it.
    pub(super) fn borne(&self, door: &Door, mut page: Response) -> Response {
        if let Some(bound) = &self.cookie {
            cookie::give(&mut page, door, Jar::Form, Some((bound, 12 * 60 * 60)));
        }
        page
    }
}

/// Where a form leads back to: a page of this service, and nothing else.
pub(super) fn way_back(asked: &str) -> &str {
    let plain =
        asked.starts_with('/') && !asked.starts_with("//") && !asked.contains(['\\', '\r', '\n', '\t']);
    let printable = asked.bytes().all(|byte| (0x21..0x7f).contains(&byte));
    if plain && printable && asked.len() < 2_000 { asked } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_back_never_leads_elsewhere() {
        for page in ["/", "/station/qua?all=1", "/item/A%20b/why/x"] {
            assert_eq!(way_back(page), page);
        }
        for elsewhere in [
            "",
            "//evil.example",
            "https://evil.example",
            "/\\evil.example",
            "/a\r\nSet-Cookie: b",
            "javascript:1",
            "/é",
        ] {
            assert_eq!(way_back(elsewhere), "/", "{elsewhere}");
        }
    }
}
