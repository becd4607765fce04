//! Where a reading begins anew: an overhaul may put a new part in, and what was read of the old one says nothing of it.

use jiff::civil::Date;

use super::{GAUGE_MILLIONTHS, Read};
use crate::amount::Amount;
use crate::due::Evaluator;
use crate::facts::{ItemId, Outcome};
use crate::rule::Work;
use crate::trend::{Limit, Point, jump};
use crate::zone::Instant;

/// Steps of the gauge by which a reading must be better than every one before it, where those are too few for a line.
const STEPS: i64 = 2;

impl Evaluator<'_> {
    /// Moments of the overhauls of an item and of its repairs, in order; failed ones aside.
    pub(super) fn overhauls(&self, id: ItemId) -> Vec<Instant> {
        let item = self.fleet.item(id);
        let cutoff = self.cutoff(item);
        let own = item.works.iter().filter(|done| {
            let work = self.set.rule(done.rule).work;
            done.at < cutoff
                && done.outcome != Outcome::Failed
                && matches!(work, Work::Overhaul | Work::Repair)
        });
        let mut moments: Vec<Instant> = own.map(|done| done.at).collect();
        moments.sort_unstable();
        moments
    }
}

/// How many of the readings are of a part that an overhaul has since renewed.
///
/// An overhaul alone shows no new part: the first reading after it must lie farther from the limit than the line
/// through those before foretells, or than each of them where they are too few for a line.
pub(super) fn outlived(
    reads: &[&Read],
    points: &[(Date, Point)],
    limit: Limit,
    overhauls: &[Instant],
) -> Option<usize> {
    let first_after = |at: &Instant| reads.iter().position(|read| read.at >= *at);
    let starts = overhauls.iter().rev().filter_map(first_after);
    starts.filter(|start| *start > 0).find(|start| is_of_a_new_part(&points[..=*start], limit))
}

fn is_of_a_new_part(points: &[(Date, Point)], limit: Limit) -> bool {
    let bare: Vec<Point> = points.iter().map(|(_, point)| *point).collect();
    let Some((first, before)) = bare.split_last() else { return false };
    let off = jump(&bare, limit, Amount::from_millionths(GAUGE_MILLIONTHS));
    let better = |old: &Point| {
        let gained = match limit {
            Limit::Least(_) => first.reading - old.reading,
            Limit::Most(_) => old.reading - first.reading,
        };
        gained.millionths() > STEPS * GAUGE_MILLIONTHS
    };
    off.is_some_and(|off| !off.towards_limit) || before.iter().all(better)
}
