//! Doubts in the log are settled, and later dates acknowledged.

use axum::response::Response;
use policies::doubts::Answer;
use policies::due::Evaluator;

use super::blank::{Blank, Field, Sort};
use super::hard::choice;
use super::once::Once;
use super::{Task, given, may};
use crate::desk::Settlement;
use crate::doubts::{About, Open, moments, open, told};
use crate::kept_dates::Acknowledgement;
use crate::records::KeptDate;
use crate::rights::Act;
use crate::web::fault::Fault;
use crate::web::links::{Links, encoded};
use crate::web::posted::{Posted, see};
use crate::web::visit::Visit;
use crate::web::words;

/// Every open doubt.
///
/// # Errors
/// The store's own.
pub(super) async fn open_doubts(visit: &Visit) -> Result<Vec<Open>, Fault> {
    let (desk, as_of) = (&visit.web.desk, visit.asked()?.judged);
    let found = desk
        .with_fleet(|fleet| told(&Evaluator::new(&desk.set, fleet, as_of), &desk.set, fleet, None))
        .await?;
    let entries = desk.store.entries_at(&moments(&found), None).await?;
    let answers = desk.store.doubt_answers(None).await?;
    Ok(open(found, &entries, answers.iter().map(|given| &given.answer)))
}

async fn found(visit: &Visit) -> Result<Open, Fault> {
    let open = open_doubts(visit).await?.into_iter().find(|doubt| doubt.key == visit.name());
    open.ok_or_else(|| {
        let right = "It is settled, or the records that it was about are put right. The station's page has those open.";
        Fault::missing("No such doubt is open.", right, Vec::new())
    })
}

/// The doubt and its answers.
///
/// # Errors
/// No such doubt, somebody who may not, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let doubt = found(visit).await?;
    may(visit, Act::SettleDoubt, Some(&doubt.told.station))?;
    blank(&doubt).page(visit)
}

fn blank(doubt: &Open) -> Blank {
    let told = &doubt.told;
    let day = format!("/station/{}", encoded(&told.station, false));
    let blank = Blank {
        lead: words::upper_first(&told.says),
        about: Some(format!("If so: {}.", told.moves))
            .filter(|_| !told.moves.is_empty())
            .into_iter()
            .collect(),
        ..Blank::new("What happened?", format!("/doubt/{}", encoded(&doubt.key, true)))
    };
    let answers: &[(&str, &str)] = match told.about {
        About::Entries { .. } => &[
            ("twin", "It was logged twice: the later entry never happened"),
            ("both", "They really were two"),
        ],
        About::Reading(_) => &[
            ("logged", "The missing launches have been written up"),
            ("other-work", "The engine did other work"),
        ],
        About::Scrapped => {
            return blank
                .way("Remove it", format!("/remove/{}", encoded(&told.item, true)))
                .way("Back to the day", day);
        }
    };
    blank
        .with(Field::new("answer", "What happened", choice(answers)))
        .with(Field::new("note", "Note", Sort::Line))
        .press("Settle it")
        .way("Back to the day", day)
}

/// Settles it.
///
/// # Errors
/// Somebody who may not, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let desk = &visit.web.desk;
    let once = Once::alone(desk, form).await?;
    if let Some(led) = &once.led {
        return Ok(see(led));
    }
    let doubt = found(visit).await?;
    let by = may(visit, Act::SettleDoubt, Some(&doubt.told.station))?.who.person.key.clone();
    let blank = blank(&doubt).filled(form);
    let answer = match form.field("answer") {
        "twin" => Answer::Twin,
        "both" => Answer::Both,
        "logged" => Answer::Logged,
        "other-work" => Answer::OtherWork,
        _ => return blank.wrong_at("answer", "say which of these it was").page(visit),
    };
    let note = given(form, "note").map(str::to_owned);
    let asked = Settlement { key: doubt.key.clone(), answer, by, note, void: None };
    match desk.settle(&asked).await {
        Ok(_) => once.done(desk, &format!("/station/{}", encoded(&doubt.told.station, false))).await,
        Err(error) => blank.refused(error)?.page(visit),
    }
}

/// Later dates that wait for an engineer.
///
/// # Errors
/// The store's own.
pub(super) async fn later_dates(visit: &Visit) -> Result<Vec<KeptDate>, Fault> {
    let rows = visit.web.desk.store.newest::<KeptDate>().await?.into_values();
    let mut open: Vec<KeptDate> = rows.filter(|row| !row.void && row.acknowledged_by.is_none()).collect();
    open.sort_by(|a, b| a.key.cmp(&b.key));
    Ok(open)
}

/// The later date, and the one that stands.
///
/// # Errors
/// Nothing waits, or the store's own.
pub(super) async fn waits_page(visit: &Visit) -> Result<Response, Fault> {
    waits_blank(visit).await?.page(visit)
}

async fn waits_blank(visit: &Visit) -> Result<Blank, Fault> {
    let (web, task) = (&visit.web, Task::of(&visit.web, visit.name()).await?);
    let fleet = web.desk.store.fleet(&web.desk.set, None).await?.fleet;
    let as_of = visit.asked()?.judged;
    let waiting = crate::kept_dates::waiting(&web.desk.store, &web.desk.set, &fleet, as_of).await?;
    let rule = task.rule_id(web);
    let Some(row) = waiting.into_iter().find(|row| row.item == task.tag && row.rule == rule) else {
        let right = "It was acknowledged, or the work was done since.";
        return Err(Fault::missing(
            "No later date of it waits.",
            right,
            vec![Links::default().to_item(&task.tag)],
        ));
    };
    let facts = [
        ("Stands", row.stands),
        ("Under the records as corrected", row.corrected),
        ("Corrected by", row.cause),
    ];
    Ok(Blank {
        lead: "A correction makes its date later. Until an engineer says that it is right, the earlier one stands."
            .to_owned(),
        facts: facts.into_iter().map(|(name, text)| (name.to_owned(), text)).collect(),
        ..Blank::new(
            format!("May {} be later? {}", task.tag, words::upper_first(&web.desk.set.rule(task.rule).title)),
            task.address(web, "acknowledge"),
        )
    }
    .with(Field::new("reason", "Why the later date is right", Sort::Line))
    .press("Let the later date stand")
    .way(format!("Back to {}", task.tag), Links::item_path(&task.tag)))
}

/// Lets it stand.
///
/// # Errors
/// The store's own.
pub(super) async fn acknowledge(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let desk = &visit.web.desk;
    let once = Once::alone(desk, form).await?;
    if let Some(led) = &once.led {
        return Ok(see(led));
    }
    let task = Task::of(&visit.web, visit.name()).await?;
    let blank = waits_blank(visit).await?.filled(form);
    if form.field("reason").is_empty() {
        return blank.wrong_at("reason", "say why the later date is right").page(visit);
    }
    let word = Acknowledgement {
        item: task.tag.clone(),
        rule: task.rule_id(&visit.web),
        by: posted.signed()?.who.person.key.clone(),
        reason: form.field("reason").to_owned(),
    };
    match desk.acknowledge(&word).await {
        Ok(()) => {
            desk.refresh().await?;
            once.done(desk, &Links::item_path(&task.tag)).await
        }
        Err(error) => blank.refused(error)?.page(visit),
    }
}
