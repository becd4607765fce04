//! Holds: after a shock load, an overload or a grounding every item that bore it waits for its work. A hold is open
//! until each item is cleared, wherever it is by then; it cannot be closed in part.

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;

use crate::amount::Amount;
use crate::due::Evaluator;
use crate::facts::{Done, Fleet, Item, ItemId, State, StationId};
use crate::kinds::MeterId;
use crate::load::PolicySet;
use crate::load_path::stands_alone;
use crate::rule::{Effect, Event, Rule, RuleId};
use crate::zone::Instant;

/// Meters of which every row is a shock to gear.
pub const METERS: [&str; 5] = ["shock loads", "overloads", "own overloads", "fall overloads", "groundings"];
/// What a note says where nobody knows the load.
pub const LOAD_NOT_KNOWN: &str = "load not known";

/// What an item on hold waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Need {
    /// Rule.
    pub rule: RuleId,
    /// The work that met it.
    pub done: Option<Done>,
}

/// An item that bore it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    /// Item.
    pub item: ItemId,
    /// Everything it waits for, in the order of the rules.
    pub needs: Vec<Need>,
    /// Out of service for good since.
    pub withdrawn: Option<Instant>,
}

/// A hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hold {
    /// When it happened.
    pub at: Instant,
    /// The day, where only that is known.
    pub day: Option<Date>,
    /// Where.
    pub station: Option<StationId>,
    /// What happened: the meters it was logged on.
    pub meters: Vec<MeterId>,
    /// The greatest load that was noted, in kN.
    pub load_kn: Option<Amount>,
    /// Every item that bore it.
    pub items: Vec<Held>,
}

impl Held {
    /// When it was cleared: by the last work that it waited for, or by its withdrawal.
    pub fn cleared(&self) -> Option<Instant> {
        let met = self.needs.iter().map(|need| need.done.map(|done| done.at));
        met.collect::<Option<Vec<Instant>>>().and_then(|met| met.into_iter().max()).or(self.withdrawn)
    }

    pub(crate) fn is_open_at(&self, at: Instant) -> bool {
        self.cleared().is_none_or(|cleared| at < cleared)
    }
}

impl Hold {
    /// Items not yet cleared.
    pub fn open(&self) -> impl Iterator<Item = &Held> {
        self.items.iter().filter(|held| held.cleared().is_none())
    }

    /// When the last item was cleared; none while one is open.
    pub fn cleared(&self) -> Option<Instant> {
        self.items.iter().map(Held::cleared).collect::<Option<Vec<Instant>>>()?.into_iter().max()
    }

    /// Whether any item is not yet cleared.
    pub fn is_open(&self) -> bool {
        self.open().next().is_some()
    }

    /// Whether an item of it still waits for a rule.
    pub fn waits_for(&self, item: ItemId, rule: RuleId) -> bool {
        let mut open = self.open().filter(|held| held.item == item);
        open.any(|held| held.needs.iter().any(|need| need.rule == rule && need.done.is_none()))
    }
}

/// A row of a meter that is a shock.
struct Shock {
    host: ItemId,
    meter: MeterId,
    day: Option<Date>,
}

/// Whether every row of a meter is a shock to gear.
pub fn is_shock(set: &PolicySet, meter: MeterId) -> bool {
    METERS.contains(&set.kinds.meter_name(meter))
}

/// The rules of an item that a row of a meter opens at once, and that stop a launch until then.
pub fn rules_on<'s>(
    set: &'s PolicySet,
    fleet: &'s Fleet,
    id: ItemId,
    meter: MeterId,
) -> impl Iterator<Item = RuleId> + 's {
    let item = fleet.item(id);
    let station = fleet.station_of(item).map(|station| &*station.slug);
    // Few rules ask for anything after a shock; whether one is for an item is the longer question.
    opened_by(set, meter).filter(move |rule| set.rule(*rule).is_for(item, station))
}

/// The same, whatever the item.
fn opened_by(set: &PolicySet, meter: MeterId) -> impl Iterator<Item = RuleId> {
    let opens = move |rule: &Rule| {
        let mut after = rule.after.iter();
        rule.overdue == Effect::StopsLaunch
            && after.any(|clause| clause.event == Event::Meter(meter) && clause.within.is_zero())
    };
    (0u16..).zip(&set.rules).filter(move |(_, rule)| opens(rule)).map(|(index, _)| RuleId(index))
}

/// Which rules rows of shocks open, each asked once: years of a fleet's rows ask for the same gear again and again.
#[derive(Default)]
struct Opened {
    by_meter: HashMap<MeterId, Vec<RuleId>>,
    of: HashMap<(ItemId, MeterId), Vec<RuleId>>,
}

impl Opened {
    fn by(&mut self, set: &PolicySet, meter: MeterId) -> &[RuleId] {
        self.by_meter.entry(meter).or_insert_with(|| opened_by(set, meter).collect())
    }

    fn of(&mut self, set: &PolicySet, fleet: &Fleet, id: ItemId, meter: MeterId) -> &[RuleId] {
        self.of.entry((id, meter)).or_insert_with(|| rules_on(set, fleet, id, meter).collect())
    }
}

/// The load in kN that a note of use speaks of, as in `peak 96 kN on the load pin`.
pub fn load_in(note: &str) -> Option<Amount> {
    if note.contains(LOAD_NOT_KNOWN) {
        return None;
    }
    let (before, _) = note.split_once(" kN")?;
    before.rsplit(char::is_whitespace).next()?.parse().ok().filter(|load: &Amount| load.is_positive())
}

impl Evaluator<'_> {
    /// Every hold up to the as-of date, open or closed, in order of time.
    pub fn holds(&self) -> Vec<Hold> {
        let mut holds: Vec<Hold> = Vec::new();
        let mut opened = Opened::default();
        for ((at, station), shocks) in self.shocks() {
            let items = self.held(at, &shocks, &mut opened);
            if items.is_empty() {
                continue;
            }
            let mut meters: Vec<MeterId> = shocks.iter().map(|shock| shock.meter).collect();
            meters.sort_unstable();
            meters.dedup();
            let loads = shocks.iter().filter_map(|shock| self.fleet.load_noted(shock.host, shock.meter, at));
            let (load_kn, day) = (loads.max(), shocks.iter().find_map(|shock| shock.day));
            holds.push(Hold { at, day, station, meters, load_kn, items });
        }
        holds
    }

    /// Rows of the same moment and station are one event. Gear of no station goes with the one event of its moment.
    fn shocks(&self) -> BTreeMap<(Instant, Option<StationId>), Vec<Shock>> {
        let mut found: BTreeMap<(Instant, Option<StationId>), Vec<Shock>> = BTreeMap::new();
        let meters: Vec<MeterId> = METERS.iter().filter_map(|name| self.set.kinds.find_meter(name)).collect();
        for host in self.fleet.ids() {
            for (at, shock) in self.shocks_of(host, &meters) {
                found.entry((at, self.place_at(host, at))).or_default().push(shock);
            }
        }
        let nowhere: Vec<Instant> =
            found.keys().filter(|(_, station)| station.is_none()).map(|(at, _)| *at).collect();
        for at in nowhere {
            let at_stations: Vec<Option<StationId>> =
                found.keys().filter(|key| key.0 == at && key.1.is_some()).map(|key| key.1).collect();
            if let [station] = at_stations[..]
                && let Some(shocks) = found.remove(&(at, None))
            {
                found.entry((at, station)).or_default().extend(shocks);
            }
        }
        found
    }

    fn shocks_of(&self, host: ItemId, meters: &[MeterId]) -> Vec<(Instant, Shock)> {
        let logs = self.fleet.item(host).logs.iter().filter(|(meter, _)| meters.contains(meter));
        let mut found = Vec::new();
        for (meter, index) in logs {
            let log = &self.fleet.logs[*index as usize];
            let dated = log.uses(log.part(Instant::MIN, Instant::MAX)).map(|(at, _)| (at, None));
            let rows = dated.chain(log.days.iter().map(|use_| (use_.at, Some(use_.day))));
            found.extend(rows.map(|(at, day)| (at, Shock { host, meter: *meter, day })));
        }
        found
    }

    /// The owner of what carried an item at a moment; none while a thing that is fitted to gear lay loose.
    pub(crate) fn place_at(&self, id: ItemId, at: Instant) -> Option<StationId> {
        let chain = self.fleet.chain(id, at.next());
        let outermost = chain.last().map(|last| self.fleet.item(*last))?;
        let loose = chain.len() == 1 && !stands_alone(self.set, outermost.kind);
        outermost.station.filter(|_| !loose)
    }

    fn held(&self, at: Instant, shocks: &[Shock], opened: &mut Opened) -> Vec<Held> {
        let mut rules: BTreeMap<ItemId, Vec<RuleId>> = BTreeMap::new();
        for shock in shocks {
            if opened.by(self.set, shock.meter).is_empty() {
                continue;
            }
            let bearers = self.fleet.bearers(shock.host).into_iter();
            let bore = bearers.filter(|id| at < self.cutoff(self.fleet.item(*id)));
            for id in bore.filter(|id| bore_it(self.fleet.item(*id), shock, at)) {
                let opened = opened.of(self.set, self.fleet, id, shock.meter);
                rules.entry(id).or_default().extend(opened);
            }
        }
        rules.into_iter().filter_map(|(id, rules)| self.held_item(id, at, rules)).collect()
    }

    fn held_item(&self, id: ItemId, at: Instant, mut rules: Vec<RuleId>) -> Option<Held> {
        rules.sort_unstable();
        rules.dedup();
        let item = self.fleet.item(id);
        let withdrawn = self.withdrawn_at(item);
        if rules.is_empty() || withdrawn.is_some_and(|withdrawn| withdrawn <= at) {
            return None;
        }
        // What happens at the moment of the work is met by it, as an after clause has it.
        let need = |rule| Need { rule, done: self.counting(item, rule).find(|done| done.at >= at).copied() };
        Some(Held { item: id, needs: rules.into_iter().map(need).collect(), withdrawn })
    }

    pub(crate) fn withdrawn_at(&self, item: &Item) -> Option<Instant> {
        let cutoff = self.cutoff(item);
        let states = item.states.iter().filter(|change| change.state == State::Withdrawn);
        states.map(|change| change.at).filter(|at| *at < cutoff).min()
    }
}

/// Whether an item bore a host's row, as its use is counted.
fn bore_it(item: &Item, shock: &Shock, at: Instant) -> bool {
    match shock.day {
        None => item.reach.iter().any(|part| part.host == shock.host && part.from <= at && at < part.to),
        Some(day) => {
            let mut days = item.day_reach.iter();
            days.any(|part| part.host == shock.host && part.first <= day && day <= part.last)
        }
    }
}

#[cfg(test)]
pub(crate) mod bench;
#[cfg(test)]
mod tests;
pub mod uses;
