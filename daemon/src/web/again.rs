//! Who signs proves once more who they are; then the way leads back to the draft.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use super::fault::Fault;
use super::links::Links;
use super::posted::{Posted, see, way_back};
use super::shell::Shell;
use super::unsent::Unsent;
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
    /// A form that is carried along.
    unsent: Vec<(String, String)>,
}

/// The form.
///
/// # Errors
/// A program, or no randomness.
pub(super) fn page(visit: &Visit) -> Result<Response, Fault> {
    made(visit, visit.query.next.as_deref().unwrap_or("/"), "", None)
}

/// The form, with what is to be signed carried along.
///
/// # Errors
/// A program, or no randomness.
pub(super) fn carrying(visit: &Visit, unsent: &Unsent) -> Result<Response, Fault> {
    let mut page = made(visit, &unsent.to, "", Some(unsent))?;
    *page.status_mut() = StatusCode::FORBIDDEN;
    Ok(page)
}

fn made(visit: &Visit, next: &str, wrong: &str, unsent: Option<&Unsent>) -> Result<Response, Fault> {
    let (seen, word) = (visit.signed()?, visit.word()?);
    let shell = Shell::bare(&visit.web, "Who signs?", Links::default());
    html(&Page {
        shell: shell.signed(Some(&seen.who.person.name)),
        word: word.text,
        next: way_back(next).to_owned(),
        wrong: wrong.to_owned(),
        factor: seen.who.second_factor,
        unsent: unsent.map(Unsent::hidden).unwrap_or_default(),
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
    let unsent = Unsent::carried(form);
    match (judged.await?, unsent) {
        (Ok(()), None) => Ok(see(next)),
        (Ok(()), Some(unsent)) => {
            let who = (seen.who.person.name.as_str(), posted.visit.word()?.text);
            unsent.page(
                &posted.visit.web,
                who,
                (StatusCode::OK, "It is you. Look through it once more, and send it."),
            )
        }
        (Err(refused), unsent) => {
            let mut page = made(&posted.visit, next, &refused.to_string(), unsent.as_ref())?;
            *page.status_mut() = StatusCode::FORBIDDEN;
            Ok(page)
        }
    }
}
