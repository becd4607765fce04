//! Cover of the coast between stations: how long the nearest boat that may launch takes to the worst point, and which
//! neighbours are off together. Times are for people to weigh; no due or discard date passes through here.

mod meeting;
mod sea;
#[cfg(test)]
mod tests;
mod ways;

use crate::facts::StationId;
use crate::readiness::Readiness;
use meeting::{Comer, Meeting, worst};
pub use sea::{Point, nautical_miles};
use ways::{Ways, legs};

/// A station as the sea has it.
#[derive(Clone, Debug, PartialEq)]
pub struct Post {
    /// Where it is, if that is known.
    pub point: Option<Point>,
    /// Stations it flanks; said by one of the two is enough.
    pub flanks: Vec<StationId>,
    /// Its boat, if it has a fit one whose figures are known.
    pub boat: Option<Boat>,
    /// Readiness of its gear.
    pub readiness: Readiness,
}

/// What a boat's time to a point depends on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Boat {
    /// Speed in knots, above nought.
    pub speed_kn: f64,
    /// Minutes from the call to the boat afloat.
    pub launch_min: f64,
}

/// Every station, by [`StationId`], and what the service asks of the cover.
#[derive(Clone, Debug, PartialEq)]
pub struct Coast {
    /// In the order of the fleet.
    pub posts: Vec<Post>,
    /// Longest time to any point between stations.
    pub standard_minutes: u32,
}

/// What keeps a time from being said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Lack {
    /// The station's coordinates are not known.
    Point(StationId),
    /// The station has no boat whose speed and launch time are known.
    Boat(StationId),
}

/// The longest wait along a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wait {
    /// Minutes until the first boat is at the worst point.
    pub minutes: f64,
    /// Minutes with the boats of the two ends alone.
    pub alone: f64,
    /// Another station whose boat is at the ends' worst point before theirs.
    pub nearer: Option<StationId>,
}

/// The coast between two stations that may launch, past those that are off.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// The two stations.
    pub ends: [StationId; 2],
    /// Stations between them that are off, in order.
    pub past: Vec<StationId>,
    /// Along the flanks, where every station on the way has coordinates.
    pub nm: Option<f64>,
    /// The worst point, where it can be said.
    pub wait: Option<Wait>,
    /// What is missing where it cannot.
    pub lacks: Vec<Lack>,
}

/// An off station that lies between no two that may launch: the end of a coast, or aside of the shortest way.
#[derive(Clone, Debug, PartialEq)]
pub struct Aside {
    /// The station.
    pub station: StationId,
    /// The station whose boat is there first, its miles and its minutes.
    pub from: Option<(StationId, f64, f64)>,
    /// What is missing where none can be said.
    pub lacks: Vec<Lack>,
}

/// The cover of a coast.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Cover {
    /// Between stations that may launch.
    pub stretches: Vec<Stretch>,
    /// Off stations beyond them.
    pub asides: Vec<Aside>,
    /// Flanking stations that are both off.
    pub together: Vec<[StationId; 2]>,
}

impl Post {
    /// It does not count for cover; an unknown readiness is none to lean on.
    pub const fn is_off(&self) -> bool {
        matches!(self.readiness, Readiness::NotReady | Readiness::Unknown)
    }
}

impl Boat {
    /// Minutes from the call to a point.
    pub fn minutes(&self, nm: f64) -> f64 {
        self.launch_min + 60.0 * nm / self.speed_kn
    }
}

/// A figure as it is told, in tenths.
pub fn tenths(value: f64) -> f64 {
    (10.0 * value).round() / 10.0
}

impl Coast {
    /// Minutes over the standard, as told: nought where it is kept.
    pub fn over(&self, minutes: f64) -> f64 {
        tenths((tenths(minutes) - f64::from(self.standard_minutes)).max(0.0))
    }

    /// The cover; none where no station flanks another.
    pub fn cover(&self) -> Cover {
        let legs = legs(&self.posts);
        if legs.iter().all(Vec::is_empty) {
            return Cover::default();
        }
        let ready = self.ids().filter(|id| !self.post(*id).is_off());
        let ways: Vec<Ways> = ready.map(|id| Ways::from(id, &self.posts, &legs)).collect();
        let stretches = self.stretches(&ways);
        let together = self.ids().flat_map(|id| {
            let later = legs[id.0 as usize].iter().filter(move |leg| id < leg.to);
            later.map(move |leg| [id, leg.to])
        });
        Cover {
            asides: self.asides(&ways, &stretches),
            together: together.filter(|pair| pair.iter().all(|id| self.post(*id).is_off())).collect(),
            stretches,
        }
    }

    fn ids(&self) -> impl Iterator<Item = StationId> + use<> {
        (0..u32::try_from(self.posts.len()).unwrap_or(u32::MAX)).map(StationId)
    }

    fn post(&self, id: StationId) -> &Post {
        &self.posts[id.0 as usize]
    }

    fn stretches(&self, ways: &[Ways]) -> Vec<Stretch> {
        let mut found = Vec::new();
        for from in ways {
            let later = ways.iter().map(|to| to.start).filter(|to| from.start < *to);
            found.extend(later.filter_map(|to| Some(self.stretch(ways, from, &from.path(to)?))));
        }
        found
    }

    fn stretch(&self, ways: &[Ways], from: &Ways, path: &[StationId]) -> Stretch {
        let ends = [from.start, path[path.len() - 1]];
        let past = path[1..path.len() - 1].to_vec();
        let nm = from.nm(ends[1]);
        let mut lacks = self.pointless(path);
        lacks.extend(ends.into_iter().filter(|end| self.post(*end).boat.is_none()).map(Lack::Boat));
        let wait = nm.and_then(|nm| self.wait(ways, from, ends, &past, nm));
        Stretch { ends, past, nm, wait, lacks }
    }

    fn wait(
        &self,
        ways: &[Ways],
        from: &Ways,
        ends: [StationId; 2],
        past: &[StationId],
        nm: f64,
    ) -> Option<Wait> {
        let end = |station: StationId, at: f64| {
            Some(Comer { station, boat: self.post(station).boat?, at, nm: 0.0 })
        };
        let mut comers = vec![end(ends[0], 0.0)?, end(ends[1], nm)?];
        let Meeting { minutes: alone, at } = worst(nm, &comers);
        let others = ways.iter().filter(|other| !ends.contains(&other.start));
        comers.extend(others.flat_map(|other| {
            let joins = past.iter().map(|station| Some((from.nm(*station)?, other.nm(*station)?)));
            joins.flatten().filter_map(|(at, nm)| {
                Some(Comer { station: other.start, boat: self.post(other.start).boat?, at, nm })
            })
        }));
        let first = comers.iter().min_by(|a, b| a.minutes(at).total_cmp(&b.minutes(at)));
        let nearer = first.map(|comer| comer.station).filter(|station| !ends.contains(station));
        Some(Wait { minutes: worst(nm, &comers).minutes, alone, nearer })
    }

    fn pointless(&self, stations: &[StationId]) -> Vec<Lack> {
        let without = stations.iter().filter(|id| self.post(**id).point.is_none());
        without.map(|id| Lack::Point(*id)).collect()
    }

    fn asides(&self, ways: &[Ways], stretches: &[Stretch]) -> Vec<Aside> {
        let between = |id: &StationId| stretches.iter().any(|stretch| stretch.past.contains(id));
        let beyond = self.ids().filter(|id| self.post(*id).is_off() && !between(id));
        beyond.map(|station| self.aside(ways, station)).collect()
    }

    fn aside(&self, ways: &[Ways], station: StationId) -> Aside {
        let timed = ways.iter().filter_map(|way| {
            let nm = way.nm(station)?;
            Some((way.start, nm, self.post(way.start).boat?.minutes(nm)))
        });
        let from = timed.min_by(|a, b| a.2.total_cmp(&b.2));
        let mut lacks = Vec::new();
        if from.is_none() {
            for path in ways.iter().filter_map(|way| way.path(station)) {
                lacks.extend(self.pointless(&path));
                lacks.extend(
                    path.first().filter(|end| self.post(**end).boat.is_none()).map(|end| Lack::Boat(*end)),
                );
            }
            lacks.sort_unstable();
            lacks.dedup();
        }
        Aside { station, from, lacks }
    }
}
