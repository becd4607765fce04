//! Logging a launch or a recovery where it happens: two presses, and one record however often the form arrives.

use axum::response::Response;
use policies::amount::Amount;
use policies::facts::Fleet;
use policies::zone::{Instant, Zone};

use super::Web;
use super::fault::Fault;
use super::posted::{Posted, see};
use super::visit::Visit;
use super::words;
use crate::desk::{Desk, DeskError};
use crate::logging::{self, Asked, Entry};
use crate::records::Usage;
use crate::rights::{self, Act, Place};
use axum::http::StatusCode;

/// Entries that the page shows.
const SHOWN: usize = 5;
/// Longest note.
const NOTE: usize = 200;

/// The form, and what was logged last.
pub(super) struct LogForm {
    pub(super) action: String,
    pub(super) word: String,
    /// Made with the page: under it the form is one record.
    pub(super) key: String,
    pub(super) entries: Vec<String>,
}

/// The form of a station, for who may log there.
///
/// # Errors
/// No randomness, or the store's own.
pub(super) async fn form(visit: &Visit, slug: &str, replays: bool) -> Result<Option<LogForm>, Fault> {
    let Some(seen) = visit.presence.seen().filter(|_| !replays) else { return Ok(None) };
    if rights::may(&seen.who, Act::LogUse, Place::Of(Some(slug))).is_err() {
        return Ok(None);
    }
    Ok(Some(LogForm {
        action: format!("/station/{}/log", super::links::encoded(slug, false)),
        word: visit.word()?.text,
        key: crate::accounts::random_word()?[..32].to_owned(),
        entries: last(&visit.web, slug).await?,
    }))
}

/// The last entries of a station, the newest first.
async fn last(web: &Web, slug: &str) -> Result<Vec<String>, Fault> {
    let here = |fleet: &Fleet| {
        let id = fleet.stations.iter().position(|station| &*station.slug == slug)?;
        let owned = fleet.items.iter().filter(|item| item.station.is_some_and(|own| own.0 as usize == id));
        let tags: Vec<String> = owned.map(|item| item.tag.to_string()).collect();
        Some((tags, fleet.zones[usize::from(fleet.stations[id].zone.0)].clone()))
    };
    let Some((tags, zone)) = web.desk.with_fleet(here).await? else { return Ok(Vec::new()) };
    let rows = web.desk.store.last_use(&tags, 12 * SHOWN as u64).await?;
    let mut entries: Vec<(String, Vec<Usage>)> = Vec::new();
    for row in rows {
        let own = format!(" {} {}", row.host, row.meter);
        let base = format!("{} {}", row.at, row.key.strip_suffix(&own).unwrap_or(&row.key));
        match entries.iter_mut().find(|(have, _)| *have == base) {
            Some((_, rows)) => rows.push(row),
            None => entries.push((base, vec![row])),
        }
    }
    Ok(entries.iter().take(SHOWN).map(|(_, rows)| says(&zone, rows)).collect())
}

/// `12 Oct 2026 07:00 BST: recovery (pulls 2 on W-0471, recoveries on LC-2/07)`.
fn says(zone: &Zone, rows: &[Usage]) -> String {
    let what = match rows {
        _ if rows.iter().any(|row| row.meter == "launches") => "launch",
        _ if rows.iter().any(|row| row.meter == "recoveries") => "recovery",
        _ => "entry",
    };
    let mut parts: Vec<String> = rows.iter().map(part).collect();
    parts.sort();
    let when = words::moment(zone, Instant(rows[0].at));
    let note = rows[0].note.as_ref().map(|note| format!(". {note}")).unwrap_or_default();
    format!("{when}: {what} ({}){note}", parts.join(", "))
}

fn part(row: &Usage) -> String {
    let amount = row.count.or(row.reading).map(Amount::from_millionths);
    match amount {
        Some(amount) if row.reading.is_some() || amount != Amount::whole(1) => {
            format!("{} {amount} on {}", row.meter, row.host)
        }
        _ => format!("{} on {}", row.meter, row.host),
    }
}

/// Takes the form.
///
/// # Errors
/// What cannot be counted here, the same key with other values, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (form, slug) = (&posted.form, posted.visit.name());
    let by = &posted.signed()?.who.person.key;
    let (launch, recovery) = (Entry::Launch, Entry::Recovery { pulls: pulls(form.field("pulls"))? });
    let (entry, other) = match form.field("what") {
        "launch" => (launch, recovery),
        "recovery" => (recovery, launch),
        what => {
            return Err(unfit(
                format!("\"{what}\" is neither launch nor recovery."),
                "Press one of the two.",
            ));
        }
    };
    let key = page_key(form.field("key"))?;
    let note = Some(form.field("note")).filter(|note| !note.is_empty());
    if note.is_some_and(|note| note.chars().count() > NOTE || note.chars().any(char::is_control)) {
        return Err(unfit(
            "The note is too long, or not one line.",
            &format!("Give at most {NOTE} characters."),
        ));
    }
    let asked = Asked { station: slug, at: None, hosts: &[], key: Some(&key), note };
    let desk = &posted.visit.web.desk;
    if sent_before(desk, &asked, &other).await?.is_some() {
        return Err(unfit(
            "This form was sent already, as the other of the two.",
            "Open the page again for the next.",
        ));
    }
    let mut tries = 0;
    loop {
        tries += 1;
        match log(desk, &asked, &entry, by).await {
            // Another copy of the form came in between: its moment stands.
            Err(DeskError::Refused(_))
                if tries == 1 && sent_before(desk, &asked, &entry).await?.is_some() => {}
            Err(error) => return Err(Fault::of_desk(error)),
            Ok(()) => {
                return Ok(see(&format!("/station/{}#log", super::links::encoded(slug, false))));
            }
        }
    }
}

fn unfit(wrong: impl Into<String>, right: &str) -> Fault {
    Fault::form(StatusCode::UNPROCESSABLE_ENTITY, wrong, format!("{right} Nothing was recorded."))
}

fn pulls(text: &str) -> Result<Amount, Fault> {
    let text = if text.is_empty() { "1" } else { text };
    text.parse().map_err(|_| unfit(format!("\"{text}\" is no number of pulls."), "Write it like 1."))
}

/// The key of the page as the record bears it.
fn page_key(text: &str) -> Result<String, Fault> {
    let plain = (16..=64).contains(&text.len())
        && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-');
    if plain {
        return Ok(format!("page {text}"));
    }
    Err(Fault::form(
        StatusCode::BAD_REQUEST,
        "The form lacks the key of its page.",
        "Send it from its page, or give a key of 16 to 64 letters and digits. Nothing was recorded.",
    ))
}

async fn rows(desk: &Desk, asked: &Asked<'_>, entry: &Entry) -> Result<Vec<Usage>, DeskError> {
    let now = desk.now();
    desk.with_fleet(|fleet| logging::rows(&desk.set, fleet, now, asked, entry)).await?
}

/// The moment under which the same page's entry was recorded.
async fn sent_before(desk: &Desk, asked: &Asked<'_>, entry: &Entry) -> Result<Option<i64>, Fault> {
    let rows = match rows(desk, asked, entry).await {
        Ok(rows) => rows,
        Err(DeskError::Refused(_)) => return Ok(None),
        Err(error) => return Err(error.into()),
    };
    match rows.first() {
        Some(row) => Ok(desk.store.current::<Usage>(&row.key).await?.map(|row| row.at)),
        None => Ok(None),
    }
}

async fn log(desk: &Desk, asked: &Asked<'_>, entry: &Entry, by: &str) -> Result<(), DeskError> {
    let mut rows = rows(desk, asked, entry).await?;
    if let Some(first) = rows.first()
        && let Some(stored) = desk.store.current::<Usage>(&first.key).await?
    {
        // The time is that of the first press, not of a later copy of it.
        rows.iter_mut().for_each(|row| row.at = stored.at);
    }
    desk.log_use_by(&rows, by).await.map(drop)
}
