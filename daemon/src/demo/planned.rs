//! The change of rules that the demo's service plans for 1 November 2026 (invented): winch wires measured more
//! often, stoppers renewed sooner, and hauling chains, in which no crack was found in three years, tested less often.

use policies::load::{PolicyFile, SERVICE_FILE};

/// Folder of the planned set, beside `policies`.
pub const FOLDER: &str = "policies-2026-11-01";

/// Texts of one rule, as they stand and as they are planned.
struct Change {
    file: &'static str,
    rule: &'static str,
    texts: &'static [(&'static str, &'static str)],
}

const CHANGES: [Change; 3] = [
    Change {
        file: "winch-wires.toml",
        rule: "winch-wire-measurement",
        texts: &[
            ("every = \"1 month\"", "every = \"21 days\""),
            ("\"common practice\"", "\"house\""),
            ("interval: common practice", "21 days is a house figure"),
        ],
    },
    Change {
        file: "chains.toml",
        rule: "stopper-renewal",
        texts: &[("every = 800, early = 60", "every = 700, early = 60")],
    },
    Change {
        file: "chains.toml",
        rule: "hauling-chain-magnetic-particle-test",
        texts: &[("every = \"24 months\"", "every = \"30 months\""), ("24 months is", "30 months is")],
    },
];

/// Files of the planned set: those in force, with the change laid over them.
pub fn files() -> Vec<PolicyFile> {
    let mut files = super::policy_files();
    for file in &mut files {
        for change in CHANGES.iter().filter(|change| change.file == file.name) {
            file.text = change.lay_over(&file.text);
        }
        if file.name == SERVICE_FILE {
            file.text = file.text.replacen("home_zone ", "effective_from = \"2026-11-01\"\nhome_zone ", 1);
        }
    }
    files
}

impl Change {
    /// The text with the first place after the rule's name changed.
    fn lay_over(&self, text: &str) -> String {
        let start = text.find(&format!("\"{}\"", self.rule)).unwrap_or(text.len());
        let (before, rest) = text.split_at(start);
        let rest = self.texts.iter().fold(rest.to_owned(), |rest, (old, new)| rest.replacen(old, new, 1));
        before.to_owned() + &rest
    }
}

#[cfg(test)]
mod tests {
    use policies::load::PolicySet;

    use super::*;

    /// Every rule that differs, but for its line.
    fn apart(old: &PolicySet, new: &PolicySet) -> Vec<String> {
        let same = |a: &policies::rule::Rule, b: &policies::rule::Rule| {
            policies::rule::Rule { line: b.line, ..a.clone() } == *b
        };
        let pairs = old.rules.iter().zip(&new.rules);
        pairs.filter(|(a, b)| !same(a, b)).map(|(a, _)| a.id.clone()).collect()
    }

    #[test]
    fn three_rules_change_and_nothing_else() {
        let old = crate::policy_set::check(&super::super::policy_files()).unwrap();
        let new = crate::policy_set::check(&files()).unwrap();
        assert_eq!(old.rules.len(), new.rules.len());
        let changed = apart(&old, &new);
        assert_eq!(
            changed,
            ["stopper-renewal", "hauling-chain-magnetic-particle-test", "winch-wire-measurement"]
        );
        let rule = |id: &str| new.rule(new.find_rule(id).unwrap());
        let every = |id: &str| match rule(id).calendar[0].timing {
            policies::rule::Timing::Every(interval) => interval.every.to_string(),
            other => panic!("{id}: {other:?}"),
        };
        assert_eq!(every("winch-wire-measurement"), "21 days");
        assert_eq!(rule("winch-wire-measurement").authority.word(), "house");
        assert_eq!(rule("stopper-renewal").usage[0].every.to_string(), "700");
        assert_eq!(every("hauling-chain-magnetic-particle-test"), "30 months");
        assert_eq!(new.service.effective_from, "2026-11-01".parse().ok());
        let before = policies::service::Service { effective_from: None, ..new.service };
        assert_eq!(before, old.service);
    }
}
