//! Who may correct what the register says of an item.

use policies::assess::asks_attribute;
use policies::load::PolicySet;

use super::{is_engineer, is_of, refused};
use crate::desk::DeskError;
use crate::records::Person;

/// Columns that say what gear bears or what it suits, whatever its kind.
const BEARS: [&str; 8] = [
    "kind",
    "wll_t",
    "swl_t",
    "minimum_breaking_force_kN",
    "termination_factor",
    "rated_pull_kN",
    "wire_diameter_mm",
    "construction",
];

/// Whether a column decides if gear is fit, what it may bear, or which rules are for it.
fn is_decisive(set: &PolicySet, kind: &str, column: &str) -> bool {
    let declared = set.kinds.find(kind);
    let proof = declared.and_then(|id| set.kinds.kind(id).proof.as_ref());
    let ruled = declared.is_some_and(|id| {
        let own = set.rules.iter().filter(|rule| rule.applies_to.kind == id);
        own.flat_map(|rule| &rule.applies_to.conditions).any(|condition| condition.column == column)
    });
    BEARS.contains(&column)
        || asks_attribute(kind, column)
        || proof.is_some_and(|proof| proof.load == column)
        || ruled
}

/// Whether somebody may change these columns of an item of a kind that a station owns.
///
/// # Errors
/// Their role is another, the gear another station's, or the column an engineer's to change.
pub(crate) fn may_set(
    set: &PolicySet,
    person: &Person,
    (tag, kind): (&str, &str),
    station: Option<&str>,
    columns: &[&str],
) -> Result<(), DeskError> {
    if is_engineer(person) {
        return Ok(());
    }
    let by = &person.key;
    if !matches!(person.role.as_str(), "mechanic" | "clerk") || !is_of(person, station) {
        let at = station.unwrap_or("the stores");
        return refused(format!(
            "{by} is {}; what the register says of {tag} is corrected by a mechanic of {at}, a clerk, an engineer or \
             the head",
            person.role
        ));
    }
    match columns.iter().find(|column| is_decisive(set, kind, column)) {
        None => Ok(()),
        Some(column) => refused(format!(
            "{column} of {tag} decides whether it is fit, what it may bear, or which rules are for it; {by} is {}, and \
             an engineer or the head changes it",
            person.role
        )),
    }
}
