//! Wear limits of gear other than by the wire's own tables, by regime.

use super::fault::AssessFault;
use super::ratio::Ratio;
use super::table::{Cells, Kept, Table, kept, table};
use super::{Regime, Sense, Sourced};

const TABLE: Table = table!("wear_limits.csv", "gear,regime,criterion,limit,discard,source,authority,status");

static LIMITS: Kept<Limit> = Kept::new(|| TABLE.rows(limit));

/// A published or house limit.
#[derive(Clone, Debug)]
pub(super) struct Limit {
    gear: &'static str,
    regimes: Vec<Regime>,
    pub criterion: &'static str,
    pub at: Ratio,
    pub sense: Sense,
    pub sourced: Sourced,
}

fn limit(cells: &Cells) -> Result<Limit, &'static str> {
    Ok(Limit {
        gear: cells.text("gear")?,
        regimes: cells.regimes()?,
        criterion: cells.text("criterion")?,
        at: cells.number("limit")?,
        sense: cells.sense()?,
        sourced: cells.sourced()?,
    })
}

/// The limits for a family of gear under a regime.
pub(super) fn limits(gear: &str, regime: Regime) -> Result<Vec<Limit>, AssessFault> {
    let all = kept(&LIMITS)?.iter();
    Ok(all.filter(|limit| limit.gear == gear && limit.regimes.contains(&regime)).cloned().collect())
}
