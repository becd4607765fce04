//! Who may lay hands on gear: add, fit, remove, cut, split and lend it.

use super::{is_engineer, is_of, refused};
use crate::desk::DeskError;
use crate::records::Person;

/// Whether somebody may do something to gear. `stations` are those that own it, bear it or are to have it; central
/// stores are none. `does` says what is done, as in "fits F-0417".
///
/// # Errors
/// Their role is another, or the gear is another station's.
pub(crate) fn may_handle(person: &Person, stations: &[Option<&str>], does: &str) -> Result<(), DeskError> {
    let theirs = stations.iter().any(|station| is_of(person, *station));
    let stores = stations.contains(&None);
    let may = match person.role.as_str() {
        _ if is_engineer(person) => theirs,
        "mechanic" => theirs,
        "clerk" => theirs && stores,
        _ => false,
    };
    if may {
        return Ok(());
    }
    let of = person.station.as_ref().map(|slug| format!(" of {slug}")).unwrap_or_default();
    refused(format!(
        "{} is {}{of}; {}, an engineer or the head {does}",
        person.key,
        person.role,
        right(stations)
    ))
}

/// `a mechanic of bay or pier, a clerk`.
fn right(stations: &[Option<&str>]) -> String {
    let mut slugs: Vec<&str> = stations.iter().copied().flatten().collect();
    slugs.sort_unstable();
    slugs.dedup();
    let mechanic = (!slugs.is_empty()).then(|| format!("a mechanic of {}", slugs.join(" or ")));
    let clerk = stations.contains(&None).then(|| "a clerk of the stores".to_owned());
    mechanic.into_iter().chain(clerk).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Role and station of somebody, the stations of the gear, and whether it is theirs.
    type Case<'c> = (&'c str, Option<&'c str>, &'c [Option<&'c str>], bool);

    fn person(role: &str, station: Option<&str>) -> Person {
        Person {
            key: "somebody@service.example".to_owned(),
            role: role.to_owned(),
            station: station.map(str::to_owned),
            ..Person::default()
        }
    }

    #[test]
    fn each_handles_what_is_theirs() {
        let (bay, pier, stores) = (Some("bay"), Some("pier"), None);
        let cases: [Case; 12] = [
            ("mechanic", bay, &[bay], true),
            ("mechanic", bay, &[pier], false),
            ("mechanic", bay, &[stores], false),
            ("mechanic", bay, &[stores, bay], true),
            ("mechanic", None, &[pier], true),
            ("clerk", None, &[stores], true),
            ("clerk", None, &[bay], false),
            ("clerk", None, &[stores, bay], true),
            ("engineer", None, &[bay, pier], true),
            ("head", None, &[stores], true),
            ("reader", None, &[bay], false),
            ("test house", None, &[stores], false),
        ];
        for (role, of, stations, may) in cases {
            let judged = may_handle(&person(role, of), stations, "fits F-1");
            assert_eq!(judged.is_ok(), may, "{role} of {of:?} at {stations:?}");
        }
    }

    #[test]
    fn a_refusal_says_who_would_be_right() {
        let refused = may_handle(&person("clerk", None), &[Some("bay")], "fits F-1").unwrap_err();
        assert_eq!(
            refused.to_string(),
            "somebody@service.example is clerk; a mechanic of bay, an engineer or the head fits F-1"
        );
        let refused = may_handle(&person("mechanic", Some("bay")), &[None], "lends W-1").unwrap_err();
        assert!(refused.to_string().contains("mechanic of bay; a clerk of the stores, an engineer"));
    }
}
