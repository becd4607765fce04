//! One's own account: password, second factor, where one is signed in, and tokens for programs.

pub(super) mod factor;

use askama::Template;
use axum::response::Response;
use policies::zone::Instant;

use super::fault::Fault;
use super::links::Links;
use super::posted::{Posted, see};
use super::shell::Shell;
use super::visit::{Visit, html};
use super::words;
use crate::accounts::{AccountError, LONGEST, SHORTEST, Seen};
use crate::rights::{self, Act, Place};
use factor::Offered;

/// A session as the page lists it.
struct Listed {
    digest: String,
    device: String,
    since: String,
    seen: String,
    here: bool,
}

/// A token as the page lists it.
struct Token {
    label: String,
    until: String,
}

#[derive(Template)]
#[template(path = "account.html")]
struct Page {
    shell: Shell,
    word: String,
    name: String,
    email: String,
    role: String,
    factor: bool,
    offered: Option<Offered>,
    listed: Vec<Listed>,
    makes_tokens: bool,
    tokens: Vec<Token>,
    /// A token just made, which is shown once.
    made: Option<String>,
    /// Calendars that other programs subscribe to.
    calendars: Vec<super::calendar::Listed>,
    /// The address of one just made, which is shown once.
    subscribed: Option<String>,
    shortest: usize,
    longest: usize,
    demo: bool,
    /// What was just done.
    said: String,
}

/// What is shown once, of what was just done.
#[derive(Default)]
struct Just {
    made: Option<String>,
    subscribed: Option<String>,
    said: String,
}

/// The page.
///
/// # Errors
/// A stranger, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    shown(visit, Just::default()).await
}

async fn shown(visit: &Visit, just: Just) -> Result<Response, Fault> {
    let (seen, word) = (visit.signed()?, visit.word()?);
    let (web, person) = (&visit.web, &seen.who.person);
    let accounts = &web.door.accounts;
    let account = accounts.account(&person.key).await?;
    let offered = account.as_ref().and_then(|account| account.secret_offered.as_deref());
    let tokens = accounts.tokens(&person.key).await?.into_iter();
    let of = match &person.station {
        Some(slug) => {
            format!(" of {}", super::station_name(web, slug).await.unwrap_or_else(|_| slug.clone()))
        }
        None => String::new(),
    };
    html(&Page {
        shell: Shell::bare(web, "Your account", Links::default()).signed(Some(&person.name)),
        word: word.text,
        name: person.name.clone(),
        email: person.key.clone(),
        role: format!("{}{of}", person.role),
        factor: account.as_ref().is_some_and(|account| account.secret.is_some()),
        offered: offered.map(|seed| Offered::of(seed, &person.key)),
        listed: listed(visit, seen).await?,
        makes_tokens: rights::may(&seen.who, Act::KeepTokens, Place::Own).is_ok(),
        tokens: tokens
            .map(|token| Token { label: token.label, until: until(visit, token.expires_at) })
            .collect(),
        made: just.made,
        calendars: super::calendar::listed(web, &person.key).await?,
        subscribed: just.subscribed,
        said: just.said,
        shortest: SHORTEST,
        longest: LONGEST,
        demo: web.door.is_demo(),
    })
}

fn moment(visit: &Visit, at: i64) -> String {
    words::moment(&visit.web.desk.set.service.home_zone, Instant(at))
}

fn until(visit: &Visit, at: Option<i64>) -> String {
    at.map_or_else(|| "until it is revoked".to_owned(), |at| format!("until {}", moment(visit, at)))
}

async fn listed(visit: &Visit, seen: &Seen) -> Result<Vec<Listed>, Fault> {
    let sessions = visit.web.door.accounts.sessions(&seen.who.person.key).await?;
    let listed = sessions.into_iter().map(|session| Listed {
        here: session.digest == seen.digest(),
        device: if session.device.is_empty() { "a program".to_owned() } else { session.device },
        since: moment(visit, session.made_at),
        seen: moment(visit, session.seen_at),
        digest: session.digest,
    });
    Ok(listed.collect())
}

/// Changes the password; whoever is signed in elsewhere no longer is.
///
/// # Errors
/// A wrong old one, or a new one that is not taken.
pub(super) async fn password(posted: Posted) -> Result<Response, Fault> {
    let (form, seen) = (&posted.form, posted.signed()?);
    if form.raw("password") != form.raw("repeated") {
        return Err(
            AccountError::Refused("The two new passwords differ; type the same twice.".to_owned()).into()
        );
    }
    let accounts = &posted.visit.web.door.accounts;
    let keeps = form.field("keeps") == "yes";
    match accounts.change_password(seen, (form.raw("old"), form.raw("password")), keeps).await? {
        0 => Ok(see("/account")),
        ended => {
            let what = if ended == 1 { "1 token or calendar ended" } else { "tokens and calendars ended" };
            let count = if ended == 1 { String::new() } else { format!("{ended} ") };
            let said = format!(
                "The password is changed, and {count}{what} with it. Make anew what is still needed; programs and \
                 calendars that used them wait for that."
            );
            shown(&posted.visit, Just { said, ..Just::default() }).await
        }
    }
}

/// Ends one other session, or all of them.
///
/// # Errors
/// The store's own.
pub(super) async fn sessions(posted: Posted) -> Result<Response, Fault> {
    let (seen, accounts) = (posted.signed()?, &posted.visit.web.door.accounts);
    match posted.form.field("session") {
        "" => accounts.end_others(seen).await.map(drop)?,
        one => accounts.end(&seen.who.person.key, one).await.map(drop)?,
    }
    Ok(see("/account"))
}

/// Makes a token for programs; the page shows it once.
///
/// # Errors
/// Too long since who asks proved who they are, or a label that cannot be.
pub(super) async fn token(posted: Posted) -> Result<Response, Fault> {
    let seen = posted.fresh("/account")?;
    let days = match posted.form.field("days") {
        "" => None,
        text => Some(text.parse().map_err(|_| {
            AccountError::Refused(format!("\"{text}\" is no number of days; write it like 90."))
        })?),
    };
    let accounts = &posted.visit.web.door.accounts;
    let made = accounts.make_token(&seen.who.person.key, posted.form.field("label"), days).await?;
    shown(&posted.visit, Just { made: Some(made), ..Just::default() }).await
}

/// Revokes a token.
///
/// # Errors
/// The store's own.
pub(super) async fn revoke(posted: Posted) -> Result<Response, Fault> {
    let (seen, accounts) = (posted.signed()?, &posted.visit.web.door.accounts);
    accounts.revoke_token(&seen.who.person.key, posted.form.field("label")).await?;
    Ok(see("/account"))
}

/// Makes a calendar to subscribe to; the page shows its address once.
///
/// # Errors
/// A station that is none, or what they may not read.
pub(super) async fn calendar(posted: Posted) -> Result<Response, Fault> {
    let (seen, accounts) = (posted.signed()?, &posted.visit.web.door.accounts);
    let station = Some(posted.form.field("station")).filter(|slug| !slug.is_empty());
    let token = accounts.make_calendar(&seen.who.person.key, station).await?;
    let pages = posted.visit.web.door.origin.clone().unwrap_or_default();
    let subscribed = Some(format!("{pages}/calendar/{token}.ics"));
    shown(&posted.visit, Just { subscribed, ..Just::default() }).await
}

/// Revokes a calendar.
///
/// # Errors
/// The store's own.
pub(super) async fn revoke_calendar(posted: Posted) -> Result<Response, Fault> {
    let (seen, accounts) = (posted.signed()?, &posted.visit.web.door.accounts);
    accounts.revoke_calendar(&seen.who.person.key, posted.form.field("calendar")).await?;
    Ok(see("/account"))
}
