//! The before-use card, tapped: one press says that all that a line looks at is in order.

use axum::http::StatusCode;
use axum::response::Response;
use policies::facts::ItemId;
use policies::rule::Rule;
use policies::zone::Instant;

use super::doing::Doing;
use super::fault_found::NOTED;
use super::may;
use super::once::Once;
use crate::desk::DeskError;
use crate::records::Work;
use crate::rights::Act;
use crate::web::fault::Fault;
use crate::web::links::encoded;
use crate::web::place::View;
use crate::web::posted::Posted;
use crate::web::visit::Visit;
use crate::web::words;

/// A look of the last hours still stands on the card.
const STANDS: i64 = 12 * 60 * 60 * 1_000_000;
/// Gear of one line at most.
const MOST: usize = 40;

/// What a line of the card is tapped with.
#[derive(Clone, Debug, Default)]
pub(in crate::web) struct Tap {
    /// Where it stands on the card.
    pub(in crate::web) place: String,
    pub(in crate::web) rule: String,
    pub(in crate::web) tags: Vec<String>,
    /// `in order 07:00 by …`, where it was tapped already.
    pub(in crate::web) done: String,
    /// A key of its own for each press.
    pub(in crate::web) key: String,
    /// Where a fault found on each thing is told, by tag.
    pub(in crate::web) faults: Vec<(String, String)>,
}

/// What a line is tapped with, and whether it was lately.
pub(in crate::web) fn taps(view: &View, rule: &Rule, items: &[ItemId], works: &[Work], now: Instant) -> Tap {
    let tags: Vec<String> = items.iter().map(|id| view.tag(*id).to_owned()).collect();
    let lately = |tag: &String| {
        let sound = |work: &&Work| {
            work.outcome != "failed" && !work.note.as_deref().is_some_and(|note| note.starts_with(NOTED))
        };
        let own = works.iter().filter(|work| work.item == *tag && work.rule == rule.id).filter(sound);
        own.map(|work| (work.at, work.by.clone())).filter(|(at, _)| *at > now.0 - STANDS).max()
    };
    let looked: Vec<_> = tags.iter().map(lately).collect();
    let done = looked.into_iter().collect::<Option<Vec<_>>>().and_then(|all| all.into_iter().min());
    let zone = items.first().map(|id| view.zone(*id));
    let said = done.zip(zone).map(|((at, by), zone)| {
        let by = by.map(|by| format!(" by {by}")).unwrap_or_default();
        format!("in order {}{by}", words::clock(zone, Instant(at)))
    });
    let fault =
        |tag: &String| (tag.clone(), format!("/fault/{}/{}", encoded(tag, true), encoded(&rule.id, false)));
    Tap {
        place: place(&rule.id, tags.first().map_or("", String::as_str)),
        rule: rule.id.clone(),
        faults: tags.iter().map(fault).collect(),
        tags,
        done: said.unwrap_or_default(),
        key: String::new(),
    }
}

/// What a line is called, so that a press comes back to it.
fn place(rule: &str, tag: &str) -> String {
    format!("{rule}-{tag}").replace(|c: char| !c.is_ascii_alphanumeric(), "-")
}

/// Records the look at everything of a line.
///
/// # Errors
/// Gear of another station, a rule that looks at nothing, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let once = Once::of(&visit.web.desk, form).await?;
    let unfit = |wrong: String| {
        Fault::form(StatusCode::UNPROCESSABLE_ENTITY, wrong, "Open the card again. Nothing was recorded.")
    };
    let set = &visit.web.desk.set;
    let rule = set.find_rule(form.field("rule")).map(|id| set.rule(id)).filter(|rule| rule.before_use);
    let Some(rule) = rule else { return Err(unfit("The form names no look of the card.".to_owned())) };
    let tags: Vec<&str> = form.every("item").take(MOST).collect();
    if tags.is_empty() {
        return Err(unfit("The form names no gear.".to_owned()));
    }
    for tag in &tags {
        look(visit, rule, tag, &once).await?;
    }
    let slug = encoded(visit.name(), false);
    let place = place(&rule.id, tags[0]);
    once.done(&visit.web.desk, &format!("/station/{slug}/card#{}", encoded(&place, false))).await
}

async fn look(visit: &Visit, rule: &Rule, tag: &str, once: &Once) -> Result<(), Fault> {
    let web = &visit.web;
    let address = format!("{tag}/{}", rule.id);
    let task = super::Task::of(web, &address).await?;
    // On loan, it is looked at by who uses it.
    let place = if task.station.as_deref() == Some(visit.name()) {
        task.station.as_deref()
    } else {
        task.owner.as_deref()
    };
    let seen = may(visit, Act::RecordWork, place)?;
    let doing = Doing {
        key: format!("{} {tag} {}", once.key, rule.id),
        item: tag.to_owned(),
        rule: rule.id.clone(),
        at: once.moment(),
        outcome: "passed".to_owned(),
        by: seen.who.person.key.clone(),
        ..Doing::default()
    };
    let looked = doing.look_now(web).await?;
    let Some(work) = looked.work else {
        let text: Vec<String> = looked.faults.iter().map(|fault| fault.message.clone()).collect();
        return Err(Fault::of_desk(DeskError::Refused(text.join("; "))));
    };
    web.desk.record_work_by(work, &seen.who.person).await.map_err(Fault::of_desk)?;
    Ok(())
}
