//! Survey windows: a fixed series of dates with a window before each, held against the harmonised system of
//! survey and certification of ships, and the greatest interval of the law, which no history may stretch.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "survey_windows/harmonised.rs"]
mod harmonised;
#[path = "published_numbers/months.rs"]
mod months;
#[path = "survey_windows/statutory.rs"]
mod statutory;
#[path = "survey_windows/yearly.rs"]
mod yearly;

use policies::load::{PolicyFile, PolicySet, load};

/// A set of one kind, `gear`, and these rules.
fn policy_set(rules: &str) -> PolicySet {
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    let files = [file("kinds.toml", "[[kind]]\nname = \"gear\"\n"), file("rules.toml", rules)];
    load(&files).unwrap_or_else(|faults| {
        let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
        panic!("{}", told.join("\n"))
    })
}
