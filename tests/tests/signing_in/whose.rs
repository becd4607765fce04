//! Whose each act is, written down by hand from what the roles answer for: the mechanic's the gear of their own station,
//! the engineer's and the head's that of the region, the clerk's stores, their stock and their register; an outside test
//! house examines and tests wherever it is called to, and reads no more than the gear; a reader reads. The program's own
//! table is not asked.

use daemon::rights::Act;

/// Where something is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Where {
    /// At no place that the address names.
    Somewhere,
    /// With gear of Low Bay, to which the mechanic belongs.
    Own,
    /// With gear of Outer Bar.
    Elsewhere,
    /// With gear of the central stores.
    Stores,
}

type Roles = &'static [&'static str];

const ALL: Roles = &["head", "engineer", "mechanic", "clerk", "test house", "reader"];
const HOUSE: Roles = &["head", "engineer", "mechanic", "clerk", "reader"];
const ENGINEERS: Roles = &["head", "engineer"];

/// Roles that an act is open to there.
pub fn whose(act: Act, at: Where) -> Roles {
    let by_place = |somewhere: Roles, own: Roles, elsewhere: Roles, stores: Roles| match at {
        Where::Somewhere => somewhere,
        Where::Own => own,
        Where::Elsewhere => elsewhere,
        Where::Stores => stores,
    };
    match act {
        Act::ViewItem | Act::ViewRules | Act::ViewMail | Act::OwnAccount | Act::RecordFailedWork => ALL,
        Act::ViewRegion | Act::ViewStation => HOUSE,
        Act::LogUse | Act::SettleDoubt | Act::TurnItem => {
            let hands: Roles = &["head", "engineer", "mechanic"];
            by_place(hands, hands, ENGINEERS, ENGINEERS)
        }
        Act::FitItem | Act::SetAside | Act::CorrectRecord => by_place(
            &["head", "engineer", "mechanic", "clerk"],
            &["head", "engineer", "mechanic"],
            ENGINEERS,
            &["head", "engineer", "clerk"],
        ),
        Act::RecordWork | Act::DraftExamination | Act::AddCertificate => by_place(
            &["head", "engineer", "mechanic", "clerk", "test house"],
            &["head", "engineer", "mechanic", "test house"],
            &["head", "engineer", "test house"],
            &["head", "engineer", "clerk", "test house"],
        ),
        Act::SignExamination | Act::ClearHold => by_place(
            &["head", "engineer", "mechanic", "test house"],
            &["head", "engineer", "mechanic", "test house"],
            &["head", "engineer", "test house"],
            &["head", "engineer", "test house"],
        ),
        // Whoever holds the competence, whatever their role: of those asked as here, the competent test house.
        Act::ClearDefect => &["test house"],
        Act::ViewStores
        | Act::MoveStock
        | Act::RaiseOrder
        | Act::CutItem
        | Act::CropItem
        | Act::EnterItem
        | Act::Import
        | Act::Export => &["head", "engineer", "clerk"],
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
        | Act::KeepTokens => ENGINEERS,
    }
}

/// What is done under a signature: by nobody without a second factor.
pub fn is_signed(act: Act) -> bool {
    matches!(
        act,
        Act::SignExamination
            | Act::SignOrder
            | Act::SaySecondWord
            | Act::ReleaseAfterFailedTest
            | Act::TakeUpPolicy
    )
}
