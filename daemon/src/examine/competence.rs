//! Who may sign: the people of the register, by role and by the competence that is on record for them.

use crate::records::Person;

/// What a thorough examination and a decision against a criterion need.
pub const COMPETENT: &str = "competent person";

/// Roles, and the words of a rule's `by` that each may sign for without more.
const ROLES: [(&str, &[&str]); 5] = [
    ("test house", &["test house"]),
    ("clerk", &["stores clerk"]),
    ("mechanic", &["station mechanic", "beach crew"]),
    ("engineer", &["regional engineer"]),
    ("head", &["regional engineer"]),
];

/// Whether a person holds a competence on record: words that stand apart by `;`.
pub fn holds(person: &Person, word: &str) -> bool {
    let words = person.competence.as_deref().unwrap_or_default().split(';');
    words.map(str::trim).any(|have| have.eq_ignore_ascii_case(word))
}

/// Whether a person's role or competence fits what a rule asks for; `station` is the owner of the gear.
///
/// # Errors
/// Why it does not fit, and what would.
pub fn fits(person: &Person, by: Option<&str>, station: Option<&str>) -> Result<(), String> {
    let wanted = by.unwrap_or("station mechanic");
    if holds(person, wanted) {
        return Ok(());
    }
    let own = ROLES.iter().filter(|(role, _)| *role == person.role).flat_map(|(_, words)| *words);
    let by_role = own.copied().any(|word| word.eq_ignore_ascii_case(wanted));
    let here = person.station.is_none() || person.station.as_deref() == station;
    match (by_role, here) {
        (true, true) => Ok(()),
        (true, false) => Err(format!(
            "{} belongs to {}; a {wanted} of the gear's own station signs this",
            person.key,
            person.station.as_deref().unwrap_or_default()
        )),
        _ => {
            let have = person.competence.as_deref().map(|text| format!(" with competence \"{text}\""));
            Err(format!(
                "{} is {}{}; the rule asks for a {wanted}",
                person.key,
                person.role,
                have.unwrap_or_default()
            ))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(role: &str, competence: Option<&str>, station: Option<&str>) -> Person {
        Person {
            key: "somebody@service.example".to_owned(),
            role: role.to_owned(),
            competence: competence.map(str::to_owned),
            station: station.map(str::to_owned),
            ..Person::default()
        }
    }

    #[test]
    fn competence_on_record_or_the_role_decides() {
        let fit = |role, competence, by, station| {
            fits(&person(role, competence, station), Some(by), Some("bay")).is_ok()
        };
        assert!(fit("test house", None, "test house", None));
        assert!(!fit("test house", None, COMPETENT, None));
        assert!(fit("test house", Some("test house; Competent Person"), COMPETENT, None));
        assert!(!fit("mechanic", Some("incompetent person"), COMPETENT, Some("bay")));
        assert!(fit("mechanic", None, "beach crew", Some("bay")));
        assert!(!fit("mechanic", None, "station mechanic", Some("bar")));
        assert!(fit("head", None, "regional engineer", None));
        assert!(!fit("engineer", None, "station mechanic", None));
        assert!(!fit("clerk", None, "regional engineer", None));
        assert!(fits(&person("mechanic", None, None), None, Some("bay")).is_ok());
    }
}
