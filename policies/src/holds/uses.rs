//! Use made of gear while it was on hold.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use crate::amount::Amount;
use crate::due::Evaluator;
use crate::facts::{Fleet, ItemId, StationId};
use crate::holds::{Held, Hold};
use crate::kinds::MeterId;
use crate::zone::Instant;

/// Meters of which a row is use of gear that may be on hold.
const USES: [&str; 3] = ["launches", "recoveries", "pulls"];

/// A use made while an item of the hold was open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UseOnHold {
    /// When.
    pub at: Instant,
    /// The day, where only that is known.
    pub day: Option<Date>,
    /// Launches, recoveries or pulls.
    pub meter: MeterId,
    /// How many.
    pub amount: Amount,
    /// Owner of the gear that was used.
    pub station: Option<StationId>,
}

/// Gear with a log, by the stations that own it or own what it was ever fitted to.
pub(crate) struct Logged {
    at: BTreeMap<StationId, Vec<ItemId>>,
}

impl Logged {
    pub(crate) fn of(fleet: &Fleet) -> Logged {
        let mut at: BTreeMap<StationId, Vec<ItemId>> = BTreeMap::new();
        for id in fleet.ids().filter(|id| !fleet.item(*id).logs.is_empty()) {
            for station in stations_of(fleet, &ever_carried_by(fleet, id)) {
                at.entry(station).or_default().push(id);
            }
        }
        Logged { at }
    }
}

impl Evaluator<'_> {
    /// Launches, recoveries and pulls made while the hold was open: by gear that carried an open item, and at a
    /// station where one was fitted.
    pub fn used_on(&self, hold: &Hold) -> Vec<UseOnHold> {
        let mut found: BTreeMap<(Instant, Option<StationId>, MeterId), UseOnHold> = BTreeMap::new();
        for host in self.hosts_near(hold) {
            for one in self.uses_within(host, hold.at, hold.cleared()) {
                if hold.items.iter().any(|held| self.is_used(held, host, &one)) {
                    let kept = found.entry((one.at, one.station, one.meter)).or_insert(one);
                    kept.amount = kept.amount.max(one.amount);
                }
            }
        }
        found.into_values().collect()
    }

    /// Gear with a log that may have carried an item of a hold, or have stood where one was, at any time.
    fn hosts_near(&self, hold: &Hold) -> BTreeSet<ItemId> {
        let logged = self.logged.get_or_init(|| Logged::of(self.fleet));
        let carriers: BTreeSet<ItemId> =
            hold.items.iter().flat_map(|held| ever_carried_by(self.fleet, held.item)).collect();
        let stations = stations_of(self.fleet, &carriers);
        let beside = stations.iter().filter_map(|station| logged.at.get(station)).flatten().copied();
        beside.chain(carriers.iter().copied()).collect()
    }

    fn is_used(&self, held: &Held, host: ItemId, one: &UseOnHold) -> bool {
        let there = || one.station.is_some() && self.place_at(held.item, one.at) == one.station;
        let carried = || self.fleet.chain(held.item, one.at.next()).contains(&host);
        held.is_open_at(one.at) && (there() || carried())
    }

    /// What a host was used for after a moment and before another.
    fn uses_within(&self, host: ItemId, after: Instant, before: Option<Instant>) -> Vec<UseOnHold> {
        let item = self.fleet.item(host);
        let end = before.map_or(self.cutoff(item), |before| before.min(self.cutoff(item)));
        let mut found = Vec::new();
        for (meter, index) in &item.logs {
            if USES.contains(&self.set.kinds.meter_name(*meter)) {
                let log = &self.fleet.logs[*index as usize];
                let dated = log.uses(log.part(after.next(), end)).map(|(at, amount)| (at, None, amount));
                let days = log.days.iter().map(|use_| (use_.at, Some(use_.day), use_.amount));
                let days = days.filter(|(at, ..)| after < *at && *at < end);
                found.extend(dated.chain(days).map(|(at, day, amount)| {
                    let station = self.place_at(host, at).or(item.station);
                    UseOnHold { at, day, meter: *meter, amount, station }
                }));
            }
        }
        found
    }
}

/// An item and everything that it, or what carried it, was ever fitted to.
fn ever_carried_by(fleet: &Fleet, id: ItemId) -> Vec<ItemId> {
    let mut found = vec![id];
    let mut next = 0;
    while let Some(id) = found.get(next).copied() {
        next += 1;
        for fitting in &fleet.item(id).fittings {
            if !found.contains(&fitting.host) {
                found.push(fitting.host);
            }
        }
    }
    found
}

fn stations_of<'i>(fleet: &Fleet, items: impl IntoIterator<Item = &'i ItemId>) -> BTreeSet<StationId> {
    items.into_iter().filter_map(|id| fleet.item(*id).station).collect()
}
