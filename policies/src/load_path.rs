//! The load path: which items bear the load of a launch or a recovery, as they were fitted then, and on which gear
//! a shock is logged so that it reaches those items and no others.

use std::collections::BTreeSet;

use crate::amount::Amount;
use crate::facts::{Fleet, ItemId, State, StationId};
use crate::fitting::DEEPEST;
use crate::holds;
use crate::kinds::{KindId, MeterId};
use crate::load::PolicySet;
use crate::proof_load::{Force, ProofLoad};
use crate::proofs::{self, ProofFault};
use crate::rule::{Event, Rule, Work, words};
use crate::zone::Instant;

words! {
    /// What was being done.
    Operation {
        /// Down the beach on the carriage.
        Launch = "launch",
        /// Hauled back by the winch.
        Recovery = "recovery",
    }
}

/// When it was: a moment, or a whole day where only that is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// From this moment.
    pub from: Instant,
    /// Until just before this moment.
    pub to: Instant,
}

impl Stretch {
    /// One moment.
    pub fn at(at: Instant) -> Stretch {
        Stretch { from: at, to: at.next() }
    }
}

/// Why no path can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Untold {
    /// Two pieces of gear that nothing carries, of one kind, may have borne it.
    Either(ItemId, ItemId),
    /// Neither the item nor anything that carries it counts the meter.
    Uncounted(ItemId, MeterId),
}

/// Gear and rules under which paths are found.
#[derive(Clone, Copy)]
pub struct Paths<'f> {
    /// Rules and kinds.
    pub set: &'f PolicySet,
    /// Gear.
    pub fleet: &'f Fleet,
    /// When.
    pub when: Stretch,
}

impl<'f> Paths<'f> {
    /// Every chain of an item and its hosts in that stretch, up to the host that nothing carries.
    fn chains(self, id: ItemId) -> Vec<Vec<ItemId>> {
        let mut found = Vec::new();
        self.climb(&mut vec![id], self.when, &mut found);
        found
    }

    fn climb(self, chain: &mut Vec<ItemId>, when: Stretch, found: &mut Vec<Vec<ItemId>>) {
        let Some(last) = chain.last().copied().filter(|_| chain.len() <= DEEPEST) else { return };
        let mut carried = false;
        for fit in &self.fleet.item(last).fittings {
            let shared = Stretch { from: when.from.max(fit.from), to: when.to.min(fit.to) };
            if shared.from < shared.to {
                carried = true;
                chain.push(fit.host);
                self.climb(chain, shared, found);
                chain.pop();
            }
        }
        if !carried {
            found.push(chain.clone());
        }
    }

    /// Not yet in service, or out of service or put away before it.
    fn is_away(self, id: ItemId) -> bool {
        let item = self.fleet.item(id);
        let entered = item.entered_service_on.map(|day| self.fleet.zone_of(item).start_of(day));
        if entered.is_some_and(|entered| self.when.to <= entered) {
            return true;
        }
        let before = item.states.iter().filter(|change| change.at <= self.when.from);
        let mut laid_up = false;
        for change in before {
            match change.state {
                State::Withdrawn => return true,
                State::LaidUp => laid_up = true,
                State::Returned => laid_up = false,
                State::Quarantined | State::Released => {}
            }
        }
        laid_up
    }

    fn carries(self, id: ItemId, meter: &str) -> bool {
        let kind = self.set.kinds.kind(self.fleet.item(id).kind);
        self.set.kinds.find_meter(meter).is_some_and(|meter| kind.meter(meter).is_some())
    }

    /// Gear of a station that nothing carries, with the gear named in place of the station's own of its kind.
    fn outermost(self, station: StationId, named: &[ItemId]) -> Vec<ItemId> {
        let kind = |id: ItemId| self.fleet.item(id).kind;
        let own = self.fleet.ids().filter(|id| {
            let replaced = named.iter().any(|other| kind(*other) == kind(*id));
            self.fleet.item(*id).station == Some(station)
                && !replaced
                && stands_alone(self.set, kind(*id))
                && !self.is_away(*id)
        });
        own.chain(named.iter().copied()).collect()
    }

    /// What bore the load, under gear that nothing carries. A launch is borne by the gear that counts launches, and
    /// by what bears launches alone wherever it hangs; a recovery is hauled by a line that such gear is not in.
    fn under(self, roots: &[ItemId], operation: Operation) -> Vec<ItemId> {
        let bears = |id: &ItemId| {
            let path = self.load_path(*id);
            let elsewhere = operation == Operation::Recovery || path.len() == 1;
            let in_line = |root: ItemId| {
                if self.carries(root, "launches") { operation == Operation::Launch } else { elsewhere }
            };
            let mut ends = self.chains(*id).into_iter().filter_map(|chain| chain.last().copied());
            path.iter().any(|word| *word == operation.word())
                && ends.any(|root| roots.contains(&root) && in_line(root))
        };
        self.fleet.ids().filter(|id| bears(id) && !self.is_away(*id)).collect()
    }

    fn load_path(self, id: ItemId) -> &'f [String] {
        &self.set.kinds.kind(self.fleet.item(id).kind).load_path
    }

    /// Everything that bore the load of these operations at a station.
    ///
    /// # Errors
    /// Two pieces of gear of one kind that may have borne it.
    pub fn path(
        self,
        station: StationId,
        named: &[ItemId],
        operations: &[Operation],
    ) -> Result<Vec<ItemId>, Untold> {
        let roots = self.outermost(station, named);
        let mut found = BTreeSet::new();
        for operation in operations {
            found.extend(self.under(&roots, *operation));
        }
        let used = |root: &ItemId| found.iter().any(|id| self.chains(*id).iter().any(|c| c.contains(root)));
        let used: Vec<ItemId> = roots.iter().copied().filter(used).collect();
        self.one_of_each(&used)?;
        Ok(found.into_iter().collect())
    }

    fn one_of_each(self, roots: &[ItemId]) -> Result<(), Untold> {
        for (index, one) in roots.iter().enumerate() {
            let kind = self.fleet.item(*one).kind;
            if let Some(other) = roots[..index].iter().find(|other| self.fleet.item(**other).kind == kind) {
                return Err(Untold::Either(*other, *one));
            }
        }
        Ok(())
    }

    /// Gear of a station that nothing carries and that counts a meter: on each of it a grounding is logged.
    ///
    /// # Errors
    /// Two pieces of gear of one kind that may have borne it.
    pub fn grounded(
        self,
        station: StationId,
        named: &[ItemId],
        meter: MeterId,
    ) -> Result<Vec<ItemId>, Untold> {
        let counts = |id: &ItemId| self.set.kinds.kind(self.fleet.item(*id).kind).meter(meter).is_some();
        let found: Vec<ItemId> = self.outermost(station, named).into_iter().filter(counts).collect();
        self.one_of_each(&found)?;
        Ok(found)
    }

    /// The items that a row of a meter on a host holds.
    pub fn held_by(self, host: ItemId, meter: MeterId) -> Vec<ItemId> {
        let mut items = self.fleet.bearers(host);
        items.retain(|id| {
            let there = self.chains(*id).iter().any(|chain| chain.contains(&host));
            there && holds::rules_on(self.set, self.fleet, *id, meter).next().is_some() && !self.is_away(*id)
        });
        items
    }

    /// The fewest hosts on which a meter's rows reach the whole path: the outermost that carry nothing beside it,
    /// else the nearest.
    ///
    /// # Errors
    /// An item that no host's meter reaches.
    pub fn hosts(self, path: &[ItemId], meter: MeterId) -> Result<Vec<ItemId>, Untold> {
        let counts = |id: &ItemId| self.set.kinds.kind(self.fleet.item(*id).kind).meter(meter).is_some();
        let mut hosts = BTreeSet::new();
        for id in path {
            for chain in self.chains(*id) {
                let counting: Vec<ItemId> = chain.into_iter().filter(counts).collect();
                let exact =
                    |host: &&ItemId| self.held_by(**host, meter).iter().all(|held| path.contains(held));
                let host = counting.iter().rev().find(exact).or(counting.first());
                hosts.insert(*host.ok_or(Untold::Uncounted(*id, meter))?);
            }
        }
        Ok(hosts.into_iter().collect())
    }
}

/// Whether no position takes the kind: carriages, tractors, station sets, boats.
pub fn stands_alone(set: &PolicySet, kind: KindId) -> bool {
    let positions = set.kinds.kinds.iter().flat_map(|host| &host.positions);
    !positions.into_iter().any(|position| position.takes.contains(&kind))
}

/// What an item's own proof load is, as far as it can be told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Proof {
    /// Its kind has none.
    None,
    /// Its rated load is not on record, or no table has a step for it.
    Unknown(String),
    /// So much.
    Load(ProofLoad),
}

/// An item's own proof load, by the steps that the service proves its gear by.
pub fn proof_of(set: &PolicySet, fleet: &Fleet, id: ItemId) -> Proof {
    let item = fleet.item(id);
    let kind = set.kinds.kind(item.kind);
    if kind.proof.is_none() {
        return Proof::None;
    }
    match proofs::required(kind, item, set.service.proof_regime) {
        Ok(load) => Proof::Load(load),
        Err(ProofFault::Unknown(column)) => Proof::Unknown(format!("{column} is not on record")),
        Err(fault) => Proof::Unknown(fault.to_string()),
    }
}

/// Whether a load in kN is at or above an item's own proof load. What is not known is taken as above; a kind without
/// a proof load has nothing to be above.
pub fn is_overload(proof: &Proof, load_kn: Option<Amount>) -> bool {
    match (proof, load_kn) {
        (Proof::None, _) => false,
        (Proof::Unknown(_), _) | (Proof::Load(_), None) => true,
        (Proof::Load(proof), Some(load)) => force(load) >= Force::of(proof.load),
    }
}

/// Kilonewtons as a force, a part of a newton rounded up.
fn force(kilonewtons: Amount) -> Force {
    Force::from_newtons(-(-kilonewtons.millionths()).div_euclid(1_000))
}

/// The stricter rule of an item's kind, and the meter of its own that an overload is logged on.
pub fn stricter<'s>(set: &'s PolicySet, fleet: &Fleet, id: ItemId) -> Option<(&'s Rule, MeterId)> {
    let kind = fleet.item(id).kind;
    let own = set.kinds.kind(kind);
    let proofs = set.rules.iter().filter(|rule| rule.applies_to.kind == kind);
    let mut proofs = proofs.filter(|rule| rule.work == Work::ProofLoadTest);
    proofs.find_map(|rule| {
        let mut meters = rule.after.iter().filter_map(|clause| match clause.event {
            Event::Meter(meter) if own.meter(meter).is_some() => Some(meter),
            _ => None,
        });
        let meter = meters.find(|meter| holds::is_shock(set, *meter))?;
        Some((rule, meter))
    })
}

#[cfg(test)]
mod tests;
