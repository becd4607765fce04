//! Where a reading begins anew: an overhaul may put a new part in, and what was read of the old one says nothing of it.

use jiff::civil::Date;

use super::{GAUGE_MILLIONTHS, Read};
use crate::amount::Amount;
use crate::due::Evaluator;
use crate::facts::{ItemId, Outcome};
use crate::rule::Work;
use crate::trend::{Limit, Point, jump};
use crate::zone::Instant;

/// Where the readings before are too few for a line: how many times their spread the step must be.
const SPREADS: i64 = 2;
/// Readings since the overhaul that must be there: one alone may be a slip of the gauge.
const FEWEST_SINCE: usize = 2;

impl Evaluator<'_> {
    /// Moments of the overhauls of an item, in order; failed ones aside.
    pub(super) fn overhauls(&self, id: ItemId) -> Vec<Instant> {
        let item = self.fleet.item(id);
        let cutoff = self.cutoff(item);
        let own = item.works.iter().filter(|done| {
            let work = self.set.rule(done.rule).work;
            done.at < cutoff && done.outcome != Outcome::Failed && work == Work::Overhaul
        });
        let mut moments: Vec<Instant> = own.map(|done| done.at).collect();
        moments.sort_unstable();
        moments
    }
}

/// How many of the readings are of a part that an overhaul has since renewed.
///
/// An overhaul alone shows no new part: the first reading after it must lie farther from the limit than the line
/// through those before foretells, or than each of them by more than their spread where they are too few for a line;
/// and a second reading must be there, since one alone may be a slip.
pub(super) fn outlived(
    reads: &[&Read],
    points: &[(Date, Point)],
    limit: Limit,
    overhauls: &[Instant],
) -> Option<usize> {
    let first_after = |at: &Instant| reads.iter().position(|read| read.at >= *at);
    let starts = overhauls.iter().rev().filter_map(first_after);
    let mut starts = starts.filter(|start| *start > 0 && reads.len() >= start + FEWEST_SINCE);
    starts.find(|start| is_of_a_new_part(&points[..=*start], limit))
}

fn is_of_a_new_part(points: &[(Date, Point)], limit: Limit) -> bool {
    let bare: Vec<Point> = points.iter().map(|(_, point)| *point).collect();
    let Some((first, before)) = bare.split_last() else { return false };
    let off = jump(&bare, limit, Amount::from_millionths(GAUGE_MILLIONTHS));
    let gained = |old: &Point| {
        let gained = match limit {
            Limit::Least(_) => first.reading - old.reading,
            Limit::Most(_) => old.reading - first.reading,
        };
        gained.millionths()
    };
    let (least, most) = (before.iter().map(gained).min(), before.iter().map(gained).max());
    let stepped = least.zip(most).is_some_and(|(least, most)| {
        least > 0 && most >= (SPREADS * (most - least)).max(SPREADS * GAUGE_MILLIONTHS)
    });
    off.is_some_and(|off| !off.towards_limit) || stepped
}
