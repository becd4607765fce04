//! The policy set that ships with Tallow.

use crate::load::PolicyFile;

macro_rules! files {
    ($($name:literal),+ $(,)?) => {
        &[$(($name, include_str!(concat!("../sets/", $name)))),+]
    };
}

const FILES: &[(&str, &str)] = files![
    "blocks.toml",
    "carriages.toml",
    "chains.toml",
    "falls.toml",
    "hooks.toml",
    "kinds.toml",
    "service.toml",
    "shackles.toml",
    "station-sets.toml",
    "strops.toml",
    "tractors.toml",
    "winch-wires.toml",
    "winches.toml",
];

/// Its files, as a starting point for a service's own.
pub fn files() -> Vec<PolicyFile> {
    FILES
        .iter()
        .map(|(name, text)| PolicyFile { name: (*name).to_owned(), text: (*text).to_owned() })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_set_is_without_fault() {
        let set = crate::load::load(&files());
        let faults: Vec<String> = set.as_ref().err().into_iter().flatten().map(ToString::to_string).collect();
        assert_eq!(faults, Vec::<String>::new());
        assert!(set.unwrap().rules.len() > 100);
    }
}
