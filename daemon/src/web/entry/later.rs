//! Not now, because. Where a notice told of the work, it is answered with *later*, so that its reminders pause; the date
//! stands, and what stops a launch is told all the same.

use std::collections::HashMap;

use axum::response::Response;
use policies::zone::Instant;
use serde::{Deserialize, Serialize};

use super::blank::{Blank, Field, Sort};
use super::once::Once;
use super::{Task, may};
use crate::rights::Act;
use crate::store::answers::Answered;
use crate::store::{StoreError, Writer};
use crate::web::Web;
use crate::web::fault::Fault;
use crate::web::posted::Posted;
use crate::web::visit::Visit;
use crate::web::words;

/// What is remembered of it, by item and rule.
const PREFIX: &str = "not now ";
/// Longest reason.
const REASON: usize = 200;

/// Why work is not done now.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(in crate::web) struct NotNow {
    by: String,
    at: i64,
    reason: String,
}

/// What was said of a station's work, by item and rule.
///
/// # Errors
/// The store's own.
pub(in crate::web) async fn not_now(web: &Web) -> Result<HashMap<String, NotNow>, Fault> {
    let kept = web.desk.store.remembered_under(PREFIX).await?;
    let read = |(name, text): (String, String)| Some((name, serde_json::from_str(&text).ok()?));
    Ok(kept.into_iter().filter_map(read).collect())
}

impl NotNow {
    /// `not now, since 12 Oct 2026: spares come on Friday (mechanic@…)`; nothing once the work was done since.
    pub(in crate::web) fn says(&self, last: Option<Instant>, zone: &policies::zone::Zone) -> Option<String> {
        let since = words::full_day(zone.date_of(Instant(self.at)));
        let open = last.is_none_or(|last| last.0 < self.at);
        open.then(|| format!("not now, said on {since}: {} ({})", self.reason, self.by))
    }
}

/// The form.
///
/// # Errors
/// No such item or rule, somebody who may not, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let task = Task::of(&visit.web, visit.name()).await?;
    may(visit, Act::RecordWork, task.owner.as_deref())?;
    blank(visit, &task).page(visit)
}

fn blank(visit: &Visit, task: &Task) -> Blank {
    let web = &visit.web;
    Blank {
        lead: format!("{}: {}.", task.tag, words::lower_first(&task.title(web))),
        about: vec![
            "It puts no date off: a notice of it counts as answered, and pauses; what stops a launch is told all the \
             same."
                .to_owned(),
        ],
        ..Blank::new(format!("Not now: {}?", task.tag), task.address(web, "later"))
    }
    .with(Field::new("reason", "Why not now", Sort::Line))
    .press("Not now")
    .way("It is done", task.address(web, "work"))
    .way("Back to the day", task.back())
}

/// Notes it.
///
/// # Errors
/// Somebody who may not, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let web = &visit.web;
    let task = Task::of(web, visit.name()).await?;
    let seen = may(visit, Act::RecordWork, task.owner.as_deref())?;
    let once = Once::of(&web.desk, form).await?;
    let reason = form.field("reason");
    let blank = blank(visit, &task).filled(form);
    if reason.is_empty() {
        return blank.wrong_at("reason", "say why, so that the engineer knows what it waits for").page(visit);
    }
    if reason.chars().count() > REASON || reason.chars().any(char::is_control) {
        return blank
            .wrong_at("reason", &format!("one line of at most {REASON} letters is enough"))
            .page(visit);
    }
    let by = &seen.who.person.key;
    note(web, &task, &NotNow { by: by.clone(), at: once.at.0, reason: reason.to_owned() }, &once).await?;
    once.done(&web.desk, &task.back()).await
}

/// The answer beside the newest notice that told this person of it, and the reason where pages show it.
async fn note(web: &Web, task: &Task, word: &NotNow, once: &Once) -> Result<(), Fault> {
    let (desk, rule) = (&web.desk, task.rule_id(web));
    let heard = desk.store.heard(&word.by, desk.now()).await?;
    let told = heard.newest.get(&(task.tag.clone(), rule.clone()));
    let notice = match told {
        Some(said) => desk.store.notice_numbered(&said.number).await?,
        None => None,
    };
    let line = match &notice {
        Some(notice) => desk.store.line_of(notice, &task.tag, &rule).await?,
        None => None,
    };
    let answered = Answered {
        line,
        answer: "later".to_owned(),
        sender: word.by.clone(),
        said_at: Instant(word.at),
        mail: once.key.clone(),
        note: Some(word.reason.clone()),
    };
    let (name, text) =
        (format!("{PREFIX}{} {rule}", task.tag), serde_json::to_string(word).unwrap_or_default());
    let now = desk.now();
    desk.store
        .write(desk.deed("not now"), async |tx: &mut Writer| {
            if let Some(notice) = notice.as_ref().filter(|_| line.is_some()) {
                tx.note_answer(notice, &answered, now).await?;
            }
            tx.remember(&name, &text).await
        })
        .await
        .map_err(|error: StoreError| error)?;
    Ok(())
}
