//! What a phone kept while it had no signal: launches, recoveries, readings and work, with its own times. Each entry is
//! answered by itself, sent or refused, and is one record however often it comes.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::body::to_bytes;
use axum::extract::{FromRequestParts, Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use policies::amount::Amount;
use policies::entry::Entry as Use;
use serde::{Deserialize, Serialize};

use super::Web;
use super::entry::{Doing, asks_who};
use super::fault::{self, Fault};
use super::posted::own_page;
use super::visit::Visit;
use crate::accounts::{Come, Seen, same_word};
use crate::desk::DeskError;
use crate::records::Work;
use crate::rights::{self, Act, Place};
use crate::web::log::{NOTE, NotLogged, Once, log_once};

/// The header that brings the page's word back.
const WORD: &str = "x-token";
/// Entries of one sending at most: a phone sends the rest next.
const MOST: usize = 200;
/// The largest sending.
const LARGEST: usize = 256 * 1024;
/// A clock further off than this is noted, and the time is taken by the service's own.
const OFF: i64 = 10 * 60;

/// One entry, as the phone kept it.
#[derive(Clone, Debug, Deserialize)]
struct Kept {
    /// Made on the phone: under it the entry is one record.
    key: String,
    /// `launch`, `recovery`, `reading` or `work`.
    what: String,
    /// When, by the phone's clock.
    at: String,
    /// Seconds by which the phone's clock was ahead when it last heard the service's.
    #[serde(default)]
    off_s: i64,
    /// Who made it, by address.
    #[serde(default)]
    who: String,
    /// The fields of the form.
    #[serde(default)]
    fields: BTreeMap<String, String>,
}

/// What became of an entry.
#[derive(Debug, Serialize)]
struct Became {
    key: String,
    /// `sent` or `refused`.
    answer: &'static str,
    /// Why it was refused.
    because: String,
}

/// What a page needs to send: its word, and who is signed in.
#[derive(Serialize)]
struct Word<'w> {
    token: String,
    who: &'w str,
}

/// The word, fresh: a page kept on the phone may bear that of an earlier sign-in.
///
/// # Errors
/// A stranger.
pub(super) fn word(visit: &Visit) -> Result<Response, Fault> {
    let who = &visit.signed()?.who.person.key;
    json(&Word { token: visit.word()?.text, who })
}

/// An answer as JSON.
///
/// # Errors
/// Never for what is sent here; serde's own.
pub(super) fn json(said: &impl Serialize) -> Result<Response, Fault> {
    let text = serde_json::to_string(said).map_err(|error| unread(&error))?;
    Ok(([(header::CONTENT_TYPE, "application/json")], text).into_response())
}

/// Takes entries in.
pub(super) async fn take(State(web): State<Arc<Web>>, request: Request) -> Response {
    let (mut parts, body) = request.into_parts();
    let visit = match Visit::from_request_parts(&mut parts, &web).await {
        Ok(visit) => visit,
        Err(answer) => return answer,
    };
    let read = async {
        let seen = Arc::clone(visit.signed()?);
        if let Come::Session(session) = &seen.by {
            own_page(&web.door, &parts)?;
            if !bears(&parts.headers, &session.csrf) {
                return Err(Fault::stale_form());
            }
        }
        let bytes = to_bytes(body, LARGEST).await.map_err(|_| too_much())?;
        let entries: Vec<Kept> = serde_json::from_slice(&bytes).map_err(|error| unread(&error))?;
        if entries.len() > MOST {
            return Err(too_much());
        }
        let mut answers = Vec::new();
        for entry in &entries {
            answers.push(answer(&visit, &seen, entry).await?);
        }
        json(&answers)
    };
    read.await.unwrap_or_else(|fault| fault::answer(&web, &fault))
}

fn bears(headers: &HeaderMap, word: &str) -> bool {
    headers.get(WORD).and_then(|value| value.to_str().ok()).is_some_and(|given| same_word(given, word))
}

fn too_much() -> Fault {
    Fault::form(
        StatusCode::PAYLOAD_TOO_LARGE,
        "Too much was sent at once.",
        "Send at most 200 entries, and the rest after them. Nothing was recorded.",
    )
}

fn unread(error: &serde_json::Error) -> Fault {
    Fault::form(
        StatusCode::BAD_REQUEST,
        format!("The entries cannot be read: {error}."),
        "Send a JSON array; each entry has key, what and at. Nothing was recorded.",
    )
}

async fn answer(visit: &Visit, seen: &Seen, entry: &Kept) -> Result<Became, Fault> {
    let taken = match fit(seen, entry) {
        Ok(at) => record(visit, seen, entry, at).await,
        Err(refused) => Err(refused),
    };
    match taken {
        Ok(()) => Ok(Became { key: entry.key.clone(), answer: "sent", because: String::new() }),
        Err(DeskError::Refused(because) | DeskError::WantsSecond(because)) => {
            Ok(Became { key: entry.key.clone(), answer: "refused", because })
        }
        Err(DeskError::BadRows { told, .. }) => {
            let because = told.iter().map(|fault| fault.message.clone()).collect::<Vec<_>>().join("; ");
            Ok(Became { key: entry.key.clone(), answer: "refused", because })
        }
        // What is no fault of the entry leaves it on the phone.
        Err(error) => Err(error.into()),
    }
}

fn refused<T>(text: impl Into<String>) -> Result<T, DeskError> {
    Err(DeskError::Refused(text.into()))
}

/// The moment of an entry, once everything that can be told of it alone is right.
fn fit(seen: &Seen, entry: &Kept) -> Result<Moment, DeskError> {
    let plain = (16..=64).contains(&entry.key.len())
        && entry.key.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-');
    if !plain {
        return refused("its key is none of this page's: 16 to 64 letters and digits");
    }
    let me = &seen.who.person.key;
    if !entry.who.is_empty() && entry.who != *me {
        return refused(format!(
            "{} made it, and {me} is signed in; {} signs in to send it",
            entry.who, entry.who
        ));
    }
    let Ok(said) = entry.at.parse::<jiff::Timestamp>() else {
        return refused(format!("\"{}\" is no moment with its offset", entry.at));
    };
    if entry.off_s.abs() <= OFF {
        return Ok(Moment { at: said, note: None });
    }
    let by = jiff::SignedDuration::from_secs(entry.off_s);
    let Ok(at) = said.checked_sub(by) else { return refused("its clock is too far off to tell the time") };
    let (off, way) = (entry.off_s.unsigned_abs() / 60, if entry.off_s > 0 { "fast" } else { "slow" });
    let note = format!("the phone's clock was {off} min {way} and said {said:.0}");
    Ok(Moment { at, note: Some(note) })
}

struct Moment {
    at: jiff::Timestamp,
    /// What is noted of the phone's clock.
    note: Option<String>,
}

impl Moment {
    fn noted(&self, entry: &Kept) -> Option<String> {
        let own = entry.fields.get("note").map(|note| note.trim().to_owned()).filter(|note| !note.is_empty());
        let parts: Vec<String> = own.into_iter().chain(self.note.clone()).collect();
        (!parts.is_empty()).then(|| parts.join("; "))
    }
}

async fn record(visit: &Visit, seen: &Seen, entry: &Kept, moment: Moment) -> Result<(), DeskError> {
    let field = |name: &str| entry.fields.get(name).map(|text| text.trim()).unwrap_or_default();
    if field("note").chars().count() > NOTE || field("note").chars().any(char::is_control) {
        return refused(format!("its note is longer than {NOTE} letters, or not one line"));
    }
    let number = |name: &str, text: &str| {
        let read = text.replace(',', ".").parse::<Amount>();
        read.map_err(|_| DeskError::Refused(format!("{name} \"{text}\" is no number")))
    };
    let used = match entry.what.as_str() {
        "launch" => Use::Launch,
        "recovery" => {
            let pulls = Some(field("pulls")).filter(|text| !text.is_empty()).unwrap_or("1");
            Use::Recovery { pulls: number("pulls", pulls)? }
        }
        "reading" => {
            Use::Reading { meter: field("meter").to_owned(), reading: number("reading", field("reading"))? }
        }
        "work" => return work(visit, seen, entry, &moment).await,
        other => return refused(format!("\"{other}\" is none of launch, recovery, reading and work")),
    };
    let note = moment.noted(entry);
    let hosts: Vec<String> =
        Some(field("host").to_owned()).filter(|host| !host.is_empty()).into_iter().collect();
    let once = Once {
        station: visit.name(),
        key: &format!("page {}", entry.key),
        at: Some(moment.at.to_string()),
        hosts: &hosts,
        note: note.as_deref(),
    };
    match log_once(&visit.web.desk, &once, &used, &seen.who.person.key).await {
        Ok(()) => Ok(()),
        Err(NotLogged::Desk(error)) => Err(error),
        Err(unfit) => refused(unfit.to_string()),
    }
}

async fn work(visit: &Visit, seen: &Seen, entry: &Kept, moment: &Moment) -> Result<(), DeskError> {
    let (web, desk) = (&visit.web, &visit.web.desk);
    let field = |name: &str| entry.fields.get(name).map(|text| text.trim().to_owned()).unwrap_or_default();
    let (item, rule) = (field("item"), field("rule"));
    let Some(rule) = desk.set.find_rule(&rule).map(|id| desk.set.rule(id)) else {
        return refused(format!("\"{rule}\" is no rule of the policy set"));
    };
    let station = desk
        .with_fleet(|fleet| {
            let id = fleet.find(&item)?;
            Some(fleet.station_of(fleet.item(id)).map(|station| station.slug.to_string()))
        })
        .await?;
    let Some(station) = station else { return refused(format!("no item is tagged \"{item}\"")) };
    let act = if field("outcome") == "failed" { Act::RecordFailedWork } else { Act::RecordWork };
    if let Err(refusal) = rights::may(&seen.who, act, Place::Of(station.as_deref())) {
        return refused(refusal.to_string());
    }
    let key = format!("page {}", entry.key);
    let mut doing = Doing::of(rule, &item, field);
    doing.key.clone_from(&key);
    // A time that was filled in is the station's own; else it is the phone's.
    if doing.at.is_empty() {
        doing.at = moment.at.to_string();
    }
    if !asks_who(rule, &seen.who.person.role) {
        doing.by.clone_from(&seen.who.person.key);
    }
    doing.note = moment.noted(entry).unwrap_or_default();
    if let Some(stored) = desk.store.current::<Work>(&key).await? {
        let same = (&stored.item, &stored.rule) == (&doing.item, &doing.rule);
        return if same { Ok(()) } else { refused("its key is another record's") };
    }
    let looked = doing.look_now(web).await?;
    match looked.work {
        Some(work) => desk.record_work_by(work, &seen.who.person).await.map(drop),
        None => {
            refused(looked.faults.iter().map(|fault| fault.message.clone()).collect::<Vec<_>>().join("; "))
        }
    }
}
