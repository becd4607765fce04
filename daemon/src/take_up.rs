//! A policy set taken up: rehearsed against the one it would replace, approved by name, and kept as a record.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use policies::due::{DueRow, Evaluator};
use policies::load::{PolicyFile, PolicySet};
use policies::loosened::loosened;
use policies::rule::Effect;
use policies::standing::Standing;
use policies::zone::Instant;

use crate::compare::{Beside, Compared, Move, Side, compare};
use crate::desk::DeskError;
use crate::due_list::Line;
use crate::in_force::{When, chosen, packed};
use crate::policy_set::{self, PolicyError};
use crate::records::{Person, TakenUp};
use crate::store::write::Deed;
use crate::store::{Store, StoreError, Writer};

/// More dates than this that stop a launch later want a second word (house).
pub const MOST_LATER: usize = 10;
/// So does a greater part of all of them, in hundredths (house).
pub const MOST_PERCENT: usize = 5;
/// Days that gear is given before a rule finds it overdue (house).
pub const RUN_IN_DAYS: i32 = 14;

/// Who may take a set up, or agree to it.
const ROLES: [&str; 2] = ["engineer", "head"];

/// What is asked for.
#[derive(Clone, Debug, Default)]
pub struct Request {
    /// Files of the set.
    pub files: Vec<PolicyFile>,
    /// Address of who takes it up.
    pub by: String,
    /// Address of who agrees.
    pub second: Option<String>,
    /// Why.
    pub reason: Option<String>,
    /// A matter of safety: no run-in.
    pub safety: bool,
    /// Hash of the set that it was made from, where that is known: it replaces that one and no other.
    pub base: Option<String>,
    /// The name of the request for a second word that is answered, which is used up with it.
    pub answers: Option<String>,
}

/// Why a set cannot be taken up at all.
#[derive(Debug, thiserror::Error)]
pub enum TakeUpError {
    /// The set has faults.
    #[error(transparent)]
    Policy(#[from] PolicyError),
    /// The request cannot be right.
    #[error("{0}")]
    Refused(String),
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The records could not be read.
    #[error(transparent)]
    Desk(#[from] DeskError),
    /// The set in force could not be read.
    #[error(transparent)]
    Other(#[from] anyhow::Error),
}

/// A set rehearsed, and what stands against taking it up.
#[derive(Debug)]
pub struct Rehearsed {
    /// The set it would replace.
    pub old: PolicySet,
    /// The set.
    pub new: PolicySet,
    /// From when it would be in force.
    pub effective_from: Date,
    /// What moves.
    pub compared: Compared,
    /// Rows that would be overdue at once: station, item and rule.
    pub overdue_at_once: Vec<(String, String, String)>,
    /// What stands against it; nothing: it may be taken up.
    pub objections: Vec<String>,
    /// Whether it takes two people, and only one is named.
    pub wants_second: bool,
    /// The first day that would not be too early, where its own is: one of the objections.
    pub run_in: Option<Date>,
    /// The sets that were taken up before.
    known: BTreeSet<String>,
}

/// Rehearses a set as of today, against the one that would be in force on its day.
///
/// # Errors
/// A broken set, one without its day or with a day gone by, a person who may not, or the store's failure.
pub async fn rehearse(store: &Store, request: &Request, now: Instant) -> Result<Rehearsed, TakeUpError> {
    let new = policy_set::check(&request.files)?;
    let today = new.service.home_zone.date_of(now);
    let effective_from = day_of(&new, today)?;
    people(store, request).await?;
    let known: BTreeSet<String> = store.approvals(None).await?.into_iter().map(|kept| kept.key).collect();
    if known.contains(&key(&new, effective_from)) {
        return Err(already(effective_from));
    }
    let old = chosen(store, None, When::On(effective_from)).await?;
    if request.base.as_ref().is_some_and(|base| *base != old.hash) {
        return Err(TakeUpError::Refused(
            "on that day another set is in force than the one that this was made from, and taking this up would undo it; \
             open the rules again, and change that one"
                .to_owned(),
        ));
    }
    let (before, after) = (store.fleet(&old, None).await?.fleet, store.fleet(&new, None).await?.fleet);
    let sides = [Side { set: &old, fleet: &before }, Side { set: &new, fleet: &after }];
    let beside = Beside::of(store).await?;
    let compared = compare(&sides[0], &sides[1], &beside, today, effective_from);
    let overdue_at_once = overdue_at_once(&sides[0], &sides[1], effective_from);
    let mut objections = Vec::new();
    objections.extend(wants_second(&compared).filter(|_| request.second.is_none()));
    let limits = loosened(&old.service, &new.service);
    if !limits.is_empty() && request.second.is_none() {
        objections.push(loosened_word(&limits));
    }
    let wants_second = !objections.is_empty();
    let run_in = today.checked_add(jiff::Span::new().days(RUN_IN_DAYS)).unwrap_or(Date::MAX);
    let too_early = !overdue_at_once.is_empty() && effective_from < run_in && !request.safety;
    if too_early {
        objections.push(format!(
            "{} row(s) would be overdue at once: give them {RUN_IN_DAYS} days (house), so effective_from = \
             \"{run_in}\" or later, or say --safety",
            overdue_at_once.len()
        ));
    }
    let run_in = too_early.then_some(run_in);
    Ok(Rehearsed {
        old,
        new,
        effective_from,
        compared,
        overdue_at_once,
        objections,
        wants_second,
        run_in,
        known,
    })
}

fn key(set: &PolicySet, from: Date) -> String {
    format!("{} {from}", set.hash)
}

fn already(from: Date) -> TakeUpError {
    TakeUpError::Refused(format!("this set was taken up for {from} already"))
}

fn day_of(set: &PolicySet, today: Date) -> Result<Date, TakeUpError> {
    let refused = |text: String| Err(TakeUpError::Refused(text));
    match set.service.effective_from {
        None => refused(format!(
            "the set does not say from when it is to be in force; add effective_from = \"{today}\" or later to service.toml"
        )),
        Some(from) if from < today => refused(format!(
            "effective_from = \"{from}\" has gone by; no rule is changed for days gone by: give {today} or later"
        )),
        Some(from) => Ok(from),
    }
}

/// Both names are of engineers or heads of the register, and of two people.
async fn people(store: &Store, request: &Request) -> Result<(), TakeUpError> {
    let people = store.newest::<Person>().await?;
    for address in [Some(&request.by), request.second.as_ref()].into_iter().flatten() {
        let role = people.get(address).filter(|person| !person.void).map(|person| person.role.as_str());
        if !role.is_some_and(|role| ROLES.contains(&role)) {
            let found = role.map_or("is not in people.csv".to_owned(), |role| format!("is {role}"));
            return Err(TakeUpError::Refused(format!(
                "{address} {found}; an engineer or the head of engineering takes a set up"
            )));
        }
    }
    if request.second.as_deref() == Some(&request.by) {
        return Err(TakeUpError::Refused("the second word is another person's; give --second".to_owned()));
    }
    Ok(())
}

/// Why a second person must agree; nothing where one is enough.
pub fn wants_second(compared: &Compared) -> Option<String> {
    let rows = |counts: fn(&Move) -> bool| {
        let moved = || compared.moves.iter().filter(|one| counts(one));
        // A clause that is loosened bears on every row of its rule, also where another clause still comes first.
        let whole: BTreeMap<&str, usize> =
            moved().filter(|one| one.item.is_empty()).map(|one| (&*one.rule, one.rows)).collect();
        let single = moved().filter(|one| !whole.contains_key(&*one.rule));
        let single = single.map(|one| (&one.item, &one.rule)).collect::<BTreeSet<_>>().len();
        single + whole.values().sum::<usize>()
    };
    let (later, law) = (rows(|one| one.later), rows(|one| one.law_later));
    second_word(later, compared.stopping, law)
}

/// Why limits of the service that are loosened want a second person.
pub fn loosened_word(limits: &[String]) -> String {
    format!(
        "service.toml asks less than before ({}); another engineer or the head must agree: --second",
        limits.join("; ")
    )
}

fn second_word(later: usize, stopping: usize, law: usize) -> Option<String> {
    let many = later > MOST_LATER || later * 100 > stopping * MOST_PERCENT;
    if !many && law == 0 {
        return None;
    }
    Some(format!(
        "{later} of {stopping} dates that stop a launch move later or go, {law} of a rule that stands on law; beyond \
         {MOST_LATER}, beyond {MOST_PERCENT} % (house), or with any of law, another engineer or the head must agree: --second"
    ))
}

/// What the new set alone finds overdue, or used up or held where that limits a launch, on its first day.
fn overdue_at_once(old: &Side, new: &Side, from: Date) -> Vec<(String, String, String)> {
    let overdue = |side: &Side| {
        let table = Evaluator::without_forecasts(side.set, side.fleet, from).table();
        let rows = table.into_iter().filter(|row| is_overdue(side.set, row));
        let lines = rows.map(|row| Line::of(side.set, side.fleet, &row));
        lines.map(|line| (line.station, line.item, line.rule)).collect::<BTreeSet<_>>()
    };
    overdue(new).difference(&overdue(old)).cloned().collect()
}

fn is_overdue(set: &PolicySet, row: &DueRow) -> bool {
    let bites = set.rule(row.rule).overdue != Effect::Advisory && Evaluator::bites(row);
    row.standing == Standing::Overdue || bites
}

/// Keeps a rehearsed set as a record.
///
/// # Errors
/// Something stands against it, it was taken up for that day already, or the store fails.
pub async fn keep(
    store: &Store,
    request: &Request,
    rehearsed: &Rehearsed,
    now: Instant,
) -> Result<(), TakeUpError> {
    if !rehearsed.objections.is_empty() {
        return Err(TakeUpError::Refused(rehearsed.objections.join("; ")));
    }
    let (hash, from) = (&rehearsed.new.hash, rehearsed.effective_from);
    let record = TakenUp {
        key: key(&rehearsed.new, from),
        void: false,
        hash: hash.clone(),
        files: packed(&request.files)?,
        effective_from: from.to_string(),
        by: request.by.clone(),
        second: request.second.clone(),
        reason: request.reason.clone(),
        safety: request.safety,
    };
    let deed = Deed { actor: request.by.clone(), action: "policy take-up".to_owned(), at: now };
    store
        .write(deed, async |tx: &mut Writer| {
            if tx.current::<TakenUp>(&record.key).await?.is_some() {
                return Err(already(from));
            }
            let kept = tx.newest::<TakenUp>().await?;
            let kept: BTreeSet<String> =
                kept.into_values().filter(|kept| !kept.void).map(|kept| kept.key).collect();
            if kept != rehearsed.known {
                return Err(TakeUpError::Refused(
                    "another set was taken up in this moment; look once more at what moves".to_owned(),
                ));
            }
            if let Some(name) = &request.answers {
                if tx.remembered(name).await?.is_none() {
                    return Err(TakeUpError::Refused("the request was answered already".to_owned()));
                }
                tx.forget(name).await?;
            }
            Ok(tx.append_new(std::slice::from_ref(&record)).await?)
        })
        .await
}

#[cfg(test)]
mod tests;
