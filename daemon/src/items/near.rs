//! Tags that a mistyped one may stand for.

use std::collections::BTreeSet;

use crate::store::current::Register;

/// Tags at a station, owned or fitted there, that differ in one letter or in two that changed places.
pub(super) fn tags(register: &Register, tag: &str, station: Option<&str>) -> Vec<String> {
    let Some(station) = station else { return Vec::new() };
    let of = |tag: &str| register.items.get(tag).and_then(|item| item.station.as_deref());
    let owned = register.items.values().filter(|item| item.station.as_deref() == Some(station));
    let stays = register.fittings.values().filter(|row| !row.void && row.removed_at.is_none());
    let fitted = stays.filter(|row| of(&row.host) == Some(station)).map(|row| &row.item);
    let here: BTreeSet<&String> = owned.map(|item| &item.key).chain(fitted).collect();
    here.into_iter().filter(|have| is_near(have, tag)).cloned().collect()
}

fn is_near(one: &str, other: &str) -> bool {
    let (one, other): (Vec<char>, Vec<char>) = (one.chars().collect(), other.chars().collect());
    let front = one.iter().zip(&other).take_while(|(a, b)| a == b).count();
    let (one, other) = (&one[front..], &other[front..]);
    let back = one.iter().rev().zip(other.iter().rev()).take_while(|(a, b)| a == b).count();
    match (&one[..one.len() - back], &other[..other.len() - back]) {
        ([_] | [], [_] | []) => true,
        ([a, b], [c, d]) => (a, b) == (d, c),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::is_near;

    #[test]
    fn one_letter_or_two_that_changed_places_are_near() {
        for near in ["F-0417", "F-0147", "F-417", "F-04117", "G-0417", "F-0471", "F-041"] {
            assert!(is_near("F-0417", near), "{near}");
        }
        for far in ["F-0174", "F-1047x", "F-7410", "F-4", "", "F-0533"] {
            assert!(!is_near("F-0417", far), "{far}");
        }
        assert!(is_near("aa", "aaa") && is_near("aba", "aa") && is_near("", "x"));
    }
}
