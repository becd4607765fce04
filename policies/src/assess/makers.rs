//! Least sizes that makers give and the register keeps on the item, for gear that no published figure covers.

use super::bench::Bench;
use super::fault::AssessFault;
use super::ratio::Ratio;
use super::table::{Cells, Kept, Table, kept, table};
use super::wear::WORN;
use super::{Regime, Sense, Sourced};

const TABLE: Table =
    table!("makers_limits.csv", "gear,regime,criterion,measure,attribute,discard,source,authority,status");

static LIMITS: Kept<Least> = Kept::new(|| TABLE.rows(least_of));

/// A part whose new size is not recorded is read against its least alone, within these shares of it in percent.
const UNKNOWN_NEW: (i128, i128) = (60, 200);
/// And is rated over the last of its wear.
const LAST_MM: i128 = 1;

/// Where the register keeps the least size of a part.
#[derive(Clone, Debug)]
struct Least {
    gear: &'static str,
    regimes: Vec<Regime>,
    criterion: &'static str,
    measure: &'static str,
    attribute: &'static str,
    sense: Sense,
    sourced: Sourced,
}

fn least_of(cells: &Cells) -> Result<Least, &'static str> {
    Ok(Least {
        gear: cells.text("gear")?,
        regimes: cells.regimes()?,
        criterion: cells.text("criterion")?,
        measure: cells.text("measure")?,
        attribute: cells.text("attribute")?,
        sense: cells.sense()?,
        sourced: cells.sourced()?,
    })
}

/// Judges a size by the maker's least; whether that is on record. The size when new goes by the same name.
pub(super) fn judge(bench: &mut Bench, size: &'static str) -> Result<bool, AssessFault> {
    let (word, regime) = (bench.gear.word, bench.regime);
    let own = |one: &&Least| one.gear == word && one.regimes.contains(&regime) && one.measure == size;
    let Some(limit) = kept(&LIMITS)?.iter().find(own) else { return Ok(false) };
    let Some(least) = bench.attribute(limit.attribute).filter(|least| *least > Ratio::ZERO) else {
        return Ok(false);
    };
    let Some(now) = bench.measure(size) else { return Ok(true) };
    let new = bench.attribute(size);
    if new.is_some_and(|new| new <= least) {
        let right =
            format!("a new size must be above {}, the maker's least; correct one of them", least.up(3));
        bench.missing(size, right);
        return Ok(true);
    }
    let (against, shares) = new.map_or((least, UNKNOWN_NEW), |new| (new, WORN));
    if bench.plausible(size, now, against, shares) {
        let good = new.unwrap_or_else(|| now.max(least.plus(Ratio::whole(LAST_MM))));
        bench.against(limit.criterion, now, good, "mm", (least, limit.sense), &limit.sourced);
    }
    Ok(true)
}
