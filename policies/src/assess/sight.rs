//! What discards gear on sight, whatever the gauges say.

use super::bench::Bench;
use super::fault::AssessFault;
use super::gear::{Field, cause};
use super::ratio::Ratio;
use super::table::{Cells, Kept, Table, kept, table};
use super::{Figure, Regime, Sense, Sourced};

const TABLE: Table = table!("discard_on_sight.csv", "gear,regime,measure,cause,source,authority,status");

static CAUSES: Kept<Cause> = Kept::new(|| TABLE.rows(cause_of));

/// A cause of discard on sight.
#[derive(Clone, Debug)]
pub(super) struct Cause {
    pub field: Field,
    gear: &'static str,
    regimes: Vec<Regime>,
    says: &'static str,
    sourced: Sourced,
}

fn cause_of(cells: &Cells) -> Result<Cause, &'static str> {
    Ok(Cause {
        field: cause(cells.text("measure")?),
        gear: cells.text("gear")?,
        regimes: cells.regimes()?,
        says: cells.text("cause")?,
        sourced: cells.sourced()?,
    })
}

/// The causes for a family of gear under a regime.
pub(super) fn causes(gear: &str, regime: Regime) -> Result<Vec<Cause>, AssessFault> {
    let all = kept(&CAUSES)?.iter();
    Ok(all.filter(|cause| cause.gear == gear && cause.regimes.contains(&regime)).cloned().collect())
}

/// Judges what was stated; the rest is taken as absent, and said so.
pub(super) fn judge(bench: &mut Bench, causes: &[Cause]) {
    let mut unstated = Vec::new();
    for cause in causes {
        match bench.word(cause.field.name) {
            Some(stated) => seen(bench, cause, stated == "yes"),
            None if !bench.has_criterion(cause.says) => unstated.push(cause.says),
            None => {}
        }
    }
    if !unstated.is_empty() {
        bench.note(format!("taken as absent, because nothing was said of it: {}", unstated.join(", ")));
    }
}

/// The cause that goes by this measure, stated in another way.
pub(super) fn stated(bench: &mut Bench, causes: &[Cause], measure: &str, found: bool) {
    if let Some(cause) = causes.iter().find(|cause| cause.field.name == measure) {
        seen(bench, cause, found);
    }
}

fn seen(bench: &mut Bench, cause: &Cause, found: bool) {
    let rating = if found { Ratio::whole(100) } else { Ratio::ZERO };
    let value = Figure::Word(if found { "yes" } else { "no" });
    let shape = (value, Figure::Word("none"), Sense::Over, "");
    bench.add(cause.says, shape, rating, &cause.sourced);
}
