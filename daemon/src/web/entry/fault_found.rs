//! A fault found before use: the gear is set aside at once, or the fault is noted and the gear stays in use.

use axum::response::Response;
use policies::facts::State as Word;

use super::blank::{Blank, Field, Sort};
use super::doing::Doing;
use super::once::Once;
use super::{Task, may};
use crate::items::state::SetState;
use crate::records::Person;
use crate::rights::Act;
use crate::web::fault::Fault;
use crate::web::links::{Links, encoded};
use crate::web::posted::Posted;
use crate::web::visit::Visit;
use crate::web::{caution, words};

/// The form.
///
/// # Errors
/// No such item or rule, or somebody who may not.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let task = Task::of(&visit.web, visit.name()).await?;
    may(visit, Act::RecordFailedWork, task.owner.as_deref())?;
    blank(visit, &task).page(visit)
}

fn blank(visit: &Visit, task: &Task) -> Blank {
    let web = &visit.web;
    let blank = Blank {
        lead: format!("Found at: {}.", words::lower_first(&task.title(web))),
        caution: caution::IF_IN_DOUBT,
        about: vec![
            "Set aside, it counts as out of use at once, and the engineer releases it. Noted only, it stays in use."
                .to_owned(),
        ],
        ..Blank::new(format!("What is wrong with {}?", task.tag), task.address(web, "fault"))
    }
    .with(Field::new("reason", "What was found", Sort::Line))
    .press_as("then", "aside", "Set it aside")
    .press_as("then", "note", "Only note it");
    let blank = match &task.station {
        Some(slug) => {
            blank.way("A shock, a hard pull, a grounding", format!("/station/{}/hold", encoded(slug, false)))
        }
        None => blank,
    };
    blank.way(task.tag.clone(), Links::item_path(&task.tag)).way("Back to the day", task.back())
}

/// Sets it aside, or notes it.
///
/// # Errors
/// Somebody who may not, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let web = &visit.web;
    let task = Task::of(web, visit.name()).await?;
    let aside = form.field("then") != "note";
    let act = if aside { Act::RecordFailedWork } else { Act::RecordWork };
    let seen = may(visit, act, task.owner.as_deref())?;
    let once = Once::of(&web.desk, form).await?;
    let blank = blank(visit, &task).filled(form);
    if form.field("reason").is_empty() {
        return blank.wrong_at("reason", "say what was found, in a few words").page(visit);
    }
    let by = seen.who.person.key.clone();
    if !aside && !web.desk.set.rule(task.rule).before_use {
        let right = "only what a look before use found is noted here; set the gear aside, or record the work on its own form";
        return blank.wrong_at("reason", right).page(visit);
    }
    if !aside {
        return note(visit, &task, blank, &once, &seen.who.person, form.field("reason")).await;
    }
    let asked = SetState {
        tag: task.tag.clone(),
        state: Word::Quarantined,
        reason: form.field("reason").to_owned(),
        at: Some(once.moment()),
        by: by.clone(),
        second: None,
    };
    match web.desk.handle("state quarantined", &by, |look| asked.rows(look)).await {
        Ok(_) => once.done(&web.desk, &format!("{}/tag", Links::item_path(&task.tag))).await,
        Err(error) => blank.refused(error)?.page(visit),
    }
}

/// How a note of a fault begins that left the gear in use: the card does not call such a look in order.
pub(super) const NOTED: &str = "fault noted, left in use:";

async fn note(
    visit: &Visit,
    task: &Task,
    blank: Blank,
    once: &Once,
    person: &Person,
    found: &str,
) -> Result<Response, Fault> {
    let web = &visit.web;
    let doing = Doing {
        key: once.key.clone(),
        item: task.tag.clone(),
        rule: task.rule_id(web),
        at: once.moment(),
        outcome: "done".to_owned(),
        by: person.key.clone(),
        note: format!("{NOTED} {found}"),
        ..Doing::default()
    };
    let looked = doing.look_now(web).await?;
    let Some(work) = looked.work else {
        let blank = looked.faults.iter().fold(blank, |blank, fault| blank.wrong_at("reason", &fault.message));
        return blank.page(visit);
    };
    match web.desk.record_work_by(work, person).await {
        Ok(_) => once.done(&web.desk, &format!("/recorded/{}", encoded(&once.key, false))).await,
        Err(error) => blank.refused(error)?.page(visit),
    }
}
