//! Policy files into a checked [`PolicySet`], or every fault at once.

mod clauses;
mod kinds;
mod reader;
mod rules;
mod service;
mod stores;
#[cfg(test)]
mod tests;

use sha2::{Digest, Sha256};
use toml::de::DeTable;

use crate::fault::Fault;
use crate::kinds::Kinds;
use crate::proofs;
use crate::rule::{Rule, RuleId, When};
use crate::service::Service;
use reader::{Fields, Reader};

pub use clauses::{AFTER_KEYS, ALIKE_KEYS, CALENDAR_KEYS, ONCE_USED_KEYS, USAGE_KEYS, WHEN_KEYS};
pub use kinds::{ATTRIBUTE_KEYS, KIND_KEYS, METER_KEYS, POSITION_KEYS, PROOF_KEYS};
pub use rules::{NOTICE_KEYS, RECORD_KEYS, RULE_KEYS, WINDOW_KEYS};
pub use service::{MINIMUM_KEYS, ODDS_KEYS, SERVICE_KEYS, STATION_GROUP_KEYS};
pub use stores::{DISCARDS_KEYS, ISOLATED_KEYS, STORES_KEYS};

/// The file of a set that holds the service's own settings.
pub const SERVICE_FILE: &str = "service.toml";

/// Text of one policy file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PolicyFile {
    /// Name within the set, such as `kinds.toml`.
    pub name: String,
    /// Its whole text.
    pub text: String,
}

/// A checked policy set.
#[derive(Clone, Debug, PartialEq)]
pub struct PolicySet {
    /// Kinds and meters.
    pub kinds: Kinds,
    /// Rules, in the order of files and lines.
    pub rules: Vec<Rule>,
    /// The service's own settings.
    pub service: Service,
    /// SHA-256 over names and texts of its files, in hex.
    pub hash: String,
}

impl PolicySet {
    /// The rule of that identifier.
    pub fn find_rule(&self, id: &str) -> Option<RuleId> {
        let at = self.rules.iter().position(|rule| rule.id == id)?;
        u16::try_from(at).ok().map(RuleId)
    }

    /// The rule at an index made by this set.
    pub fn rule(&self, id: RuleId) -> &Rule {
        &self.rules[usize::from(id.0)]
    }

    /// Whether anything looks at a reading of this rule: some clause, or the list of an item's proof loads.
    pub fn watches(&self, rule: RuleId, reading: u16) -> bool {
        if proofs::load_reading(self.rule(rule)) == Some(reading) {
            return true;
        }
        let of = |when: &When| when.of == rule && when.reading == reading;
        self.rules.iter().flat_map(Rule::conditions).any(|when| of(&when))
    }

    /// Whether passed or done work on `done` counts for `rule`.
    pub fn counts_for(&self, done: RuleId, rule: RuleId) -> bool {
        done == rule || self.rule(done).covers.contains(&rule)
    }

    /// Whether that needs a certificate: where the rule it was done on asks for one, or the rule it is to meet.
    pub fn wants_certificate(&self, done: RuleId, rule: RuleId) -> bool {
        self.rule(done).certificate || self.rule(rule).certificate
    }
}

/// Reads a policy set from its files.
///
/// # Errors
/// Every fault of every file, in the order of files and positions.
pub fn load(files: &[PolicyFile]) -> Result<PolicySet, Vec<Fault>> {
    let mut files: Vec<&PolicyFile> = files.iter().collect();
    files.sort_by(|a, b| a.name.cmp(&b.name));
    let readers: Vec<Reader> = files.iter().map(|file| Reader::new(&file.name, &file.text)).collect();
    let parsed: Vec<DeTable> = readers.iter().map(Reader::parse).collect();
    let sheets: Vec<Fields> = readers.iter().zip(&parsed).map(|(r, table)| Fields::top(r, table)).collect();
    let (own, sets): (Vec<&Fields>, Vec<&Fields>) = sheets.iter().partition(|f| f.file() == SERVICE_FILE);

    let kinds = kinds::read(&sets);
    let rules = rules::read(&sets, &kinds);
    let service = own.first().map_or_else(Service::default, |fields| service::read(fields, &kinds));
    check_whole(&sheets, &kinds);

    let mut faults: Vec<Fault> = readers.iter().flat_map(Reader::take_faults).collect();
    faults.sort_by(|a, b| (&a.file, a.span.start, &a.message).cmp(&(&b.file, b.span.start, &b.message)));
    // A value that two parts of a set are read from is told once.
    faults.dedup();
    if faults.is_empty() { Ok(PolicySet { kinds, rules, service, hash: hash(&files) }) } else { Err(faults) }
}

fn check_whole(sheets: &[Fields], kinds: &Kinds) {
    for sheet in sheets.iter().filter(|sheet| sheet.file() != SERVICE_FILE) {
        sheet.known_keys(&["kind", "rule"]);
    }
    if let (true, Some(first)) = (kinds.kinds.is_empty(), sheets.first()) {
        first.fault_here("the set declares no kind", "add a [[kind]] to kinds.toml");
    }
}

fn hash(files: &[&PolicyFile]) -> String {
    let mut hasher = Sha256::new();
    for file in files {
        hasher.update((file.name.len() as u64).to_be_bytes());
        hasher.update(file.name.as_bytes());
        hasher.update((file.text.len() as u64).to_be_bytes());
        hasher.update(file.text.as_bytes());
    }
    hasher.finalize().iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"))
}
