//! What was filled in outlives a sign-in that ended meanwhile: it goes along, in the page alone, through the page that
//! asks who is there, and stands ready to be sent again under a fresh word. Nothing of it is kept here.

use askama::Template;
use axum::extract::{FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{Method, StatusCode, header};
use axum::response::Response;

use super::Web;
use super::fault::Fault;
use super::links::Links;
use super::posted::{Form, WORD, fields, own_page, way_back};
use super::shell::Shell;
use super::visit::{Visit, html};
use super::{again, sign_in, words};
use std::sync::Arc;

/// What stands before a field's name while it is carried along.
const CARRIED: &str = "unsent.";
/// Fields that say nothing of their own.
const SILENT: [&str; 4] = [WORD, "key", "then", "version"];
/// What holds secrets, or is no form of the records.
const NEVER: [&str; 6] = ["/account", "/again", "/sign-", "/welcome", "/api/", "/table/"];

/// A form that was not taken.
#[derive(Clone, Debug, Default)]
pub(super) struct Unsent {
    /// Its address.
    pub(super) to: String,
    /// Its fields, but for the word.
    pub(super) fields: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "unsent.html")]
struct Page {
    shell: Shell,
    says: &'static str,
    word: String,
    to: String,
    fields: Vec<(String, String)>,
    shown: Vec<(String, String)>,
}

impl Unsent {
    /// A form that was sent to an address, where it says anything.
    pub(super) fn of(to: &str, form: &Form) -> Option<Unsent> {
        if NEVER.iter().any(|start| to.starts_with(start)) || way_back(to) != to {
            return None;
        }
        let fields: Vec<(String, String)> = form
            .all()
            .filter(|(name, _)| *name != WORD)
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .collect();
        let says =
            |(name, value): &(String, String)| !SILENT.contains(&name.as_str()) && !value.trim().is_empty();
        fields.iter().any(says).then(|| Unsent { to: to.to_owned(), fields })
    }

    /// What a form of the way in carries along.
    pub(super) fn carried(form: &Form) -> Option<Unsent> {
        let own = form.all().filter_map(|(name, value)| Some((name.strip_prefix(CARRIED)?, value)));
        let fields: Vec<(String, String)> =
            own.map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
        let to = way_back(form.field("next"));
        let fits = !fields.is_empty() && to != "/" && !NEVER.iter().any(|start| to.starts_with(start));
        fits.then(|| Unsent { to: to.to_owned(), fields })
    }

    /// Hidden fields that carry it along.
    pub(super) fn hidden(&self) -> Vec<(String, String)> {
        self.fields.iter().map(|(name, value)| (format!("{CARRIED}{name}"), value.clone())).collect()
    }

    /// The page from which it is sent again, under a word of whoever is signed in now.
    ///
    /// # Errors
    /// The template's own.
    pub(super) fn page(
        self,
        web: &Web,
        (name, word): (&str, String),
        (status, says): (StatusCode, &'static str),
    ) -> Result<Response, Fault> {
        let shown = self
            .fields
            .iter()
            .filter(|(name, value)| !SILENT.contains(&name.as_str()) && !value.trim().is_empty());
        let shown = shown.map(|(name, value)| (label(name), value.clone()));
        let shown = std::iter::once(about(&self.to)).chain(shown).collect();
        let shell = Shell::bare(web, "Not sent yet", Links::default()).signed(Some(name));
        let mut answer = html(&Page { shell, says, word, to: self.to, fields: self.fields, shown })?;
        *answer.status_mut() = status;
        Ok(answer)
    }
}

/// What a form is about, by its address: `/fit/LC-2/07` is *Fit*, `LC-2/07`.
fn about(to: &str) -> (String, String) {
    let path = to.split(['?', '#']).next().unwrap_or_default().trim_start_matches('/');
    let (what, about) = path.split_once('/').unwrap_or((path, ""));
    (words::upper_first(what), about.replace("%2F", "/"))
}

/// A field's name as it can be read; readings are numbered, and have none.
fn label(name: &str) -> String {
    if name.chars().any(|c| c.is_ascii_digit()) {
        return "Typed".to_owned();
    }
    words::upper_first(&name.replace('_', " "))
}

/// For a stranger's form of a page: the way in, with the form carried along; none where it is no form of a page here.
pub(super) async fn way_in(
    web: &Arc<Web>,
    parts: &Parts,
    request: Request,
) -> Option<Result<Response, Fault>> {
    let address = parts.uri.path_and_query()?.as_str();
    if parts.method != Method::POST || own_page(&web.door, parts).is_err() {
        return None;
    }
    if NEVER.iter().any(|start| address.starts_with(start)) {
        return None;
    }
    let mut own = parts.clone();
    let visit = Visit::from_request_parts(&mut own, web).await.ok()?;
    let (form, file) = fields(request).await.ok()?;
    if file.is_some() {
        // It cannot be carried along, and without it the deed would be another.
        return None;
    }
    let unsent = Unsent::of(address, &form)?;
    let page = sign_in::carrying(&visit, &unsent).await;
    Some(page.map(|mut page| {
        *page.status_mut() = StatusCode::UNAUTHORIZED;
        let bearer = axum::http::HeaderValue::from_static("Bearer");
        page.headers_mut().insert(header::WWW_AUTHENTICATE, bearer);
        page
    }))
}

/// For a form that is signed: the page that asks again who signs, with the form carried along.
pub(super) fn before_signing(visit: &Visit, unsent: &Unsent) -> Result<Response, Fault> {
    again::carrying(visit, unsent)
}
