//! Who a person is, and what they may do here: the one answer for every command that writes records down.

mod correct;
mod hands;
mod item;

pub(crate) use correct::{Corrected, Corrector};
pub(crate) use hands::may_handle;
pub(crate) use item::may_set;

use policies::rule::{Authority, Rule};

use crate::desk::DeskError;
use crate::examine::competence::{self, COMPETENT};
use crate::records::Person;
use crate::store::current::Newest;

/// Who may say what happened at a station.
const HANDS: [&str; 3] = ["mechanic", "engineer", "head"];
/// How many people a refusal names who would be right.
const MOST_NAMED: usize = 3;

fn refused<T>(text: impl Into<String>) -> Result<T, DeskError> {
    Err(DeskError::Refused(text.into()))
}

/// The person of that address.
///
/// # Errors
/// Nobody has it.
pub fn known<'p>(people: &'p Newest<Person>, by: &str) -> Result<&'p Person, DeskError> {
    let person = people.get(by).filter(|person| !person.void);
    person.map_or_else(
        || refused(format!("\"{by}\" is nobody in people.csv; add them, or correct the address")),
        Ok,
    )
}

/// Whether somebody answers for the gear as an engineer or the head.
pub fn is_engineer(person: &Person) -> bool {
    matches!(person.role.as_str(), "engineer" | "head")
}

/// The engineer or head of that address; `does` says what only they do.
///
/// # Errors
/// Nobody has the address, or their role is another.
pub fn engineer<'p>(people: &'p Newest<Person>, by: &str, does: &str) -> Result<&'p Person, DeskError> {
    let person = known(people, by)?;
    if is_engineer(person) {
        return Ok(person);
    }
    refused(format!("{by} is {}; an engineer or the head {does}", person.role))
}

/// The competent person of that address; `does` says what only they do.
///
/// # Errors
/// Nobody has the address, or they do not hold the competence.
pub fn competent<'p>(people: &'p Newest<Person>, by: &str, does: &str) -> Result<&'p Person, DeskError> {
    let person = known(people, by)?;
    if competence::holds(person, COMPETENT) {
        return Ok(person);
    }
    refused(format!("{by} holds no competence \"{COMPETENT}\"; only such a person {does}"))
}

/// Whether somebody may write down work under this name: their own, or another's where that is their task.
///
/// # Errors
/// The name is another person's.
pub fn may_name(me: &Person, by: &str) -> Result<(), DeskError> {
    if me.key == by || is_engineer(me) || me.role == "clerk" {
        return Ok(());
    }
    refused(format!(
        "{} does not record work of {by}; an engineer or a clerk writes down what others did",
        me.key
    ))
}

/// Whether work on a rule is a report that somebody signs, not a record that anybody writes.
pub fn is_signed(rule: &Rule, outcome: &str) -> bool {
    rule.work == policies::rule::Work::ThoroughExamination && outcome != "failed"
}

/// Whether somebody belongs to a station: to that one, or to the whole region.
pub fn is_of(person: &Person, station: Option<&str>) -> bool {
    person.station.is_none() || person.station.as_deref() == station
}

/// The station's mechanic, an engineer or the head; `does` says what they do, as in "settles a doubt".
///
/// # Errors
/// Nobody has the address, or they are somebody else.
pub fn of_station<'p>(
    people: &'p Newest<Person>,
    by: &str,
    station: Option<&str>,
    does: &str,
) -> Result<&'p Person, DeskError> {
    let person = known(people, by)?;
    if is_of(person, station) && HANDS.contains(&&*person.role) {
        return Ok(person);
    }
    let of = person.station.as_ref().map(|slug| format!(" of {slug}")).unwrap_or_default();
    let at = station.unwrap_or("the stores");
    refused(format!("{by} is {}{of}; for {at} its mechanic, an engineer or the head {does}", person.role))
}

/// Whether work on a rule must name somebody who holds its competence: what the law asks, and whatever is no
/// mechanic's daily work.
pub fn asks_competence(rule: &Rule) -> bool {
    rule.authority == Authority::Law || rule.by.as_deref().is_some_and(|by| by != "station mechanic")
}

/// Whether somebody may record work on a rule; `owner` is the station of the gear. A failure is taken from anybody:
/// what was found unfit is set aside whoever found it.
///
/// # Errors
/// Nobody is named where somebody must be, they are nobody, or their competence does not fit.
pub fn does_work(
    people: &Newest<Person>,
    by: Option<&str>,
    rule: &Rule,
    owner: Option<&str>,
    failed: bool,
) -> Result<(), DeskError> {
    let person = by.map(|by| known(people, by)).transpose()?;
    if failed || !asks_competence(rule) {
        return Ok(());
    }
    let wanted = rule.by.as_deref().unwrap_or("station mechanic");
    let why = match person {
        None => format!("{} is done by a {wanted}; name who did it with --by", rule.id),
        Some(person) => match competence::fits(person, rule.by.as_deref(), owner) {
            Ok(()) => return Ok(()),
            Err(why) => why,
        },
    };
    let right = fitting(people, rule.by.as_deref(), owner);
    let right = if right.is_empty() {
        format!("; nobody in people.csv is a {wanted} yet")
    } else {
        format!("; it would be right by {}", right.join(" or "))
    };
    refused(format!("{why}{right}. Nothing was recorded, and {} stays open", rule.id))
}

/// Addresses of people whose competence fits, those of the station first.
fn fitting<'p>(people: &'p Newest<Person>, by: Option<&str>, owner: Option<&str>) -> Vec<&'p str> {
    let fits = |person: &&Person| !person.void && competence::fits(person, by, owner).is_ok();
    let mut found: Vec<&Person> = people.values().filter(fits).collect();
    found.sort_by_key(|person| (person.station.as_deref() != owner, &person.key));
    found.into_iter().take(MOST_NAMED).map(|person| person.key.as_str()).collect()
}

#[cfg(test)]
mod tests;
