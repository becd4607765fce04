//! Tags that were mistyped: which ones were meant.

/// Near tags offered at most.
const MOST: usize = 12;
/// Longest text compared: no tag is longer, and the work grows with the square.
const LONGEST: usize = 64;

/// Letters and digits only, capitals: what is left when a tag is keyed in a hurry.
pub(super) fn plain(text: &str) -> String {
    text.chars().filter(|letter| letter.is_alphanumeric()).flat_map(char::to_uppercase).collect()
}

/// The tags nearest to a text, the nearest first.
pub(super) fn nearest<'t>(text: &str, tags: impl Iterator<Item = &'t str>) -> Vec<&'t str> {
    let wanted: Vec<char> = plain(text).chars().take(LONGEST).collect();
    if wanted.is_empty() {
        return Vec::new();
    }
    // A slip or two, but never half of a short tag.
    let allowed = 2.min(wanted.len() / 3 + 1);
    let mut found: Vec<(usize, &str)> = tags
        .filter_map(|tag| {
            let have: Vec<char> = plain(tag).chars().take(LONGEST).collect();
            let slips = if have.starts_with(&wanted) { 0 } else { slips(&wanted, &have) };
            (slips <= allowed).then_some((slips, tag))
        })
        .collect();
    found.sort_unstable();
    found.truncate(MOST);
    found.into_iter().map(|(_, tag)| tag).collect()
}

/// Letters to change, add, leave out or swap with a neighbour.
fn slips(a: &[char], b: &[char]) -> usize {
    let mut before: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, left) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, right) in b.iter().enumerate() {
            let changed = last[j] + usize::from(left != right);
            let mut fewest = changed.min(last[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && *left == b[j - 1] && a[i - 1] == *right {
                fewest = fewest.min(before[j - 1] + 1);
            }
            row.push(fewest);
        }
        before = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    const TAGS: [&str; 6] = ["F-0417", "F-0471", "F-0416", "C-0417", "LC-2/07", "W-0502"];

    fn near(text: &str) -> Vec<&'static str> {
        nearest(text, TAGS.into_iter())
    }

    #[test]
    fn a_slip_finds_the_tag() {
        assert_eq!(near("f 0417")[0], "F-0417");
        assert_eq!(near("F-O417")[0], "F-0417");
        assert!(near("F-4017").contains(&"F-0417"));
        assert_eq!(near("lc207"), ["LC-2/07"]);
        assert!(near("XYZ-99999").is_empty());
        assert!(near("  ").is_empty());
    }

    #[test]
    fn slips_are_counted_as_the_hand_makes_them() {
        let count = |a: &str, b: &str| slips(&a.chars().collect::<Vec<_>>(), &b.chars().collect::<Vec<_>>());
        assert_eq!(count("F0417", "F0417"), 0);
        assert_eq!(count("F0471", "F0417"), 1);
        assert_eq!(count("F417", "F0417"), 1);
        assert_eq!(count("", "ABC"), 3);
        assert_eq!(count("ABC", "CAB"), 2);
    }
}
