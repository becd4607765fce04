//! Shortest ways along flanks from a station that may launch, past those that are off.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use super::{Post, nautical_miles};
use crate::facts::StationId;

/// From one station to a flank of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Leg {
    pub(super) to: StationId,
    nm: Option<f64>,
}

/// Every station's legs, by station; those of each in the order of the fleet.
pub(super) fn legs(posts: &[Post]) -> Vec<Vec<Leg>> {
    let mut pairs = Vec::new();
    for (id, post) in (0u32..).map(StationId).zip(posts) {
        let flanks = post.flanks.iter().filter(|flank| **flank != id && (flank.0 as usize) < posts.len());
        pairs.extend(flanks.flat_map(|flank| [(id, *flank), (*flank, id)]));
    }
    pairs.sort_unstable();
    pairs.dedup();
    let mut legs = vec![Vec::new(); posts.len()];
    for (from, to) in pairs {
        let points = posts[from.0 as usize].point.zip(posts[to.0 as usize].point);
        legs[from.0 as usize].push(Leg { to, nm: points.map(|(a, b)| nautical_miles(a, b)) });
    }
    legs
}

/// The way to a station: legs without a length, miles of the others, and the station before it.
#[derive(Clone, Copy, Debug)]
struct Way {
    unmeasured: u32,
    nm: f64,
    before: StationId,
}

impl Way {
    fn and(self, leg: &Leg, before: StationId) -> Way {
        let unmeasured = self.unmeasured + u32::from(leg.nm.is_none());
        Way { unmeasured, nm: self.nm + leg.nm.unwrap_or(0.0), before }
    }

    /// A measured way goes before one that cannot be said.
    fn order(&self, other: &Way) -> Ordering {
        self.unmeasured.cmp(&other.unmeasured).then(self.nm.total_cmp(&other.nm))
    }
}

/// The ways from one station: through stations that are off, up to the first that is not.
#[derive(Debug)]
pub(super) struct Ways {
    pub(super) start: StationId,
    ways: BTreeMap<StationId, Way>,
}

impl Ways {
    pub(super) fn from(start: StationId, posts: &[Post], legs: &[Vec<Leg>]) -> Ways {
        let mut ways = BTreeMap::new();
        let mut open = vec![(start, Way { unmeasured: 0, nm: 0.0, before: start })];
        while let Some(nearest) = nearest(&open) {
            let (here, way) = open.swap_remove(nearest);
            if ways.contains_key(&here) {
                continue;
            }
            ways.insert(here, way);
            if here == start || posts[here.0 as usize].is_off() {
                open.extend(legs[here.0 as usize].iter().map(|leg| (leg.to, way.and(leg, here))));
            }
        }
        Ways { start, ways }
    }

    /// Miles to a station, where it is reached and they can be said.
    pub(super) fn nm(&self, to: StationId) -> Option<f64> {
        self.ways.get(&to).filter(|way| way.unmeasured == 0).map(|way| way.nm)
    }

    /// Stations on the way, both ends among them.
    pub(super) fn path(&self, to: StationId) -> Option<Vec<StationId>> {
        let (mut path, mut here) = (vec![to], to);
        while here != self.start {
            here = self.ways.get(&here)?.before;
            path.push(here);
        }
        path.reverse();
        Some(path)
    }
}

fn nearest(open: &[(StationId, Way)]) -> Option<usize> {
    let by_way = |(_, a): &(usize, &(StationId, Way)), (_, b): &(usize, &(StationId, Way))| {
        a.1.order(&b.1).then(a.0.cmp(&b.0)).then(a.1.before.cmp(&b.1.before))
    };
    open.iter().enumerate().min_by(by_way).map(|(index, _)| index)
}
