//! Logging a launch or a recovery where it happens: two presses, and one record however often the form arrives.

use axum::response::Response;
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::entry::{Entry, EntryFault, IMMERSIONS};
use policies::facts::{Fleet, Item};
use policies::zone::{Instant, Zone};

use super::Web;
use super::entry::unlogged;
use super::fault::Fault;
use super::posted::{Posted, see};
use super::visit::Visit;
use super::words;
use crate::desk::{Desk, DeskError};
use crate::logging::{self, Asked, LogFault};
use crate::records::Usage;
use crate::rights::{self, Act, Place};
use crate::store::StoreError;
use axum::http::StatusCode;

/// Entries that the page shows.
const SHOWN: usize = 5;
/// Longest note.
pub(super) const NOTE: usize = 200;
/// So long after its moment an entry can be undone by a press.
pub(super) const RECENT: i64 = 24 * 60 * 60 * 1_000_000;

/// The form, and what was logged last.
pub(super) struct LogForm {
    pub(super) action: String,
    pub(super) word: String,
    /// Made with the page: under it the form is one record.
    pub(super) key: String,
    pub(super) entries: Vec<Logged>,
    pub(super) station: String,
    /// Where it is told what was hard about it.
    pub(super) hard: String,
    /// Where an entry is undone.
    pub(super) undo: String,
    /// Dials that can be read: host and meter.
    pub(super) dials: Vec<(String, String)>,
    /// Who logs.
    pub(super) who: String,
}

/// An entry as the page lists it.
pub(super) struct Logged {
    pub(super) says: String,
    /// Keys of its rows, while it can be undone.
    pub(super) rows: Vec<String>,
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
    let day = format!("/station/{}", super::links::encoded(slug, false));
    Ok(Some(LogForm {
        action: format!("{day}/log"),
        hard: format!("{day}/hold"),
        undo: format!("{day}/log/undo"),
        station: slug.to_owned(),
        dials: dials(&visit.web, slug).await?,
        who: seen.who.person.key.clone(),
        word: visit.word()?.text,
        key: crate::accounts::random_word()?[..32].to_owned(),
        entries: last(&visit.web, slug).await?,
    }))
}

/// Gear of a station with a dial, and what it counts.
async fn dials(web: &Web, slug: &str) -> Result<Vec<(String, String)>, Fault> {
    let set = &web.desk.set;
    let now = web.desk.as_of();
    let found = |fleet: &Fleet| {
        let evaluator = Evaluator::without_forecasts(set, fleet, now);
        let here = fleet.items.iter().filter(|item| {
            let own = fleet.station_of(item).is_some_and(|station| *station.slug == *slug);
            own && !evaluator.is_withdrawn(item)
        });
        let of = |item: &Item| -> Vec<(String, String)> {
            let meters = set.kinds.kind(item.kind).meters.iter().filter(|meter| meter.dial);
            meters.map(|meter| (item.tag.to_string(), set.kinds.meter_name(meter.id).to_owned())).collect()
        };
        here.flat_map(of).collect()
    };
    Ok(web.desk.with_fleet(found).await?)
}

/// The last entries of a station, the newest first.
async fn last(web: &Web, slug: &str) -> Result<Vec<Logged>, Fault> {
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
        // What came in rows with keys of their own is one entry by its moment and its note.
        let stem = row.key.strip_suffix(&own).or(row.note.as_deref()).unwrap_or_default();
        let base = format!("{} {stem}", row.at);
        match entries.iter_mut().find(|(have, _)| *have == base) {
            Some((_, rows)) => rows.push(row),
            None => entries.push((base, vec![row])),
        }
    }
    let since = web.desk.now().0 - RECENT;
    let logged = |rows: &Vec<Usage>| Logged {
        says: says(&zone, rows),
        rows: rows.iter().filter(|row| row.at >= since).map(|row| row.key.clone()).collect(),
    };
    Ok(entries.iter().take(SHOWN).map(|(_, rows)| logged(rows)).collect())
}

/// `12 Oct 2026 07:00 BST: recovery (pulls 2 on W-0471, recoveries on LC-2/07)`.
fn says(zone: &Zone, rows: &[Usage]) -> String {
    let has = |meter: &str| rows.iter().any(|row| row.meter == meter);
    let what = match (has("launches"), has("recoveries")) {
        (true, true) => "launch and recovery",
        (true, false) => "launch",
        (false, true) => "recovery",
        (false, false) => "entry",
    };
    // That it went into the water goes without saying.
    let told = rows.iter().filter(|row| row.meter != IMMERSIONS || what == "entry");
    let mut parts: Vec<String> = told.map(part).collect();
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

/// Why the form is not taken.
enum Unlogged {
    /// What was typed in a field cannot be so, and what would be right.
    Typed(&'static str, String),
    /// Anything else.
    Fault(Fault),
}

impl From<Fault> for Unlogged {
    fn from(fault: Fault) -> Unlogged {
        Unlogged::Fault(fault)
    }
}

/// Takes the form; what was typed and cannot be so is shown once more, to be put right.
///
/// # Errors
/// Somebody who may not, a form that is none of this page's, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    match taken(&posted).await {
        Ok(to) => Ok(see(&to)),
        Err(Unlogged::Typed(field, wrong)) => unlogged::page(&posted, field, &wrong).await,
        Err(Unlogged::Fault(fault)) => Err(fault),
    }
}

async fn taken(posted: &Posted) -> Result<String, Unlogged> {
    let (form, slug) = (&posted.form, posted.visit.name());
    let by = &posted.signed()?.who.person.key;
    let (launch, recovery) = (Entry::Launch, Entry::Recovery { pulls: pulls(form.field("pulls"))? });
    let mut hosts = Vec::new();
    let (entry, other) = match form.field("what") {
        "launch" => (launch, Some(recovery)),
        "recovery" => (recovery, Some(launch)),
        "reading" => {
            hosts.push(form.field("host").to_owned());
            let reading = reading(form.field("reading"))?;
            (Entry::Reading { meter: form.field("meter").to_owned(), reading }, None)
        }
        what => {
            let wrong = format!("\"{what}\" is neither launch nor recovery.");
            return Err(unfit(wrong, "Press one of the two.").into());
        }
    };
    let key = page_key(form.field("key"))?;
    let note = Some(form.field("note")).filter(|note| !note.is_empty());
    if note.is_some_and(|note| note.chars().count() > NOTE || note.chars().any(char::is_control)) {
        let wrong = format!("the note is too long, or not one line; give at most {NOTE} characters");
        return Err(Unlogged::Typed("note", wrong));
    }
    let at = Some(form.field("at").to_owned()).filter(|at| !at.is_empty());
    let once = Once { station: slug, key: &key, at, hosts: &hosts, note };
    let desk = &posted.visit.web.desk;
    if let Some(other) = &other
        && sent_before(desk, &once.asked(), other).await?
    {
        let wrong = "This form was sent already, as the other of the two.";
        return Err(unfit(wrong, "Open the page again for the next.").into());
    }
    log_once(desk, &once, &entry, by).await?;
    Ok(format!("/station/{}#log", super::links::encoded(slug, false)))
}

impl From<NotLogged> for Unlogged {
    fn from(not: NotLogged) -> Unlogged {
        let form = |wrong: String, right| Fault::form(StatusCode::UNPROCESSABLE_ENTITY, wrong, right).into();
        match not {
            NotLogged::Unfit(fault) => match field_of(&fault) {
                Some(field) => Unlogged::Typed(field, fault.to_string()),
                None => form(words::upper_first(&fault.to_string()) + ".", OTHERWISE),
            },
            known @ NotLogged::Known => form(words::upper_first(&known.to_string()) + ".", UNDO_FIRST),
            NotLogged::Desk(error) => Fault::of_desk(error).into(),
        }
    }
}

/// What the page has no field for.
const OTHERWISE: &str = "An engineer logs it with the gear named that bore it, or sets aside what is not in use here. \
                         Nothing was recorded.";
const UNDO_FIRST: &str = "Undo that entry on the day, then log it again. Nothing was changed.";

/// The field that can put it right, where there is one.
fn field_of(fault: &LogFault) -> Option<&'static str> {
    match fault {
        LogFault::NoTime(_) | LogFault::Ahead(_) | LogFault::Entry(EntryFault::NotInService { .. }) => {
            Some("at")
        }
        LogFault::Entry(EntryFault::Pulls(_)) => Some("pulls"),
        LogFault::Entry(EntryFault::Reading(_) | EntryFault::OffTheDial { .. }) => Some("reading"),
        _ => None,
    }
}

fn unfit(wrong: impl Into<String>, right: &str) -> Fault {
    Fault::form(StatusCode::UNPROCESSABLE_ENTITY, wrong, format!("{right} Nothing was recorded."))
}

fn pulls(text: &str) -> Result<Amount, Unlogged> {
    let text = if text.is_empty() { "1" } else { text };
    let wrong = |_| Unlogged::Typed("pulls", format!("\"{text}\" is no number of pulls; write it like 1"));
    text.parse().map_err(wrong)
}

fn reading(text: &str) -> Result<Amount, Unlogged> {
    let wrong = format!("\"{text}\" is no reading of a dial; write what it shows, like 1204.5");
    text.replace(',', ".").parse().map_err(|_| Unlogged::Typed("reading", wrong))
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

/// Why an entry is not logged.
#[derive(Debug, thiserror::Error)]
pub(super) enum NotLogged {
    /// It cannot be so.
    #[error(transparent)]
    Unfit(#[from] LogFault),
    /// An entry must not be logged twice under one key.
    #[error("this form was logged already, with other values")]
    Known,
    /// The desk's own.
    #[error(transparent)]
    Desk(#[from] DeskError),
}

impl From<StoreError> for NotLogged {
    fn from(error: StoreError) -> NotLogged {
        NotLogged::Desk(error.into())
    }
}

async fn rows(desk: &Desk, asked: &Asked<'_>, entry: &Entry) -> Result<Vec<Usage>, NotLogged> {
    let now = desk.now();
    Ok(desk.with_fleet(|fleet| logging::rows(&desk.set, fleet, now, asked, entry)).await??)
}

/// Whether the same page's entry was recorded.
async fn sent_before(desk: &Desk, asked: &Asked<'_>, entry: &Entry) -> Result<bool, Fault> {
    let rows = match rows(desk, asked, entry).await {
        Ok(rows) => rows,
        Err(NotLogged::Desk(error)) => return Err(error.into()),
        Err(_) => return Ok(false),
    };
    match rows.first() {
        Some(row) => Ok(desk.store.current::<Usage>(&row.key).await?.is_some()),
        None => Ok(false),
    }
}

/// An entry that is one record however often it comes.
#[derive(Clone, Debug)]
pub(super) struct Once<'o> {
    pub(super) station: &'o str,
    pub(super) key: &'o str,
    /// When; now where left out.
    pub(super) at: Option<String>,
    pub(super) hosts: &'o [String],
    pub(super) note: Option<&'o str>,
}

impl Once<'_> {
    fn asked(&self) -> Asked<'_> {
        let Once { station, key, at, hosts, note } = self;
        Asked { station, at: at.as_deref(), hosts, key: Some(key), note: *note }
    }
}

/// Logs an entry. Its moment is that of the first copy that came; undone, it stays undone.
///
/// # Errors
/// What cannot be counted here, the same key with other values, or the store's own.
pub(super) async fn log_once(desk: &Desk, once: &Once<'_>, entry: &Entry, by: &str) -> Result<(), NotLogged> {
    let mut tries = 0;
    loop {
        tries += 1;
        let mut rows = rows(desk, &once.asked(), entry).await?;
        let stored = match rows.first() {
            Some(first) => desk.store.current::<Usage>(&first.key).await?,
            None => None,
        };
        if let Some(stored) = &stored {
            if stored.void {
                return Ok(());
            }
            // The time is that of the first press, not of a later copy of it.
            for row in &mut rows {
                row.at = stored.at;
            }
        }
        match desk.log_use_by(&rows, by).await {
            // Another copy came in between: its moment stands.
            Err(DeskError::Refused(_)) if tries == 1 && stored.is_none() && known(desk, &rows).await? => {}
            Err(DeskError::Refused(_)) if stored.is_some() => return Err(NotLogged::Known),
            done => return Ok(done.map(drop)?),
        }
    }
}

async fn known(desk: &Desk, rows: &[Usage]) -> Result<bool, DeskError> {
    match rows.first() {
        Some(first) => Ok(desk.store.current::<Usage>(&first.key).await?.is_some()),
        None => Ok(false),
    }
}
