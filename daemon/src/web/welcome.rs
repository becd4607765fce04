//! The first time: a code that somebody was given, and a password of their own.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use super::fault::Fault;
use super::links::Links;
use super::posted::{Posted, see};
use super::shell::Shell;
use super::visit::{Visit, html};
use crate::accounts::{AccountError, LONGEST, SHORTEST};

#[derive(Template)]
#[template(path = "welcome.html")]
struct Page {
    shell: Shell,
    word: String,
    code: String,
    wrong: String,
    shortest: usize,
    longest: usize,
}

/// The form. Reading it uses nothing up: programs that look at every link of a mail read it too.
///
/// # Errors
/// No randomness.
pub(super) fn page(visit: &Visit) -> Result<Response, Fault> {
    made(visit, visit.query.code.as_deref().unwrap_or_default(), "")
}

fn made(visit: &Visit, code: &str, wrong: &str) -> Result<Response, Fault> {
    let word = visit.word()?;
    let page = Page {
        shell: Shell::bare(&visit.web, "Welcome", Links::default()).signed(None),
        word: word.text.clone(),
        code: code.to_owned(),
        wrong: wrong.to_owned(),
        shortest: SHORTEST,
        longest: LONGEST,
    };
    Ok(word.borne(&visit.web.door, html(&page)?))
}

/// Sets the password.
///
/// # Errors
/// The store's own; what was wrong is said in the form.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (form, code) = (&posted.form, posted.form.field("code"));
    let said = if form.raw("password") == form.raw("repeated") {
        posted.visit.web.door.accounts.welcome(code, form.raw("password")).await
    } else {
        Err(AccountError::Refused("The two passwords differ; type the same twice.".to_owned()))
    };
    match said {
        Ok(_) => Ok(see("/sign-in")),
        Err(AccountError::Refused(wrong)) => {
            let mut page = made(&posted.visit, code, &wrong)?;
            *page.status_mut() = StatusCode::UNPROCESSABLE_ENTITY;
            Ok(page)
        }
        Err(other) => Err(other.into()),
    }
}
