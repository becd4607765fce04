//! Doubts in a station's log: launches that engine hours say were made but nobody logged, and entries that
//! look like the same one twice. A doubt is a question; it changes no state.

use statrs::distribution::{DiscreteCDF, Poisson};

use crate::amount::Amount;
use crate::due::Evaluator;
use crate::facts::{ItemId, Log, StationId};
use crate::kinds::MeterId;
use crate::zone::Instant;

/// Alarm where so few launches would be logged by chance less often than this (house).
const RARE: f64 = 0.01;
/// Two entries of one host and meter within so many minutes are likely twins (house).
const TWIN_MINUTES: i64 = 20;
const MINUTE_MICROS: i64 = 60 * 1_000_000;

/// A doubt in a station's log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Doubt {
    /// Engine hours since a reading speak of more launches than were logged.
    Unlogged {
        /// Where the hours were run.
        engine: ItemId,
        /// Since this reading.
        since: Instant,
        /// Hours since then.
        hours: Amount,
        /// Launches logged since then.
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
    },
}

impl Evaluator<'_> {
    /// Every doubt in the logs of a station's own hosts, as of the as-of date.
    pub fn doubts(&self, station: StationId) -> Vec<Doubt> {
        let own: Vec<ItemId> =
            self.fleet.ids().filter(|id| self.fleet.item(*id).station == Some(station)).collect();
        let mut doubts: Vec<Doubt> = own.iter().filter_map(|id| self.unlogged(*id, &own)).collect();
        doubts.extend(own.iter().flat_map(|id| self.twins(*id)));
        doubts
    }

    /// The last stretch between two readings of a dial against the launches logged in it, at the hours a launch
    /// that earlier stretches show.
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
        let expected = last.hours.to_f64() / usual_hours(earlier)?;
        let chance = Poisson::new(expected).ok()?.cdf(last.logged.ceil_u64());
        let Stretch { since, hours, logged } = *last;
        (chance < RARE).then_some(Doubt::Unlogged { engine, since, hours, logged, expected, chance })
    }

    fn twins(&self, host: ItemId) -> Vec<Doubt> {
        let item = self.fleet.item(host);
        let kind = self.set.kinds.kind(item.kind);
        let counted =
            ["launches", "recoveries"].into_iter().filter_map(|name| self.set.kinds.find_meter(name));
        let mut doubts = Vec::new();
        for meter in counted.filter(|meter| kind.meter(*meter).is_some_and(|meter| !meter.dial)) {
            let Some(log) = self.fleet.log(host, meter) else { continue };
            let known = log.moments_before(self.cutoff(item));
            let close = known.windows(2).filter(|pair| pair[1] - pair[0] <= TWIN_MINUTES * MINUTE_MICROS);
            doubts.extend(close.map(|pair| Doubt::Twins {
                host,
                meter,
                first: Instant(pair[0]),
                second: Instant(pair[1]),
            }));
        }
        doubts
    }
}

/// Hours run and launches logged between two readings.
struct Stretch {
    since: Instant,
    hours: Amount,
    logged: Amount,
}

fn stretch(log: &Log, counts: &[&Log], ends: &[i64]) -> Stretch {
    let [since, until] = [ends[0], ends[1]].map(Instant);
    let (from, to) = (since.next(), until.next());
    let logged = counts.iter().map(|log| log.between(from, to)).sum();
    Stretch { since, hours: log.between(from, to), logged }
}

/// The median of hours a launch: a month in which the tractor did other work does not spoil it.
fn usual_hours(stretches: &[Stretch]) -> Option<f64> {
    let launched = stretches.iter().filter(|part| part.logged.is_positive());
    let mut ratios: Vec<f64> = launched.map(|part| part.hours.to_f64() / part.logged.to_f64()).collect();
    ratios.sort_by(f64::total_cmp);
    ratios.get(ratios.len() / 2).copied().filter(|ratio| *ratio > 0.0)
}
