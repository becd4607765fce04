//! Whether ratings found at one place are added, and by whose rule.

use super::fault::AssessFault;
use super::table::{Cells, Kept, Table, kept, table};
use super::{Regime, Sourced};
use crate::proof_load::Status;
use crate::rule::Authority;

const TABLE: Table = table!("combined_severity.csv", "gear,regime,parts,source,authority,status");

static RULES: Kept<Rule> = Kept::new(|| TABLE.rows(rule_of));

/// That a regime adds ratings for a family of gear.
struct Rule {
    gear: &'static str,
    regimes: Vec<Regime>,
    parts: &'static str,
    sourced: Sourced,
}

/// The rule by which ratings at one place are added.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Added {
    /// The criteria whose ratings are added.
    pub parts: &'static str,
    /// Law or standard; a rule from memory says so.
    pub source: String,
    /// How binding the source is.
    pub authority: Authority,
    /// Whether the rule was read or is from memory.
    pub status: Status,
}

fn rule_of(cells: &Cells) -> Result<Rule, &'static str> {
    Ok(Rule {
        gear: cells.text("gear")?,
        regimes: cells.regimes()?,
        parts: cells.text("parts")?,
        sourced: cells.sourced()?,
    })
}

/// The rule for a family of gear under a regime; none where ratings are not added.
pub(super) fn rule(gear: &str, regime: Regime) -> Result<Option<Added>, AssessFault> {
    let mut all = kept(&RULES)?.iter();
    let found = all.find(|rule| rule.gear == gear && rule.regimes.contains(&regime));
    Ok(found.map(|rule| Added {
        parts: rule.parts,
        source: rule.sourced.text(),
        authority: rule.sourced.authority,
        status: rule.sourced.status,
    }))
}
