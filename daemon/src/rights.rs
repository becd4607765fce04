//! Who may do or read what, whatever way they came. It builds on `people`, which answers for a record at hand: what is
//! refused here is refused before the record is looked at, and what is allowed here the desk may still refuse.

mod act;
#[cfg(test)]
mod tests;

pub use act::{ACTS, Act};

use crate::examine::competence::{COMPETENT, holds};
use crate::people;
use crate::records::Person;

/// Somebody who is in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Who {
    /// Their record in the register: role, station, competence.
    pub person: Person,
    /// Whether a second factor is enrolled.
    pub second_factor: bool,
}

/// Where something is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place<'p> {
    /// Not at any one station, or not known yet: the person's own.
    Own,
    /// Gear of a station; of central stores where none is named.
    Of(Option<&'p str>),
}

/// Why somebody may not do something.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{wrong} {right}")]
pub struct Refusal {
    /// What is wrong.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

/// Whom an act is open to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Open {
    /// Everybody who is in.
    All,
    /// Everybody but an outside test house.
    House,
    /// Engineers and the head, and at their own station whoever has one of these roles.
    Hands(&'static [&'static str]),
    /// The same, and whoever holds the competence.
    HandsOrCompetent(&'static [&'static str]),
    /// Whoever holds the competence.
    Competent,
    /// Engineers and the head.
    Engineers,
    /// The same, and whoever has this role.
    EngineersOr(&'static str),
}

/// Whether somebody may do something there.
///
/// # Errors
/// What is wrong, and who may.
pub fn may(who: &Who, act: Act, place: Place) -> Result<(), Refusal> {
    let person = &who.person;
    let open = open_to(act);
    if !is_open(person, open, place) {
        return Err(refusal(person, act, open, place));
    }
    if act.is_signed() && !who.second_factor {
        return Err(Refusal {
            wrong: format!("{} has no second factor, and to {} is to sign.", person.key, act.says()),
            right: "Enrol one under /account, with any authenticator, and try again.".to_owned(),
        });
    }
    Ok(())
}

fn open_to(act: Act) -> Open {
    match act {
        Act::ViewItem | Act::ViewRules | Act::ViewMail | Act::OwnAccount | Act::RecordFailedWork => Open::All,
        Act::ViewRegion | Act::ViewStation => Open::House,
        Act::LogUse | Act::SettleDoubt | Act::TurnItem => Open::Hands(&["mechanic"]),
        Act::RecordWork | Act::DraftExamination | Act::AddCertificate => {
            Open::HandsOrCompetent(&["mechanic", "clerk", "test house"])
        }
        Act::FitItem | Act::CorrectRecord | Act::SetAside => Open::Hands(&["mechanic", "clerk"]),
        Act::SignExamination => Open::HandsOrCompetent(&["mechanic", "test house"]),
        Act::ClearDefect => Open::Competent,
        Act::ClearHold => Open::HandsOrCompetent(&["mechanic"]),
        Act::CutItem
        | Act::CropItem
        | Act::EnterItem
        | Act::Import
        | Act::ViewStores
        | Act::MoveStock
        | Act::RaiseOrder
        | Act::Export => Open::EngineersOr("clerk"),
        Act::ReleaseGear
        | Act::ReleaseAfterFailedTest
        | Act::SaySecondWord
        | Act::GrantConcession
        | Act::AcknowledgeCorrection
        | Act::AgreeLoan
        | Act::SignOrder
        | Act::RehearsePolicy
        | Act::TakeUpPolicy
        | Act::KeepPeople
        | Act::KeepTokens => Open::Engineers,
    }
}

fn is_open(person: &Person, open: Open, place: Place) -> bool {
    let role = person.role.as_str();
    let here = match place {
        Place::Own => true,
        // A clerk's gear is that of the stores.
        Place::Of(station) => people::is_of(person, station) && (role != "clerk" || station.is_none()),
    };
    let hands = |roles: &[&str]| people::is_engineer(person) || (roles.contains(&role) && here);
    match open {
        Open::All => true,
        Open::House => role != "test house",
        Open::Hands(roles) => hands(roles),
        Open::HandsOrCompetent(roles) => hands(roles) || (holds(person, COMPETENT) && here),
        Open::Competent => holds(person, COMPETENT),
        Open::Engineers => people::is_engineer(person),
        Open::EngineersOr(other) => people::is_engineer(person) || role == other,
    }
}

fn refusal(person: &Person, act: Act, open: Open, place: Place) -> Refusal {
    let of = person.station.as_ref().map(|slug| format!(" of {slug}")).unwrap_or_default();
    let at = match place {
        Place::Own => String::new(),
        Place::Of(station) => format!(" for {}", station.unwrap_or("central stores")),
    };
    let right = match open {
        Open::All => "Sign in again.".to_owned(),
        Open::House => "Look the gear up by its tag instead.".to_owned(),
        Open::Hands(roles) => {
            format!("It would be right by the station's {}, an engineer or the head.", roles.join(" or "))
        }
        Open::HandsOrCompetent(roles) => format!(
            "It would be right by the station's {}, a {COMPETENT}, an engineer or the head.",
            roles.join(", its ")
        ),
        Open::Competent => format!("It would be right by somebody who holds the competence \"{COMPETENT}\"."),
        Open::Engineers => "It would be right by an engineer or the head.".to_owned(),
        Open::EngineersOr(other) => format!("It would be right by a {other}, an engineer or the head."),
    };
    Refusal {
        wrong: format!("{} is {}{of}, and may not {}{at}.", person.key, person.role, act.says()),
        right,
    }
}
