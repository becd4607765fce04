//! A policy set: every `[[kind]]` and `[[rule]]` of its files, and the home zone.

use super::kinds::Kind;
use super::moments;
use super::rules::Rule;
use super::toml_cells as cells;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;

pub struct Policy {
    pub kinds: Vec<Kind>,
    pub rules: Vec<Rule>,
    pub home: TimeZone,
}

impl Policy {
    pub fn read(files: &BTreeMap<String, String>) -> Result<Policy, String> {
        let mut policy = Policy { kinds: Vec::new(), rules: Vec::new(), home: TimeZone::UTC };
        for (name, text) in files {
            let table: toml::Table = text.parse().map_err(|e| format!("{name}: {e}"))?;
            for kind in cells::tables(&table, "kind") {
                policy.kinds.push(Kind::read(kind).map_err(|e| format!("{name}: {e}"))?);
            }
            for rule in cells::tables(&table, "rule") {
                policy.rules.push(Rule::read(rule).map_err(|e| format!("{name}: {e}"))?);
            }
            if let Some(home) = cells::text(&table, "home_zone") {
                policy.home = moments::zone(&home)?;
            }
        }
        policy.readings_are_known()?;
        Ok(policy)
    }

    /// A condition speaks of a reading that work on its rule may carry, on gear of the same kind.
    fn readings_are_known(&self) -> Result<(), String> {
        for rule in &self.rules {
            for when in rule.conditions() {
                let of = when.of.as_deref().unwrap_or(&rule.id);
                let of = self.rule(of).ok_or_else(|| format!("{}: no rule {of:?}", rule.id))?;
                if of.kind() != rule.kind() || !of.records.contains(&when.reading) {
                    return Err(format!("{}: {} records no {:?}", rule.id, of.id, when.reading));
                }
            }
        }
        Ok(())
    }

    pub fn kind(&self, name: &str) -> Result<&Kind, String> {
        let found = self.kinds.iter().find(|kind| kind.name == name);
        found.ok_or_else(|| format!("kind {name:?} is not declared"))
    }

    /// Work on a rule that the set no longer has counts for nothing.
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rules.iter().find(|rule| rule.id == id)
    }
}
