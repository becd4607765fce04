//! Coming in and going out.

use std::sync::Arc;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::Web;
use super::cookie::{self, Jar};
use super::fault::Fault;
use super::links::Links;
use super::posted::{Posted, see, way_back};
use super::shell::Shell;
use super::unsent::Unsent;
use super::visit::{Visit, html};
use crate::accounts::browsers::KNOWN_DAYS;
use crate::accounts::{Entry, Opened, Refused, SECOND};
use crate::records::Person;
use crate::rights::{self, Act, Place};

#[derive(Template)]
#[template(path = "sign-in.html")]
struct Page {
    shell: Shell,
    word: String,
    next: String,
    email: String,
    wrong: String,
    /// In the demo, whoever may be played: address, and who it is.
    players: Vec<(String, String)>,
    idle_minutes: i64,
    absolute_hours: i64,
    /// A form that is carried along.
    unsent: Vec<(String, String)>,
}

/// The form.
///
/// # Errors
/// No randomness, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    made(visit, visit.query.next.as_deref().unwrap_or("/"), ("", ""), None).await
}

/// The form, with one that a stranger filled in carried along.
///
/// # Errors
/// No randomness, or the store's own.
pub(super) async fn carrying(visit: &Visit, unsent: &Unsent) -> Result<Response, Fault> {
    let says = "Your sign-in had ended, so nothing was recorded. Sign in; what you filled in is kept in this page, and \
                you can then send it.";
    made(visit, &unsent.to, ("", says), Some(unsent)).await
}

async fn made(
    visit: &Visit,
    next: &str,
    (email, wrong): (&str, &str),
    unsent: Option<&Unsent>,
) -> Result<Response, Fault> {
    let (word, web) = (visit.word()?, &visit.web);
    let limits = web.door.accounts.limits();
    let name = visit.presence.seen().map(|seen| seen.who.person.name.as_str());
    let page = Page {
        shell: Shell::bare(web, "Sign in", Links::default()).signed(name),
        word: word.text.clone(),
        next: way_back(next).to_owned(),
        email: email.to_owned(),
        wrong: wrong.to_owned(),
        players: players(web).await?,
        idle_minutes: limits.idle_micros / (60 * SECOND),
        absolute_hours: limits.absolute_micros / (60 * 60 * SECOND),
        unsent: unsent.map(Unsent::hidden).unwrap_or_default(),
    };
    Ok(word.borne(&web.door, html(&page)?))
}

/// One person of each role, and of mechanics one a station.
async fn players(web: &Web) -> Result<Vec<(String, String)>, Fault> {
    if !web.door.is_demo() {
        return Ok(Vec::new());
    }
    let mut people: Vec<Person> = web.desk.store.newest::<Person>().await?.into_values().collect();
    people.retain(|person| !person.void);
    people.sort_by(|a, b| (&a.station, &a.role, &a.key).cmp(&(&b.station, &b.role, &b.key)));
    Ok(people.into_iter().map(|person| (person.key, person.name)).collect())
}

/// Signs somebody in.
///
/// # Errors
/// The store's own, or the hash's; what was wrong is said in the form.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (form, door) = (&posted.form, &posted.visit.web.door);
    let email = form.field("email");
    let entry = Entry { email, password: form.raw("password"), code: form.field("code"), from: &posted.from };
    let next = way_back(form.field("next"));
    let known = &posted.visit.known;
    let refused = match door.accounts.sign_in_known(&entry, &posted.device, known).await? {
        Ok(opened) => {
            let mut answer = came_in(&posted, &opened, next).await?;
            let known = door.accounts.know_browser(&opened.who.person.key, known).await?;
            cookie::give(&mut answer, door, Jar::Known, Some((&known, KNOWN_DAYS * 24 * 60 * 60)));
            return Ok(answer);
        }
        Err(refused) => refused,
    };
    let said = (email, &*refused.to_string());
    let mut page = made(&posted.visit, next, said, Unsent::carried(form).as_ref()).await?;
    *page.status_mut() = match refused {
        Refused::Wrong => StatusCode::UNAUTHORIZED,
        Refused::Wait(_) => StatusCode::TOO_MANY_REQUESTS,
    };
    if let Refused::Wait(seconds) = refused {
        page.headers_mut().insert(axum::http::header::RETRY_AFTER, seconds.into());
    }
    Ok(page)
}

/// Plays somebody of the demo.
///
/// # Errors
/// This is no demo, or nobody has the address.
pub(super) async fn take_demo(posted: Posted) -> Result<Response, Fault> {
    let door = &posted.visit.web.door;
    let opened = door.accounts.open_for(posted.form.field("email"), &posted.device).await?;
    came_in(&posted, &opened, way_back(posted.form.field("next"))).await
}

/// With a new token, whatever the browser brought; a session that it brought ends.
async fn came_in(posted: &Posted, opened: &Opened, next: &str) -> Result<Response, Fault> {
    let door = &posted.visit.web.door;
    if let Some(seen) = posted.visit.presence.seen() {
        door.accounts.end(&seen.who.person.key, seen.digest()).await?;
    }
    let region = rights::may(&opened.who, Act::ViewRegion, Place::Own).is_ok();
    let next = if next == "/" && !region { "/account" } else { next };
    let mut answer = match Unsent::carried(&posted.form) {
        Some(unsent) => {
            let who = (opened.who.person.name.as_str(), opened.word.clone());
            unsent.page(
                &posted.visit.web,
                who,
                (StatusCode::OK, "You are signed in. Look through it, and send it."),
            )?
        }
        None => see(next),
    };
    let lasts = door.accounts.limits().absolute_micros / SECOND;
    cookie::give(&mut answer, door, Jar::Session, Some((&opened.token, lasts)));
    cookie::give(&mut answer, door, Jar::Form, None);
    Ok(answer)
}

/// Ends the session at hand.
///
/// # Errors
/// The store's own.
pub(super) async fn leave(posted: Posted) -> Result<Response, Fault> {
    let door = &posted.visit.web.door;
    if let Some(seen) = posted.visit.presence.seen().map(Arc::as_ref) {
        door.accounts.end(&seen.who.person.key, seen.digest()).await?;
    }
    let mut answer = see("/sign-in").into_response();
    cookie::give(&mut answer, door, Jar::Session, None);
    Ok(answer)
}
