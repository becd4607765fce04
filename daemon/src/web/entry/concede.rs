//! A concession is given or ended: a rule waived for one item, for a time and under conditions. What the law asks is
//! never waived; for what stops a launch a second person signs.

use axum::response::Response;
use jiff::civil::Date;
use policies::rule::{Authority, Effect};

use super::blank::{Blank, Field, Sort};
use super::once::Once;
use super::second::{Wish, ask};
use super::{Task, given};
use crate::desk::once::Led;
use crate::desk::{Correction, DeskError};
use crate::items::Look;
use crate::items::concession::Concede;
use crate::records::Concession;
use crate::rights::{Act, Place};
use crate::web::fault::Fault;
use crate::web::gate;
use crate::web::links::{Links, encoded};
use crate::web::posted::{Posted, see};
use crate::web::visit::Visit;
use crate::web::{caution, words};

/// The form.
///
/// # Errors
/// No such item or rule, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let task = Task::of(&visit.web, visit.name()).await?;
    blank(visit, &task).page(visit)
}

fn blank(visit: &Visit, task: &Task) -> Blank {
    let rule = visit.web.desk.set.rule(task.rule);
    let mut about = vec![format!("Left undone: {}.", rule.overdue.word())];
    if rule.overdue == Effect::StopsLaunch {
        about.push(
            "It stops a launch, so that a second engineer or the head signs too: this asks them.".to_owned(),
        );
    }
    if rule.authority == Authority::Law {
        about.push("The law asks for it: no concession can be given.".to_owned());
    }
    Blank {
        lead: format!("{}: {}.", task.tag, words::lower_first(&rule.title)),
        about,
        caution: caution::LIMIT,
        ..Blank::new(format!("Waive it for {}?", task.tag), task.address(&visit.web, "concession"))
    }
    .with(Field::new("from", "First day, if not today", Sort::Day))
    .with(Field::new("until", "Last day", Sort::Day))
    .with(Field::new("conditions", "Conditions under which it may be used", Sort::Text(3)))
    .press("Give it")
    .way(format!("Back to {}", task.tag), Links::item_path(&task.tag))
}

/// Gives it, or asks for the second word.
///
/// # Errors
/// The store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let web = &visit.web;
    let task = Task::of(web, visit.name()).await?;
    let by = &posted.signed()?.who.person.key;
    let once = Once::of(&web.desk, form).await?;
    if let Some(led) = &once.led {
        return Ok(see(led));
    }
    let blank = blank(visit, &task).filled(form);
    if web.desk.set.rule(task.rule).authority == Authority::Law {
        return blank
            .wrong_at(
                "",
                "the law asks for this work; it is never waived. Do it, or take the gear out of use",
            )
            .page(visit);
    }
    if form.field("until").parse::<Date>().is_err() {
        return blank.wrong_at("until", "give the last day, with year, month and day").page(visit);
    }
    let asked = Concede {
        tag: task.tag.clone(),
        rule: task.rule_id(web),
        from: given(form, "from").map(str::to_owned),
        until: form.field("until").to_owned(),
        conditions: form.field("conditions").to_owned(),
        number: None,
        by: by.clone(),
        second: None,
    };
    let make = |look: &Look| Ok(once.saying(Led::to(Links::item_path(&task.tag), asked.rows(look)?)));
    match web.desk.handle_once((&once.key, once.at), ("concession add", by), make).await {
        Ok(to) => Ok(see(&to)),
        Err(DeskError::WantsSecond(_)) => {
            // The first word is signed as the second is.
            let seen = posted.fresh(&task.address(web, "concession"))?;
            gate::allowed(seen, Act::SaySecondWord, Place::Own)?;
            let Concede { tag, rule, from, until, conditions, .. } = asked;
            ask(&web.desk, &once, by, Wish::Concession { tag, rule, from, until, conditions }).await
        }
        Err(error) => blank.refused(error)?.page(visit),
    }
}

async fn found(visit: &Visit) -> Result<Concession, Fault> {
    let row = visit.web.desk.store.current::<Concession>(visit.name()).await?.filter(|row| !row.void);
    row.ok_or_else(|| {
        Fault::missing("There is no such concession.", "The gear's own page lists its own.", Vec::new())
    })
}

/// Whether it ends.
///
/// # Errors
/// No such concession, or the store's own.
pub(super) async fn end_page(visit: &Visit) -> Result<Response, Fault> {
    end_blank(visit, &found(visit).await?).page(visit)
}

fn end_blank(visit: &Visit, row: &Concession) -> Blank {
    Blank {
        lead: format!(
            "{}: {} is waived until 24:00 on {}: {}",
            row.item,
            super::title_of(&visit.web, &row.rule),
            words::day_of(&row.until_date),
            row.conditions
        ),
        about: vec!["Ended, the rule counts again at once.".to_owned()],
        ..Blank::new(
            format!("Does concession {} end now?", row.key),
            format!("/end/{}", encoded(&row.key, true)),
        )
    }
    .with(Field::new("reason", "Why", Sort::Line))
    .press("End it")
    .way(format!("Back to {}", row.item), Links::item_path(&row.item))
}

/// Ends it: its last day becomes yesterday, or where it had not begun, it never was.
///
/// # Errors
/// The store's own.
pub(super) async fn end(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let desk = &visit.web.desk;
    let once = Once::alone(desk, form).await?;
    if let Some(led) = &once.led {
        return Ok(see(led));
    }
    let row = found(visit).await?;
    let by = &posted.signed()?.who.person.key;
    let to = Links::item_path(&row.item);
    let yesterday = desk.today().yesterday().unwrap_or(Date::MIN).to_string();
    if row.until_date <= yesterday {
        return Ok(see(&to));
    }
    let blank = end_blank(visit, &row).filled(form);
    if form.field("reason").is_empty() {
        return blank.wrong_at("reason", "say why it ends").page(visit);
    }
    let until = [("until", yesterday.as_str())];
    let void = [("void", "yes")];
    let cells: &[(&str, &str)] = if row.from_date > yesterday { &void } else { &until };
    let correction =
        Correction { file: "concessions", key: &row.key, cells, by, reason: form.field("reason") };
    match desk.correct(&correction).await {
        Ok(_) => once.done(desk, &to).await,
        Err(error) => blank.refused(error)?.page(visit),
    }
}
