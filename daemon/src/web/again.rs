//! Who signs proves once more who they are; then the way leads back to the draft.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use super::fault::Fault;
use super::links::Links;
use super::posted::{Posted, see, way_back};
use super::shell::Shell;
use super::visit::{Visit, html};
use crate::accounts::Come;

#[derive(Template)]
#[template(path = "again.html")]
struct Page {
    shell: Shell,
    word: String,
    next: String,
    wrong: String,
    factor: bool,
}

/// The form.
///
/// # Errors
/// A program, or no randomness.
pub(super) fn page(visit: &Visit) -> Result<Response, Fault> {
    made(visit, visit.query.next.as_deref().unwrap_or("/"), "")
}

fn made(visit: &Visit, next: &str, wrong: &str) -> Result<Response, Fault> {
    let (seen, word) = (visit.signed()?, visit.word()?);
    let shell = Shell::bare(&visit.web, "Who signs?", Links::default());
    html(&Page {
        shell: shell.signed(Some(&seen.who.person.name)),
        word: word.text,
        next: way_back(next).to_owned(),
        wrong: wrong.to_owned(),
        factor: seen.who.second_factor,
    })
}

/// Judges the proof.
///
/// # Errors
/// The store's own, or the hash's; what was wrong is said in the form.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (form, seen) = (&posted.form, posted.signed()?);
    if matches!(seen.by, Come::Token(_)) {
        return Err(Fault::for_people());
    }
    let next = way_back(form.field("next"));
    let accounts = &posted.visit.web.door.accounts;
    let judged = accounts.sign_in_again(seen, form.raw("password"), form.field("code"), &posted.from);
    match judged.await? {
        Ok(()) => Ok(see(next)),
        Err(refused) => {
            let mut page = made(&posted.visit, next, &refused.to_string())?;
            *page.status_mut() = StatusCode::FORBIDDEN;
            Ok(page)
        }
    }
}
