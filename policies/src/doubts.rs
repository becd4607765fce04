//! Doubts in a station's log: launches that engine hours say were made but nobody logged, and entries that
//! look like the same one twice. A doubt is a question; it changes no state. Until it is settled, likely twins
//! count twice towards limits and once in what the odds learn from.

mod answers;
mod moves;
mod scrapped;

pub use answers::{Answer, Answers};
pub use moves::Moves;
pub use scrapped::Seen;

use statrs::distribution::{DiscreteCDF, Poisson};

use crate::amount::Amount;
use crate::due::Evaluator;
use crate::facts::{Fleet, ItemId, Log, StationId};
use crate::kinds::{KindId, MeterId};
use crate::load::PolicySet;
use crate::log::Pair;
use crate::zone::Instant;

/// Alarm where so few launches would be logged by chance less often than this (house).
const RARE: f64 = 0.01;
/// Two entries of one host and meter within so many minutes are likely twins (house).
const TWIN_MINUTES: i64 = 20;
const MINUTE_MICROS: i64 = 60 * 1_000_000;
/// Meters on which one entry is one event, so that two of them close together are doubtful.
const EVENTS: [&str; 2] = ["launches", "recoveries"];

/// A doubt in a station's log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Doubt {
    /// Engine hours since a reading speak of more launches than were logged.
    Unlogged {
        /// Where the hours were run.
        engine: ItemId,
        /// Since this reading.
        since: Instant,
        /// To the last one.
        until: Instant,
        /// Hours between them.
        hours: Amount,
        /// Launches logged between them.
        logged: Amount,
        /// Launches that so many hours usually make.
        expected: f64,
        /// Chance of logging so few all the same.
        chance: f64,
    },
    /// Two entries that are likely one.
    Twins {
        /// Host.
        host: ItemId,
        /// Meter.
        meter: MeterId,
        /// The earlier entry.
        first: Instant,
        /// The later entry.
        second: Instant,
        /// What the later entry counts.
        amount: Amount,
    },
    /// An alarm rather than a question: gear out of service for good was fitted, used or worked on since.
    Scrapped {
        /// The gear.
        item: ItemId,
        /// Since when it is out of service.
        withdrawn: Instant,
        /// When it was seen first.
        seen: Instant,
        /// How it was seen.
        how: Seen,
    },
}

impl Fleet {
    /// Entries of a host's meter that are likely the one before them logged again, and that nobody has settled.
    pub(crate) fn twins(&self, set: &PolicySet, host: ItemId, meter: MeterId) -> Vec<Pair> {
        let Some(log) = self.log(host, meter) else { return Vec::new() };
        if !counts_events(set, self.item(host).kind, meter) {
            return Vec::new();
        }
        let mut settled = self.answers.two_uses(host, meter).to_vec();
        let open = |pair: &Pair| match settled.iter().position(|two| *two == (pair.first, pair.second)) {
            Some(at) => {
                settled.swap_remove(at);
                false
            }
            None => true,
        };
        log.close_pairs(TWIN_MINUTES * MINUTE_MICROS).filter(open).collect()
    }
}

fn counts_events(set: &PolicySet, kind: KindId, meter: MeterId) -> bool {
    EVENTS.contains(&set.kinds.meter_name(meter))
        && set.kinds.kind(kind).meter(meter).is_some_and(|meter| !meter.dial)
}

impl Evaluator<'_> {
    /// Every open doubt in the logs of a station's own hosts, as of the as-of date.
    pub fn doubts(&self, station: StationId) -> Vec<Doubt> {
        let own: Vec<ItemId> =
            self.fleet.ids().filter(|id| self.fleet.item(*id).station == Some(station)).collect();
        let mut doubts: Vec<Doubt> = self.scrapped_at(Some(station));
        doubts.extend(self.doubts_among(&own));
        doubts
    }

    /// The same for every station, in the order of the fleet.
    pub fn doubts_by_station(&self) -> Vec<Vec<Doubt>> {
        let stations = self.fleet.stations.len();
        let (mut own, mut doubts) = (vec![Vec::new(); stations], vec![Vec::new(); stations]);
        for id in self.fleet.ids() {
            if let Some(station) = self.fleet.item(id).station {
                own[station.0 as usize].push(id);
            }
            if let Some((station, doubt)) = self.stands_at(id).zip(self.scrapped(id)) {
                doubts[station.0 as usize].push(doubt);
            }
        }
        for (doubts, own) in doubts.iter_mut().zip(&own) {
            doubts.extend(self.doubts_among(own));
        }
        doubts
    }

    fn doubts_among(&self, own: &[ItemId]) -> Vec<Doubt> {
        let mut doubts: Vec<Doubt> = own.iter().filter_map(|id| self.unlogged(*id, own)).collect();
        doubts.extend(own.iter().flat_map(|id| self.doubled(*id)));
        doubts
    }

    /// The last stretch between two readings of a dial against the launches logged in it, at the hours a launch
    /// that earlier stretches show, unless other work is known to have filled them.
    fn unlogged(&self, engine: ItemId, own: &[ItemId]) -> Option<Doubt> {
        let item = self.fleet.item(engine);
        let kind = self.set.kinds.kind(item.kind);
        let meter = kind.meters.iter().find(|meter| meter.dial)?.id;
        let launches = self.set.kinds.find_meter("launches")?;
        let log = self.fleet.log(engine, meter)?;
        let known = log.moments_before(self.cutoff(item));
        let counts: Vec<&Log> = own.iter().filter_map(|id| self.fleet.log(*id, launches)).collect();
        let stretches: Vec<Stretch> = known.windows(2).map(|ends| stretch(log, &counts, ends)).collect();
        let (last, earlier) = stretches.split_last()?;
        let zone = self.fleet.zone_of(item);
        let answer = |part: &Stretch| self.fleet.answers.accounted(engine, zone.date_of(part.until));
        if answer(last).is_some() {
            return None;
        }
        let telling = earlier.iter().filter(|part| answer(part) != Some(Answer::OtherWork));
        let expected = last.hours.to_f64() / usual_hours(telling)?;
        let chance = Poisson::new(expected).ok()?.cdf(last.logged.ceil_u64());
        let Stretch { since, until, hours, logged } = *last;
        (chance < RARE).then_some(Doubt::Unlogged { engine, since, until, hours, logged, expected, chance })
    }

    fn doubled(&self, host: ItemId) -> Vec<Doubt> {
        let item = self.fleet.item(host);
        let cutoff = self.cutoff(item);
        let meters = self.set.kinds.kind(item.kind).meters.iter().map(|meter| meter.id);
        let twins = meters.flat_map(|meter| {
            self.fleet.twins(self.set, host, meter).into_iter().map(move |pair| (meter, pair))
        });
        let known = twins.filter(|(_, pair)| pair.second < cutoff);
        let doubt = |(meter, pair): (MeterId, Pair)| {
            let Pair { first, second, amount } = pair;
            Doubt::Twins { host, meter, first, second, amount }
        };
        known.map(doubt).collect()
    }
}

/// Hours run and launches logged between two readings.
struct Stretch {
    since: Instant,
    until: Instant,
    hours: Amount,
    logged: Amount,
}

fn stretch(log: &Log, counts: &[&Log], ends: &[i64]) -> Stretch {
    let [since, until] = [ends[0], ends[1]].map(Instant);
    let (from, to) = (since.next(), until.next());
    let logged = counts.iter().map(|log| log.between(from, to)).sum();
    Stretch { since, until, hours: log.between(from, to), logged }
}

/// The median of hours a launch: a month in which the tractor did other work does not spoil it.
fn usual_hours<'s>(stretches: impl Iterator<Item = &'s Stretch>) -> Option<f64> {
    let launched = stretches.filter(|part| part.logged.is_positive());
    let mut ratios: Vec<f64> = launched.map(|part| part.hours.to_f64() / part.logged.to_f64()).collect();
    ratios.sort_by(f64::total_cmp);
    ratios.get(ratios.len() / 2).copied().filter(|ratio| *ratio > 0.0)
}

#[cfg(test)]
mod tests;
