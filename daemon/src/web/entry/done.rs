//! A piece of work, done: outcome, readings with their limits and last values, and what stands beside them.

use std::collections::HashMap;

use axum::response::Response;
use policies::assess::Verdict;
use policies::due::Evaluator;
use policies::facts::Fleet;
use policies::rule::{Reading, Rule, Work as Sorts};
use policies::trend::Limit;
use policies::zone::Instant;
use sha2::{Digest, Sha256};

use super::blank::{Blank, Field, Sort};
use super::doing::{Doing, Looked, asks_who, unit};
use super::hard::choice;
use super::once::Once;
use super::{Task, may, may_now};
use crate::records::Work;
use crate::rights::Act;
use crate::store::fleet::pairs;
use crate::wear;
use crate::web::fault::Fault;
use crate::web::links::{Links, encoded};
use crate::web::posted::Posted;
use crate::web::visit::Visit;
use crate::web::{caution, words};

/// The form.
///
/// # Errors
/// No such item or rule, somebody who may not, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let task = Task::of(&visit.web, visit.name()).await?;
    may(visit, Act::RecordWork, task.owner.as_deref())?;
    blank(visit, &task).await?.page(visit)
}

async fn blank(visit: &Visit, task: &Task) -> Result<Blank, Fault> {
    let (web, person) = (&visit.web, &visit.signed()?.who.person);
    let rule = web.desk.set.rule(task.rule);
    let mut works: Vec<Work> = web.desk.store.newest::<Work>().await?.into_values().collect();
    works.retain(|work| !work.void && work.item == task.tag);
    works.sort_by_key(|work| std::cmp::Reverse(work.at));
    let limits = limits(visit, task, &works).await?;
    let judge = task.station.as_ref().map(|slug| {
        let (item, rule) = (encoded(&task.tag, false), encoded(&rule.id, false));
        format!("/station/{}/judge?item={item}&rule={rule}", encoded(slug, false))
    });
    let mut blank = Blank {
        lead: format!("{}: {}.", task.tag, words::lower_first(&rule.title)),
        caution: caution::of(&web.desk.set, rule),
        judge: judge.filter(|_| !rule.records.is_empty()).unwrap_or_default(),
        queue: "work",
        station: task.station.clone().unwrap_or_default(),
        hidden: vec![("item", task.tag.clone()), ("rule", rule.id.clone())],
        ..Blank::new(format!("Done: {}?", task.tag), task.address(web, "work"))
    };
    blank
        .fields
        .extend(rule.records.iter().enumerate().map(|(at, reading)| measured(at, reading, &works, &limits)));
    blank.fields.push(outcome(rule));
    if rule.certificate {
        let field = Field::new("certificate", "Number of the certificate or report", Sort::Line);
        blank.fields.push(field.beside("It counts once its number is in; without it, it waits for that."));
    }
    if asks_who(rule, &person.role) {
        let wanted = rule.by.clone().unwrap_or_else(|| "station mechanic".to_owned());
        let field = Field::new("by", "Who did it, by address", Sort::Line).holding(&person.key);
        blank.fields.push(field.beside(format!("Done by: {wanted}.")));
    }
    blank.fields.push(Field::new("at", "Time, if not now", Sort::Moment));
    blank.fields.push(Field::new("note", "Note", Sort::Line));
    let rule_page = format!("/rules/{}", encoded(&rule.id, false));
    Ok(blank
        .press("Record it")
        .way("Not now", task.address(web, "later"))
        .way("The rule", rule_page)
        .way("Back to the day", task.back()))
}

fn outcome(rule: &Rule) -> Field {
    let failed = ("failed", "Failed: it is set aside");
    // What is judged has no outcome that somebody could let stand unread.
    if is_judged(rule) {
        return Field::new("outcome", "What came of it", choice(&[("passed", "Passed"), failed]));
    }
    Field::new("outcome", "What came of it", choice(&[("done", "Done"), failed])).holding("done")
}

/// Whether the work passes or fails, or what it reads does.
fn is_judged(rule: &Rule) -> bool {
    let judges = matches!(
        rule.work,
        Sorts::Check
            | Sorts::Measurement
            | Sorts::ThoroughExamination
            | Sorts::ProofLoadTest
            | Sorts::Calibration
    );
    let limited =
        |reading: &Reading| reading.min.is_some() || reading.max.is_some() || reading.criterion.is_some();
    judges || rule.records.iter().any(limited)
}

/// The limit of each reading that wears towards one, by its name.
async fn limits(visit: &Visit, task: &Task, works: &[Work]) -> Result<HashMap<String, String>, Fault> {
    let (desk, as_of) = (&visit.web.desk, visit.asked()?.judged);
    let found = |fleet: &Fleet| {
        let evaluator = Evaluator::without_forecasts(&desk.set, fleet, as_of);
        let worn = wear::of_item(&evaluator, (&desk.set, fleet), task.id, works);
        let own = worn.into_iter().filter(|worn| worn.rule == task.rule);
        let said = own.filter_map(|worn| {
            let unit = worn.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
            let text = match worn.limit? {
                Limit::Least(least) => format!("Not below {:.2}{unit}.", least.to_f64()),
                Limit::Most(most) => format!("Not over {:.2}{unit}.", most.to_f64()),
            };
            Some((worn.name, text))
        });
        said.collect()
    };
    Ok(desk.with_fleet(found).await?)
}

fn measured(at: usize, reading: &Reading, works: &[Work], limits: &HashMap<String, String>) -> Field {
    let last = works.iter().find_map(|work| {
        let found = pairs(work.measurements.as_deref()).find(|(name, _)| *name == reading.name)?.1.to_owned();
        Some((found, work))
    });
    let told = words::reading(reading);
    let limit = told.split_once(", ").map(|(_, limit)| words::upper_first(limit)).unwrap_or_default();
    let mut field = Field {
        unit: unit(reading).trim().to_owned(),
        ..Field::new(format!("m{at}"), words::upper_first(&reading.name), Sort::Number)
    };
    if !limit.is_empty() {
        field = field.beside(format!("{limit}."));
    }
    if let Some(limit) = limits.get(&reading.name) {
        field = field.beside(limit.clone());
    }
    match last {
        Some((value, work)) => {
            let day =
                jiff::Timestamp::from_microsecond(work.at).map(|at| at.strftime("%-d %b %Y").to_string());
            field.beside(format!("Last {value}{}, {}.", unit(reading), day.unwrap_or_default()))
        }
        None => field.beside("Not measured before."),
    }
}

/// Records it, or shows it once more: where something is wrong, and before a reading worth a second look.
///
/// # Errors
/// Somebody who may not, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let web = &visit.web;
    let task = Task::of(web, visit.name()).await?;
    let failed = form.field("outcome") == "failed";
    let act = if failed { Act::RecordFailedWork } else { Act::RecordWork };
    let seen = may(visit, act, task.owner.as_deref())?;
    let once = Once::of(&web.desk, form).await?;
    let rule = web.desk.set.rule(task.rule);
    let mut doing = Doing::of(rule, &task.tag, |name| form.field(name).to_owned());
    doing.key.clone_from(&once.key);
    if doing.at.is_empty() {
        doing.at = once.moment();
    }
    if !asks_who(rule, &seen.who.person.role) {
        doing.by.clone_from(&seen.who.person.key);
    }
    let blank = blank(visit, &task).await?.filled(form);
    if doing.outcome.is_empty() {
        let wrong = "say what came of it: whether it passed, or failed";
        return blank.wrong_at("outcome", wrong).page(visit);
    }
    let looked = doing.look_now(web).await?;
    let Some(work) = looked.work.clone() else { return wrong(blank, rule, &looked).page(visit) };
    let mark = mark(&work);
    if looked.pauses && form.field("looked") != mark {
        return again(blank, &looked, mark, failed).page(visit);
    }
    let to = format!("/recorded/{}", encoded(&once.key, false));
    match web.desk.record_work_by(work, &seen.who.person).await {
        Ok(_) => once.done(&web.desk, &to).await,
        Err(error) => blank.refused(error)?.page(visit),
    }
}

/// The faults, each at its field; a reading's at the reading that it names.
fn wrong(mut blank: Blank, rule: &Rule, looked: &Looked) -> Blank {
    for fault in &looked.faults {
        let named = rule.records.iter().position(|reading| fault.message.contains(&*reading.name));
        let field = match (fault.column.as_str(), named) {
            ("measurements", Some(at)) => format!("m{at}"),
            ("done_at", _) => "at".to_owned(),
            (column, _) => column.to_owned(),
        };
        let message = fault.message.replace("; if it is so all the same, add --confirm-reading", "");
        if message.len() < fault.message.len()
            && !blank.fields.iter().any(|field| field.name == "confirm_reading")
        {
            let words = "I have taken the reading again, and it is so";
            blank.fields.push(Field::new("confirm_reading", words, Sort::Yes));
        }
        blank = blank.wrong_at(&field, &message);
    }
    blank
}

/// Shown once more before it is recorded.
fn again(mut blank: Blank, looked: &Looked, mark: String, failed: bool) -> Blank {
    blank.verdicts = looked.says.iter().map(|says| words::upper_first(says) + ".").collect();
    blank.hidden.push(("looked", mark));
    if looked.verdict == Some(Verdict::Discard) && !failed {
        blank.verdicts.push(
            "The criteria discard it: record it as failed, which sets it aside. Whether it may be used all the same \
             is a competent person's decision."
                .to_owned(),
        );
        let outcome = blank.fields.iter_mut().filter(|field| field.name == "outcome");
        outcome.for_each(|field| "failed".clone_into(&mut field.value));
    }
    blank.presses.clear();
    blank.press("It is so: record it")
}

/// What a second look was taken at.
fn mark(work: &Work) -> String {
    let sum = Sha256::digest(format!("{:?}", work.measurements));
    sum.iter().take(8).fold(String::new(), |text, byte| text + &format!("{byte:02x}"))
}

/// What was recorded, and its undo.
///
/// # Errors
/// No such work, or the store's own.
pub(super) async fn recorded(visit: &Visit) -> Result<Response, Fault> {
    let (blank, _) = recorded_blank(visit).await?;
    blank.page(visit)
}

async fn recorded_blank(visit: &Visit) -> Result<(Blank, Work), Fault> {
    let web = &visit.web;
    let Some(work) = web.desk.store.current::<Work>(visit.name()).await? else {
        return Err(Fault::missing(
            "No such work is on record.",
            "The gear's own page lists what is.",
            Vec::new(),
        ));
    };
    let owner = super::owner(web, &work.item).await?;
    let zone =
        web.desk.with_fleet(|fleet| fleet.find(&work.item).map(|id| fleet.zone_of(fleet.item(id)).clone()));
    let when = zone.await?.map(|zone| words::moment(&zone, Instant(work.at))).unwrap_or_default();
    let facts = [
        ("Work", super::title_of(web, &work.rule)),
        ("When", when),
        ("Outcome", work.outcome.clone()),
        ("Readings", crate::gear::readings(&web.desk.set, &work).join(", ")),
        ("By", work.by.clone().unwrap_or_default()),
        ("Certificate", work.certificate.clone().unwrap_or_default()),
        ("Note", work.note.clone().unwrap_or_default()),
    ];
    let facts = facts.into_iter().filter(|(_, text)| !text.is_empty());
    let mut blank = Blank {
        lead: if work.void { "It was undone: it never happened.".to_owned() } else { String::new() },
        facts: facts.map(|(name, text)| (name.to_owned(), text)).collect(),
        ..Blank::new(
            format!("Recorded for {}", work.item),
            format!("/recorded/{}", encoded(&work.key, false)),
        )
    };
    if !work.void && may_now(visit, Act::CorrectRecord, owner.as_deref()) {
        blank
            .about
            .push("A slip? Undo says that it never happened; the old version stays on record.".to_owned());
        blank = blank.press("Undo");
    }
    blank = blank.way(format!("{}: its life", work.item), Links::item_path(&work.item));
    if let Some(slug) = owner {
        blank = blank.way("Back to the day", format!("/station/{}", encoded(&slug, false)));
    }
    Ok((blank, work))
}

/// Undoes it.
///
/// # Errors
/// Somebody who may not correct it, or the store's own.
pub(super) async fn undo(posted: Posted) -> Result<Response, Fault> {
    let visit = &posted.visit;
    let (blank, work) = recorded_blank(visit).await?;
    may(visit, Act::CorrectRecord, super::owner(&visit.web, &work.item).await?.as_deref())?;
    let by = &posted.signed()?.who.person.key;
    let cells = [("void", "yes")];
    let correction = crate::desk::Correction {
        file: "work",
        key: &work.key,
        cells: &cells,
        by,
        reason: "undone on its page",
    };
    let to = format!("/recorded/{}", encoded(&work.key, false));
    if work.void {
        return Ok(crate::web::posted::see(&to));
    }
    match visit.web.desk.correct(&correction).await {
        Ok(_) => Ok(crate::web::posted::see(&to)),
        Err(error) => blank.refused(error)?.page(visit),
    }
}
