//! What is known of a fleet: items, where they were fitted, what was used, what was done.

mod builder;

use std::collections::HashMap;

use jiff::civil::Date;

use crate::amount::Amount;
use crate::doubts::Answers;
use crate::holds;
use crate::kept::Kept;
use crate::kinds::{KindId, MeterId};
use crate::load::PolicySet;
pub use crate::log::{DayUse, Log};
use crate::rule::{RuleId, Value, words};
use crate::usage;
use crate::zone::{Instant, When, Zone};
pub use builder::{FleetBuilder, ItemRecord, Quantity};

/// Index of an item within its fleet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ItemId(pub u32);

/// Index of a station within its fleet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StationId(pub u32);

/// Index of a zone within its fleet; nought is the home zone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ZoneId(pub u16);

words! {
    /// What came of work.
    Outcome {
        /// Examined or tested and found fit.
        Passed = "passed",
        /// Carried out.
        Done = "done",
        /// Found unfit.
        Failed = "failed",
    }
}

words! {
    /// States set by a person.
    State {
        /// Not to be used.
        Quarantined = "quarantined",
        /// Free again.
        Released = "released",
        /// Out of service for good.
        Withdrawn = "withdrawn",
        /// Put away, to be used again.
        LaidUp = "laid up",
        /// Back from being laid up.
        Returned = "returned",
    }
}

impl State {
    /// Of states of one moment the higher stands, whatever their keys: what takes gear out of use counts as the later,
    /// as failed work does.
    pub(super) const fn later_at_once(self) -> u8 {
        match self {
            State::Released | State::Returned => 0,
            State::LaidUp => 1,
            State::Quarantined => 2,
            State::Withdrawn => 3,
        }
    }
}

/// A station.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    /// Slug.
    pub slug: Box<str>,
    /// Name.
    pub name: Box<str>,
    /// Zone.
    pub zone: ZoneId,
    /// South of the equator: seasons shift by six months.
    pub southern: bool,
}

/// One stay of an item on a host.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fitting {
    /// Host.
    pub host: ItemId,
    /// Index of the position within the host's kind.
    pub position: Option<u16>,
    /// From this moment.
    pub from: Instant,
    /// Until just before this moment; [`Instant::MAX`] while fitted.
    pub to: Instant,
    /// The removal is known to the day only: `to` is that day's end.
    pub to_day: bool,
}

/// Work recorded on an item.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Done {
    /// Rule it was done on.
    pub rule: RuleId,
    /// Moment it counts from.
    pub at: Instant,
    /// Local date.
    pub date: Date,
    /// Outcome.
    pub outcome: Outcome,
    /// A certificate or report is named with it.
    pub certified: bool,
}

/// A reading taken with work, of those that some clause looks at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Taken {
    /// Rule the work was done on.
    pub rule: RuleId,
    /// Index of the reading among the rule's `records`.
    pub reading: u16,
    /// Moment of the work.
    pub at: Instant,
    /// What was read.
    pub value: Amount,
}

/// Work whose readings the discard criteria discard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Condemned {
    /// Rule the work was done on.
    pub rule: RuleId,
    /// Moment of the work.
    pub at: Instant,
    /// Local date of it.
    pub on: Date,
}

/// A state set on an item.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StateChange {
    /// From this moment.
    pub at: Instant,
    /// State.
    pub state: State,
}

/// Hosts whose use an item bears over a stretch of time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reach {
    /// Host, or the item itself.
    pub host: ItemId,
    /// From this moment.
    pub from: Instant,
    /// Until just before this moment.
    pub to: Instant,
}

/// Days of a host whose undated use an item bears.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DayReach {
    /// Host.
    pub host: ItemId,
    /// First local day.
    pub first: Date,
    /// Last local day.
    pub last: Date,
}

/// An item with everything known of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// Tag.
    pub tag: Box<str>,
    /// Kind.
    pub kind: KindId,
    /// Owner; none for central stores.
    pub station: Option<StationId>,
    /// Zone of its dates.
    pub zone: ZoneId,
    /// Set it is renewed with.
    pub set: Option<Box<str>>,
    /// Made on.
    pub manufactured_on: Option<Date>,
    /// In service since.
    pub entered_service_on: Option<Date>,
    /// Attribute columns and values.
    pub attributes: Box<[(Box<str>, Value)]>,
    /// Use before the records begin.
    pub opening: Box<[(MeterId, Amount)]>,
    /// Wire it was cut from.
    pub cut_from: Option<ItemId>,
    /// Batch or wire it was taken out of, whose use it bore until just before this moment.
    pub taken_from: Option<(ItemId, Instant)>,
    /// Stays on hosts, in time order.
    pub fittings: Vec<Fitting>,
    /// Work, in time order; at equal instants failed last.
    pub works: Vec<Done>,
    /// States, in time order.
    pub states: Vec<StateChange>,
    /// Its own logs.
    pub logs: Vec<(MeterId, u32)>,
    /// Whose dated use it bears, by start; its own first.
    pub reach: Vec<Reach>,
    /// Whose use of a day it bears, where such use exists.
    pub day_reach: Vec<DayReach>,
}

/// A fleet, ready to be judged.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fleet {
    /// Zones; nought is home.
    pub zones: Vec<Zone>,
    /// Stations.
    pub stations: Vec<Station>,
    /// Items.
    pub items: Vec<Item>,
    /// Logs, by index from [`Item::logs`].
    pub logs: Vec<Log>,
    /// What people answered to doubts in them.
    pub answers: Answers,
    tags: HashMap<Box<str>, ItemId>,
    sets: HashMap<Box<str>, Vec<ItemId>>,
    bearers: HashMap<ItemId, Vec<ItemId>>,
    readings: HashMap<ItemId, Vec<Taken>>,
    failed_proofs: Vec<(ItemId, Instant)>,
    kept: HashMap<ItemId, Vec<Kept>>,
    condemned: HashMap<ItemId, Vec<Condemned>>,
    loads: HashMap<(ItemId, MeterId, Instant), Amount>,
    issued: HashMap<ItemId, Vec<Instant>>,
}

impl Fleet {
    /// When an item that is fitted nowhere was last issued from a shelf before a moment, unless it came off a host since.
    pub fn issued(&self, id: ItemId, before: Instant) -> Option<Instant> {
        let last = self.issued.get(&id)?.iter().filter(|at| **at < before).max().copied()?;
        let fitted_since = self.item(id).fittings.iter().any(|fit| last <= fit.to && fit.from < before);
        (!fitted_since).then_some(last)
    }

    /// Readings of an item that the discard criteria discard, in time order.
    pub fn condemned(&self, item: ItemId) -> &[Condemned] {
        self.condemned.get(&item).map_or(&[], Vec::as_slice)
    }

    /// The load in kN that was noted with a host's shock at a moment.
    pub fn load_noted(&self, host: ItemId, meter: MeterId, at: Instant) -> Option<Amount> {
        self.loads.get(&(host, meter, at)).copied()
    }

    /// Keeps the load that a note speaks of, where the meter's every row is a shock.
    pub fn note_load(&mut self, set: &PolicySet, host: ItemId, meter: MeterId, when: When, note: &str) {
        if !holds::is_shock(set, meter) {
            return;
        }
        let at = match when {
            When::At(at) => at,
            When::Day(day) => self.zone_of(self.item(host)).last_second_of(day),
        };
        if let Some(load) = holds::load_in(note) {
            let kept = self.loads.entry((host, meter, at)).or_insert(load);
            *kept = load.max(*kept);
        }
    }

    /// Earlier dates of an item that wait for an engineer.
    pub fn kept(&self, item: ItemId) -> &[Kept] {
        self.kept.get(&item).map_or(&[], Vec::as_slice)
    }

    /// Every item with earlier dates that wait for an engineer, in the order of the fleet.
    pub fn with_kept(&self) -> Vec<ItemId> {
        let mut items: Vec<ItemId> = self.kept.keys().copied().collect();
        items.sort_unstable();
        items
    }

    /// Readings of an item that some clause looks at, in time order.
    pub fn readings(&self, item: ItemId) -> &[Taken] {
        self.readings.get(&item).map_or(&[], Vec::as_slice)
    }

    /// Every proof load test that failed: whose, and when.
    pub fn failed_proofs(&self) -> &[(ItemId, Instant)] {
        &self.failed_proofs
    }

    /// Whether one of two items was fitted to the other at a moment, link by link.
    pub fn linked(&self, one: ItemId, other: ItemId, at: Instant) -> bool {
        let bears = |item: ItemId, host: ItemId| {
            self.item(item).reach.iter().any(|r| r.host == host && r.from <= at && at < r.to)
        };
        one != other && (bears(one, other) || bears(other, one))
    }

    /// Every item that was ever fitted to this one, or that it was ever fitted to, link by link.
    pub fn ever_linked(&self, item: ItemId) -> Vec<ItemId> {
        let mut found = self.bearers(item);
        found.extend(self.item(item).reach.iter().map(|reach| reach.host));
        found
    }

    /// The item with that tag.
    pub fn find(&self, tag: &str) -> Option<ItemId> {
        self.tags.get(tag).copied()
    }

    /// The item at an index made by this fleet.
    pub fn item(&self, id: ItemId) -> &Item {
        &self.items[id.0 as usize]
    }

    /// The zone of an item's dates.
    pub fn zone_of(&self, item: &Item) -> &Zone {
        &self.zones[usize::from(item.zone.0)]
    }

    /// The owner of an item.
    pub fn station_of(&self, item: &Item) -> Option<&Station> {
        item.station.map(|station| &self.stations[station.0 as usize])
    }

    /// Every item.
    pub fn ids(&self) -> impl Iterator<Item = ItemId> + use<> {
        (0..u32::try_from(self.items.len()).unwrap_or(u32::MAX)).map(ItemId)
    }

    /// Members of a set.
    pub fn set(&self, name: &str) -> &[ItemId] {
        self.sets.get(name).map_or(&[], Vec::as_slice)
    }

    /// One meter's log on one host.
    pub fn log(&self, host: ItemId, meter: MeterId) -> Option<&Log> {
        let (_, index) = self.item(host).logs.iter().find(|(have, _)| *have == meter)?;
        self.logs.get(*index as usize)
    }

    /// Every item that ever bore this host's use, the host among them.
    pub fn bearers(&self, host: ItemId) -> Vec<ItemId> {
        let mut found = vec![host];
        found.extend(self.bearers.get(&host).into_iter().flatten());
        found
    }

    /// Every item whose use or forecast a row of a host's use can move: those that bore it then, and those that
    /// are fitted to the host now.
    pub fn moved_by(&self, host: ItemId, when: When) -> Vec<ItemId> {
        let mut items = self.bearers(host);
        items.retain(|id| {
            let item = self.item(*id);
            let bore = match when {
                When::At(at) => item.reach.iter().any(|r| r.host == host && r.from <= at && at < r.to),
                When::Day(day) => {
                    item.day_reach.iter().any(|r| r.host == host && r.first <= day && day <= r.last)
                }
            };
            bore || self.chain(*id, Instant::MAX).contains(&host)
        });
        items
    }

    /// The item and, link by link, the hosts it was fitted to at 24:00 before `cutoff`.
    pub fn chain(&self, item: ItemId, cutoff: Instant) -> Vec<ItemId> {
        let mut chain = vec![item];
        while let Some(last) = chain.last().copied() {
            let now = self.item(last).fittings.iter().find(|fit| fit.from < cutoff && fit.to >= cutoff);
            match now {
                Some(fit) if !chain.contains(&fit.host) => chain.push(fit.host),
                _ => break,
            }
        }
        chain
    }

    /// Adds one use that was logged as a count, without rebuilding the fleet.
    pub fn record_use(&mut self, host: ItemId, meter: MeterId, when: When, amount: Amount) {
        let zone = self.zone_of(self.item(host)).clone();
        let index = self.log_index(host, meter);
        match when {
            When::At(at) => self.logs[index].insert(at, amount),
            When::Day(day) => {
                let first = !usage::has_undated(self, host);
                self.logs[index].insert_day(DayUse { day, at: zone.last_second_of(day), amount });
                if first {
                    self.refresh_reach(&self.bearers(host));
                }
            }
        }
    }

    fn log_index(&mut self, host: ItemId, meter: MeterId) -> usize {
        let logs = &mut self.items[host.0 as usize].logs;
        if let Some((_, index)) = logs.iter().find(|(have, _)| *have == meter) {
            return *index as usize;
        }
        self.logs.push(Log::default());
        let index = self.logs.len() - 1;
        logs.push((meter, u32::try_from(index).unwrap_or(u32::MAX)));
        index
    }

    fn refresh_reach(&mut self, items: &[ItemId]) {
        for id in items {
            let (reach, day_reach) = usage::reach(self, *id);
            let item = &mut self.items[id.0 as usize];
            item.reach = reach;
            item.day_reach = day_reach;
        }
    }
}
