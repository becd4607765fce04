//! Records gathered into a fleet.

use std::collections::HashMap;

use jiff::civil::Date;

use super::{
    Condemned, DayUse, Done, Fitting, Fleet, Item, ItemId, Log, Outcome, State, StateChange, Station,
    StationId, Taken, ZoneId,
};
use crate::amount::Amount;
use crate::dial;
use crate::doubts::Answer;
use crate::kept::Kept;
use crate::kinds::MeterId;
use crate::load::PolicySet;
use crate::rule::{Value, Work};
use crate::usage;
use crate::zone::{Instant, When, Zone};

/// An item as the register has it.
#[derive(Clone, Debug, Default)]
pub struct ItemRecord<'a> {
    /// Tag.
    pub tag: &'a str,
    /// Kind name.
    pub kind: &'a str,
    /// Owner slug.
    pub station: Option<&'a str>,
    /// Set.
    pub set: Option<&'a str>,
    /// Made on.
    pub manufactured_on: Option<Date>,
    /// In service since.
    pub entered_service_on: Option<Date>,
    /// Wire it was cut from.
    pub cut_from: Option<&'a str>,
    /// Batch or wire it was taken out of, and when; on a day of which no time is known, at its end.
    pub taken: Option<(&'a str, When)>,
    /// Use before the records begin.
    pub opening: Vec<(&'a str, Amount)>,
    /// Attribute columns and values.
    pub attributes: Vec<(&'a str, Value)>,
}

/// How much a row of use says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// So many uses.
    Count(Amount),
    /// A dial's reading, and whether it is noted as a new meter's.
    Reading(Amount, bool),
}

#[derive(Default)]
struct RawLog {
    dated: Vec<(i64, i64)>,
    days: Vec<DayUse>,
    readings: Vec<dial::Reading>,
    span: Option<(Instant, Instant)>,
}

/// Gathers records into a [`Fleet`]. Rows that name unknown items, kinds or meters are left out: the
/// register refuses them on the way in, and a policy set that no longer knows them makes them count for
/// nothing.
pub struct FleetBuilder<'p> {
    set: &'p PolicySet,
    fleet: Fleet,
    stations: HashMap<Box<str>, StationId>,
    raw: HashMap<(ItemId, MeterId), RawLog>,
    cuts: Vec<(ItemId, Box<str>)>,
    taken: Vec<(ItemId, Box<str>, Instant)>,
}

impl<'p> FleetBuilder<'p> {
    /// An empty fleet under a policy set.
    pub fn new(set: &'p PolicySet) -> FleetBuilder<'p> {
        let fleet = Fleet { zones: vec![set.service.home_zone.clone()], ..Fleet::default() };
        FleetBuilder {
            set,
            fleet,
            stations: HashMap::new(),
            raw: HashMap::new(),
            cuts: Vec::new(),
            taken: Vec::new(),
        }
    }

    /// Adds a station.
    pub fn station(&mut self, slug: &str, name: &str, zone: Zone, southern: bool) {
        let zone = self.zone_id(zone);
        let id = StationId(u32::try_from(self.fleet.stations.len()).unwrap_or(u32::MAX));
        self.fleet.stations.push(Station { slug: slug.into(), name: name.into(), zone, southern });
        self.stations.insert(slug.into(), id);
    }

    fn zone_id(&mut self, zone: Zone) -> ZoneId {
        let known = self.fleet.zones.iter().position(|have| *have == zone);
        let index = known.unwrap_or_else(|| {
            self.fleet.zones.push(zone);
            self.fleet.zones.len() - 1
        });
        ZoneId(u16::try_from(index).unwrap_or(0))
    }

    /// Adds an item; false when its kind is unknown.
    pub fn item(&mut self, record: &ItemRecord) -> bool {
        let Some(kind) = self.set.kinds.find(record.kind) else { return false };
        let station = record.station.and_then(|slug| self.stations.get(slug)).copied();
        let zone = station.map_or(ZoneId(0), |id| self.fleet.stations[id.0 as usize].zone);
        let id = ItemId(u32::try_from(self.fleet.items.len()).unwrap_or(u32::MAX));
        let meter = |(name, amount): &(&str, Amount)| Some((self.set.kinds.find_meter(name)?, *amount));
        self.fleet.items.push(Item {
            tag: record.tag.into(),
            kind,
            station,
            zone,
            set: record.set.map(Into::into),
            manufactured_on: record.manufactured_on,
            entered_service_on: record.entered_service_on,
            attributes: record
                .attributes
                .iter()
                .map(|(name, value)| ((*name).into(), value.clone()))
                .collect(),
            opening: record.opening.iter().filter_map(meter).collect(),
            cut_from: None,
            taken_from: None,
            fittings: Vec::new(),
            works: Vec::new(),
            states: Vec::new(),
            logs: Vec::new(),
            reach: Vec::new(),
            day_reach: Vec::new(),
        });
        self.fleet.tags.insert(record.tag.into(), id);
        self.cuts.extend(record.cut_from.map(|parent| (id, parent.into())));
        let zone = &self.fleet.zones[usize::from(zone.0)];
        self.taken.extend(record.taken.map(|(parent, when)| (id, parent.into(), zone.until_end(when))));
        if let Some(set) = record.set {
            self.fleet.sets.entry(set.into()).or_default().push(id);
        }
        true
    }

    /// Adds a stay on a host.
    pub fn fitting(&mut self, item: &str, host: &str, position: &str, fitted: When, removed: Option<When>) {
        let (Some(item), Some(host)) = (self.fleet.find(item), self.fleet.find(host)) else { return };
        let positions = &self.set.kinds.kind(self.fleet.item(host).kind).positions;
        let position = positions.iter().position(|have| have.name == position);
        let zone = self.fleet.zone_of(self.fleet.item(item));
        let fitting = Fitting {
            host,
            position: position.and_then(|at| u16::try_from(at).ok()),
            from: zone.from_start(fitted),
            to: removed.map_or(Instant::MAX, |removed| zone.until_end(removed)),
            to_day: matches!(removed, Some(When::Day(_))),
        };
        self.fleet.items[item.0 as usize].fittings.push(fitting);
    }

    /// Adds a row of use.
    pub fn used(&mut self, host: &str, meter: &str, when: When, quantity: Quantity) {
        let (Some(host), Some(meter)) = (self.fleet.find(host), self.set.kinds.find_meter(meter)) else {
            return;
        };
        let zone = self.fleet.zone_of(self.fleet.item(host));
        let raw = self.raw.entry((host, meter)).or_default();
        let at = match when {
            When::At(at) => at,
            When::Day(day) => zone.last_second_of(day),
        };
        let (first, last) = raw.span.unwrap_or((at, at));
        raw.span = Some((first.min(at), last.max(at)));
        match (quantity, when) {
            (Quantity::Reading(value, replaced), _) => {
                raw.readings.push(dial::Reading { at, when, value, replaced });
            }
            (Quantity::Count(amount), When::At(at)) => raw.dated.push((at.0, amount.millionths())),
            (Quantity::Count(amount), When::Day(day)) => raw.days.push(DayUse { day, at, amount }),
        }
    }

    /// Adds what was noted with a row of use.
    pub fn noted(&mut self, host: &str, meter: &str, when: When, note: &str) {
        if let (Some(host), Some(meter)) = (self.fleet.find(host), self.set.kinds.find_meter(meter)) {
            self.fleet.note_load(self.set, host, meter, when, note);
        }
    }

    /// Adds work that names no certificate.
    pub fn work(&mut self, item: &str, rule: &str, when: When, outcome: Outcome) {
        self.work_with(item, rule, when, outcome, false);
    }

    /// Adds work, and whether it names its certificate.
    pub fn work_with(&mut self, item: &str, rule: &str, when: When, outcome: Outcome, certified: bool) {
        let (Some(id), Some(rule)) = (self.fleet.find(item), self.set.find_rule(rule)) else { return };
        let zone = self.fleet.zone_of(self.fleet.item(id));
        let at = zone.from_start(when);
        let date = match when {
            When::At(at) => zone.date_of(at),
            When::Day(day) => day,
        };
        self.fleet.items[id.0 as usize].works.push(Done { rule, at, date, outcome, certified });
    }

    /// Adds a reading taken with work; it is kept only where some clause looks at it.
    pub fn reading(&mut self, item: &str, rule: &str, when: When, name: &str, value: Amount) {
        let (Some(id), Some(rule)) = (self.fleet.find(item), self.set.find_rule(rule)) else { return };
        let records = &self.set.rule(rule).records;
        let reading = records.iter().position(|record| record.name == name);
        let Some(reading) = reading.and_then(|at| u16::try_from(at).ok()) else { return };
        if self.set.watches(rule, reading) {
            let at = self.fleet.zone_of(self.fleet.item(id)).from_start(when);
            self.fleet.readings.entry(id).or_default().push(Taken { rule, reading, at, value });
        }
    }

    /// Adds work whose readings the discard criteria discard, whatever its outcome says.
    pub fn condemn(&mut self, item: &str, rule: &str, when: When) {
        let (Some(id), Some(rule)) = (self.fleet.find(item), self.set.find_rule(rule)) else { return };
        let zone = self.fleet.zone_of(self.fleet.item(id));
        let at = zone.from_start(when);
        let found = Condemned { rule, at, on: zone.date_of(at) };
        self.fleet.condemned.entry(id).or_default().push(found);
    }

    /// Adds an earlier date that waits for an engineer.
    pub fn keep(&mut self, item: &str, kept: Kept) {
        if let Some(id) = self.fleet.find(item) {
            self.fleet.kept.entry(id).or_default().push(kept);
        }
    }

    /// Adds an issue from a shelf by its tag.
    pub fn issued(&mut self, item: &str, at: Instant) {
        if let Some(id) = self.fleet.find(item) {
            self.fleet.issued.entry(id).or_default().push(at);
        }
    }

    /// Adds a state.
    pub fn state(&mut self, item: &str, when: When, state: State) {
        let Some(id) = self.fleet.find(item) else { return };
        let at = self.fleet.zone_of(self.fleet.item(id)).from_start(when);
        self.fleet.items[id.0 as usize].states.push(StateChange { at, state });
    }

    /// Adds the answer that two entries of a host's meter were two uses.
    pub fn two_uses(&mut self, host: &str, meter: &str, first: Instant, second: Instant) {
        if let (Some(host), Some(meter)) = (self.fleet.find(host), self.set.kinds.find_meter(meter)) {
            self.fleet.answers.add_two_uses(host, meter, first, second);
        }
    }

    /// Adds what was answered about the hours up to a day's reading.
    pub fn accounted(&mut self, engine: &str, read_on: Date, answer: Answer) {
        if let Some(engine) = self.fleet.find(engine) {
            self.fleet.answers.add_accounted(engine, read_on, answer);
        }
    }

    /// Sorts, totals and links everything. Falling dials are returned beside the fleet; their readings
    /// up to the fall count, and the rest wait for a correction.
    pub fn finish(mut self) -> (Fleet, Vec<(ItemId, MeterId, dial::DialFall)>) {
        let mut falls = Vec::new();
        let mut raw: Vec<_> = std::mem::take(&mut self.raw).into_iter().collect();
        raw.sort_by_key(|(key, _)| *key);
        for ((host, meter), raw) in raw {
            let rolls_over_at = self.rolls_over_at(host, meter);
            let (log, fall) = raw.into_log(rolls_over_at);
            falls.extend(fall.map(|fall| (host, meter, fall)));
            let index = self.fleet.log_index(host, meter);
            self.fleet.logs[index] = log;
        }
        for (item, parent) in std::mem::take(&mut self.cuts) {
            self.fleet.items[item.0 as usize].cut_from = self.fleet.find(&parent);
        }
        for (item, parent, until) in std::mem::take(&mut self.taken) {
            let parent = self.fleet.find(&parent);
            self.fleet.items[item.0 as usize].taken_from = parent.map(|parent| (parent, until));
        }
        for item in &mut self.fleet.items {
            item.fittings.sort_by_key(|fit| (fit.from, fit.to));
            item.works.sort_by_key(|done| (done.at, done.outcome));
            item.states.sort_by_key(|change| (change.at, change.state.later_at_once()));
        }
        for found in self.fleet.condemned.values_mut() {
            found.sort_by_key(|found| (found.at, found.rule));
        }
        for taken in self.fleet.readings.values_mut() {
            taken.sort_by_key(|taken| (taken.at, taken.rule, taken.reading, taken.value));
        }
        self.list_failed_proofs();
        let ids: Vec<ItemId> = self.fleet.ids().collect();
        self.fleet.refresh_reach(&ids);
        self.link_bearers();
        (self.fleet, falls)
    }

    fn rolls_over_at(&self, host: ItemId, meter: MeterId) -> Option<Amount> {
        self.set.kinds.kind(self.fleet.item(host).kind).meter(meter)?.rolls_over_at
    }

    /// They are few, and many items ask for them.
    fn list_failed_proofs(&mut self) {
        let set = self.set;
        let failed =
            |done: &&Done| done.outcome == Outcome::Failed && set.rule(done.rule).work == Work::ProofLoadTest;
        let of_item = |id: ItemId| {
            let works = self.fleet.item(id).works.iter();
            works.filter(failed).map(move |done| (id, done.at))
        };
        self.fleet.failed_proofs = self.fleet.ids().flat_map(of_item).collect();
    }

    fn link_bearers(&mut self) {
        let mut bearers: HashMap<ItemId, Vec<ItemId>> = HashMap::new();
        for id in self.fleet.ids() {
            for host in usage::hosts(&self.fleet, id) {
                bearers.entry(host).or_default().push(id);
            }
        }
        self.fleet.bearers = bearers;
    }
}

impl RawLog {
    fn into_log(mut self, rolls_over_at: Option<Amount>) -> (Log, Option<dial::DialFall>) {
        let (found, fall) = match dial::uses(&mut self.readings, rolls_over_at) {
            Ok(found) => (found, None),
            Err(fall) => {
                let sound = dial::uses(&mut self.readings[..fall.index], rolls_over_at);
                (sound.unwrap_or_default(), Some(fall))
            }
        };
        for use_ in found {
            match use_.when {
                When::At(at) => self.dated.push((at.0, use_.amount.millionths())),
                When::Day(day) => self.days.push(DayUse { day, at: use_.at, amount: use_.amount }),
            }
        }
        (Log::from_events(self.dated, self.days, self.span), fall)
    }
}
