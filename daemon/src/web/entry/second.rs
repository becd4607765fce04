//! What wants two people: the one's request waits until another engineer or the head, signed in as themselves, agrees.

use std::collections::BTreeMap;

use axum::response::Response;
use policies::facts::State as Word;
use policies::load::PolicyFile;
use policies::zone::Instant;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::blank::Blank;
use super::once::Once;
use super::rehearse::{moves, named};
use crate::desk::once::Led;
use crate::desk::{Desk, DeskError};
use crate::in_force;
use crate::items::Rows;
use crate::items::concession::Concede;
use crate::items::state::SetState;
use crate::take_up::{Request, TakeUpError, keep, rehearse};
use crate::web::fault::Fault;
use crate::web::links::{Links, encoded};
use crate::web::posted::{Posted, see};
use crate::web::visit::Visit;
use crate::web::{Web, words};

/// What is remembered of a request, by its number.
const PREFIX: &str = "second word ";

/// What is to be done.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) enum Wish {
    /// Gear is to be used again.
    Release { tag: String, reason: String },
    /// A rule is to be waived.
    Concession { tag: String, rule: String, from: Option<String>, until: String, conditions: String },
    /// A policy set is to be taken up.
    TakeUp {
        files: Vec<(String, String)>,
        reason: String,
        safety: bool,
        from: String,
        /// Hash of the set that it was made from, and replaces.
        #[serde(default)]
        base: String,
    },
}

/// A request that waits.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Waits {
    pub(super) by: String,
    pub(super) at: i64,
    pub(super) wish: Wish,
}

impl Waits {
    /// In one line.
    pub(super) fn says(&self) -> String {
        match &self.wish {
            Wish::Release { tag, reason } => format!("Release of {tag}, asked for by {}: {reason}", self.by),
            Wish::Concession { tag, rule, until, conditions, .. } => {
                let until = words::day_of(until);
                format!("Concession for {tag}, {rule}, until {until}, asked for by {}: {conditions}", self.by)
            }
            Wish::TakeUp { reason, from, .. } => {
                format!("Other rules from {} on, asked for by {}: {reason}", words::day_of(from), self.by)
            }
        }
    }

    fn leads_to(&self) -> String {
        match &self.wish {
            Wish::Release { tag, .. } | Wish::Concession { tag, .. } => Links::item_path(tag),
            Wish::TakeUp { .. } => "/rules".to_owned(),
        }
    }
}

/// Keeps a request until somebody else agrees, and leads to it.
///
/// # Errors
/// The store's own.
pub(super) async fn ask(desk: &Desk, once: &Once, by: &str, wish: Wish) -> Result<Response, Fault> {
    let sum = Sha256::digest(&once.key);
    let number = sum.iter().take(6).fold(String::new(), |text, byte| text + &format!("{byte:02x}"));
    let waits = Waits { by: by.to_owned(), at: once.at.0, wish };
    let text =
        serde_json::to_string(&waits).map_err(|error| Fault::asked(error.to_string(), "Send it again."))?;
    desk.store.note(desk.deed("second word asked for"), &format!("{PREFIX}{number}"), &text).await?;
    once.done(desk, &format!("/second/{number}")).await
}

/// Every request that waits, by its number.
///
/// # Errors
/// The store's own.
pub(super) async fn waiting(desk: &Desk) -> Result<Vec<(String, Waits)>, Fault> {
    let kept = desk.store.remembered_under(PREFIX).await?;
    let mut found: Vec<(String, Waits)> = kept
        .into_iter()
        .filter_map(|(number, text)| Some((number, serde_json::from_str(&text).ok()?)))
        .collect();
    found.sort_by(|a, b| (a.1.at, &a.0).cmp(&(b.1.at, &b.0)));
    Ok(found)
}

async fn find(web: &Web, number: &str) -> Result<Waits, Fault> {
    let text = web.desk.store.remembered(&format!("{PREFIX}{number}")).await?;
    let waits = text.and_then(|text| serde_json::from_str(&text).ok());
    waits.ok_or_else(|| {
        let right = "It was agreed to, or withdrawn; the gear's own page shows what stands.";
        Fault::missing("No such request waits.", right, Vec::new())
    })
}

/// The request, for who may agree and for who made it.
///
/// # Errors
/// No such request, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let waits = find(&visit.web, visit.name()).await?;
    let blank = blank(visit, &waits)?;
    match &waits.wish {
        Wish::TakeUp { .. } => shown(visit, &waits, blank).await?.page(visit),
        _ => blank.page(visit),
    }
}

/// With what a set would change: its lines, and what moves by them today.
async fn shown(visit: &Visit, waits: &Waits, mut blank: Blank) -> Result<Blank, Fault> {
    let desk = &visit.web.desk;
    let me = visit.signed()?.who.person.key.clone();
    let second = Some(me).filter(|me| *me != waits.by);
    let Some(request) = request(waits, second, visit.name()) else { return Ok(blank) };
    if let Wish::TakeUp { base, .. } = &waits.wish
        && let Ok(before) = in_force::files(&desk.store, base).await
    {
        blank.moves.extend(changed_lines(&before, &request.files));
    }
    match rehearse(&desk.store, &request, desk.now()).await {
        Ok(found) => Ok(moves(blank, &named(visit, found).await?)),
        Err(error) => {
            let error = refusal(error)?;
            blank.presses.retain(|press| press.value != "agree");
            blank.refused(error)
        }
    }
}

/// The set that is asked for, as it is taken up.
fn request(waits: &Waits, second: Option<String>, number: &str) -> Option<Request> {
    let Wish::TakeUp { files, reason, safety, base, .. } = waits.wish.clone() else { return None };
    Some(Request {
        files: files.into_iter().map(|(name, text)| PolicyFile { name, text }).collect(),
        by: waits.by.clone(),
        second,
        reason: Some(reason),
        safety,
        base: Some(base),
        answers: Some(format!("{PREFIX}{number}")),
    })
}

/// What a set writes otherwise than the one before, file by file: lines that go, and lines that come.
fn changed_lines(before: &[PolicyFile], after: &[PolicyFile]) -> Vec<(String, Vec<String>)> {
    let text_of = |files: &[PolicyFile], name: &str| {
        files.iter().find(|file| file.name == name).map(|file| file.text.clone()).unwrap_or_default()
    };
    let mut names: Vec<&str> = before.iter().chain(after).map(|file| file.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let differ = names.into_iter().map(|name| {
        let (old, new) = (text_of(before, name), text_of(after, name));
        let lines = beyond(&old, &new).map(|line| format!("− {line}"));
        let come: Vec<String> = beyond(&new, &old).map(|line| format!("+ {line}")).collect();
        (format!("Lines of {name}"), lines.chain(come).collect::<Vec<String>>())
    });
    differ.filter(|(_, lines)| !lines.is_empty()).collect()
}

/// Lines of a text that another has not, or not so often.
fn beyond<'t>(text: &'t str, other: &'t str) -> impl Iterator<Item = &'t str> {
    let mut left: BTreeMap<&str, usize> = BTreeMap::new();
    for line in other.lines() {
        *left.entry(line.trim()).or_default() += 1;
    }
    text.lines().map(str::trim).filter(move |line| {
        let have = left.entry(line).or_default();
        let here = *have > 0;
        *have = have.saturating_sub(1);
        !here && !line.is_empty()
    })
}

fn blank(visit: &Visit, waits: &Waits) -> Result<Blank, Fault> {
    let own = visit.signed()?.who.person.key == waits.by;
    let zone = &visit.web.desk.set.service.home_zone;
    let mut facts = vec![
        ("Asked for by".to_owned(), waits.by.clone()),
        ("Asked for on".to_owned(), words::moment(zone, Instant(waits.at))),
    ];
    let (heading, more) = match &waits.wish {
        Wish::Release { tag, reason } => {
            (format!("May {tag} be used again?"), vec![("Because", reason.clone())])
        }
        Wish::Concession { tag, rule, from, until, conditions } => (
            format!("May {rule} of {tag} be waived?"),
            vec![
                (
                    "From",
                    from.as_ref()
                        .map_or_else(|| "the day of the second word".to_owned(), |day| words::day_of(day)),
                ),
                ("Until", format!("24:00 on {}", words::day_of(until))),
                ("Conditions", conditions.clone()),
            ],
        ),
        Wish::TakeUp { reason, from, .. } => (
            "May these rules be taken up?".to_owned(),
            vec![("From", words::day_of(from)), ("Because", reason.clone())],
        ),
    };
    facts.extend(more.into_iter().map(|(name, text)| (name.to_owned(), text)));
    let blank = Blank { facts, ..Blank::new(heading, format!("/second/{}", encoded(visit.name(), false))) };
    let blank = if own {
        Blank {
            lead: "It waits for the second word of another engineer or the head, who opens this page signed in as \
                   themselves."
                .to_owned(),
            ..blank
        }
        .press_as("then", "withdraw", "Withdraw it")
    } else {
        Blank { lead: "It takes two people. Agreeing, you sign it too.".to_owned(), ..blank }
            .press_as("then", "agree", "I agree, and sign")
            .press_as("then", "withdraw", "I do not")
    };
    Ok(blank.way("What it is about", waits.leads_to()).way("The region", "/"))
}

/// Agrees, or ends the request.
///
/// # Errors
/// The same person, nobody fresh, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let (desk, number) = (&visit.web.desk, visit.name());
    let once = Once::alone(desk, form).await?;
    if let Some(led) = &once.led {
        return Ok(see(led));
    }
    let waits = find(&visit.web, number).await?;
    if form.field("then") == "withdraw" {
        desk.store.forget(&format!("{PREFIX}{number}")).await?;
        return once.done(desk, "/").await;
    }
    // The page that bore the button showed the request; a set is agreed to as it is shown.
    let draft = format!("/second/{}", encoded(number, false));
    let me = posted.fresh(&draft)?.who.person.key.clone();
    let blank = blank(visit, &waits)?;
    if me == waits.by {
        return blank
            .wrong_at("", "the second word is another person's: they sign in and agree here")
            .page(visit);
    }
    match done(desk, &once, (&waits, number), &me).await? {
        Ok(Some(led)) => Ok(see(&led)),
        Ok(None) => once.done(desk, &waits.leads_to()).await,
        Err(error) => blank.refused(error)?.page(visit),
    }
}

/// Does what was asked for, in both names, and uses the request up with it. Where it led is remembered with gear's own
/// records; with a set's it is not.
async fn done(
    desk: &Desk,
    once: &Once,
    (waits, number): (&Waits, &str),
    second: &str,
) -> Result<Result<Option<String>, DeskError>, Fault> {
    let (by, second) = (waits.by.clone(), Some(second.to_owned()));
    if let Some(request) = request(waits, second.clone(), number) {
        return Ok(taken_up(desk, &request).await?.map(|()| None));
    }
    let answers = Some(format!("{PREFIX}{number}"));
    let led = |rows: Rows| Ok(once.saying(Led { rows, to: waits.leads_to(), answers }));
    let key = (once.key.as_str(), once.at);
    let written = match waits.wish.clone() {
        Wish::Release { tag, reason } => {
            let asked = SetState { tag, state: Word::Released, reason, at: None, by: by.clone(), second };
            desk.handle_once(key, ("state released", &by), |look| led(asked.rows(look)?)).await
        }
        Wish::Concession { tag, rule, from, until, conditions } => {
            let asked = Concede { tag, rule, from, until, conditions, number: None, by: by.clone(), second };
            desk.handle_once(key, ("concession add", &by), |look| led(asked.rows(look)?)).await
        }
        Wish::TakeUp { .. } => return Ok(Ok(None)),
    };
    Ok(written.map(Some))
}

/// Takes a set up, or says what stands against it.
///
/// # Errors
/// The store's own.
pub(super) async fn taken_up(desk: &Desk, request: &Request) -> Result<Result<(), DeskError>, Fault> {
    let now = desk.now();
    let found = match rehearse(&desk.store, request, now).await {
        Ok(found) => found,
        Err(error) => return refusal(error).map(Err),
    };
    match keep(&desk.store, request, &found, now).await {
        Ok(()) => Ok(Ok(())),
        Err(error) => refusal(error).map(Err),
    }
}

/// What stands against taking a set up; the store's troubles stay what they are.
pub(super) fn refusal(error: TakeUpError) -> Result<DeskError, Fault> {
    match error {
        TakeUpError::Policy(error) => Ok(DeskError::Refused(error.to_string())),
        TakeUpError::Refused(text) => Ok(DeskError::Refused(text)),
        TakeUpError::Other(error) => Ok(DeskError::Refused(format!("{error:#}"))),
        TakeUpError::Store(error) => Err(error.into()),
        TakeUpError::Desk(error) => Err(error.into()),
    }
}
