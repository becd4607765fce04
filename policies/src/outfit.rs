//! What each station has: the gear that counts for it, and what of it must not be used.

use crate::due::Evaluator;
use crate::facts::{Item, ItemId};
use crate::kinds::KindId;
use crate::load_path::stands_alone;
use crate::quarantine::Shut;
use crate::readiness::Reason;
use crate::zone::Instant;

/// What a station has.
#[derive(Default)]
pub(crate) struct Outfit {
    /// Items that count for it.
    pub(crate) counted: Vec<ItemId>,
    /// Gear of its own that nothing carries: in use, laid up, and out of service for good.
    in_use: Vec<ItemId>,
    laid_up: Vec<ItemId>,
    withdrawn: Vec<ItemId>,
    /// Last entry in the log of any item it owns.
    pub(crate) last_entry: Option<Instant>,
}

impl Evaluator<'_> {
    /// What each station has: an item counts for the station that owns its outermost host. Gear that nothing
    /// carries stands for itself; anything else that is fitted nowhere counts for no station, nor does what is laid
    /// up with all that is fitted to it.
    pub(crate) fn outfits(&self) -> Vec<Outfit> {
        let mut outfits: Vec<Outfit> = Vec::new();
        outfits.resize_with(self.fleet.stations.len(), Outfit::default);
        let ends: Vec<Instant> = self.fleet.stations.iter().map(|at| self.end_at(at)).collect();
        let alone = self.alone();
        for id in self.fleet.ids() {
            let item = self.fleet.item(id);
            let stands_alone = alone[usize::from(item.kind.0)];
            if let Some(owner) = item.station.map(|station| station.0 as usize) {
                let outfit = &mut outfits[owner];
                outfit.last_entry = outfit.last_entry.max(self.last_entry(item, ends[owner]));
                if stands_alone {
                    self.list_of(item, outfit).push(id);
                }
            }
            let chain = self.fleet.chain(id, self.cutoff(item));
            let laid_up = chain.iter().any(|link| self.is_laid_up(self.fleet.item(*link)));
            let outermost = chain.last().and_then(|host| self.fleet.item(*host).station);
            if let Some(station) = outermost.filter(|_| !laid_up && (chain.len() > 1 || stands_alone)) {
                outfits[station.0 as usize].counted.push(id);
            }
        }
        outfits
    }

    fn list_of<'o>(&self, item: &Item, outfit: &'o mut Outfit) -> &'o mut Vec<ItemId> {
        if self.is_withdrawn(item) {
            &mut outfit.withdrawn
        } else if self.is_laid_up(item) {
            &mut outfit.laid_up
        } else {
            &mut outfit.in_use
        }
    }

    fn last_entry(&self, item: &Item, end: Instant) -> Option<Instant> {
        let logs = item.logs.iter().filter_map(|(_, index)| self.fleet.logs.get(*index as usize));
        logs.filter_map(|log| log.last_before(end)).max()
    }

    /// Kind by kind, whether it is gear that nothing carries: carriages, tractors, station sets.
    fn alone(&self) -> Vec<bool> {
        (0u16..).zip(&self.set.kinds.kinds).map(|(kind, _)| stands_alone(self.set, KindId(kind))).collect()
    }

    /// Laid-up gear that nothing carries, where the station has no other of its kind in use.
    pub(crate) fn laid_up(&self, outfit: &Outfit) -> Vec<Reason> {
        let alone = outfit.laid_up.iter().filter(|id| !self.has_like(&outfit.in_use, **id));
        alone.map(|item| Reason::LaidUp { item: *item }).collect()
    }

    fn has_like(&self, items: &[ItemId], id: ItemId) -> bool {
        items.iter().any(|have| self.fleet.item(*have).kind == self.fleet.item(id).kind)
    }

    /// Kinds of gear that carries or bears, of which a station has nothing left that is not withdrawn: for each, what
    /// was withdrawn last. A drum, or a gauge, that is used up leaves no gap.
    pub(crate) fn all_withdrawn(&self, outfit: &Outfit) -> Vec<Reason> {
        let mut gone: Vec<ItemId> = outfit.withdrawn.clone();
        gone.retain(|id| {
            let kind = self.set.kinds.kind(self.fleet.item(*id).kind);
            let works = !kind.positions.is_empty() || !kind.load_path.is_empty();
            works && !self.has_like(&outfit.in_use, *id) && !self.has_like(&outfit.laid_up, *id)
        });
        gone.sort_by_key(|id| std::cmp::Reverse((self.withdrawn_at(self.fleet.item(*id)), *id)));
        let mut told: Vec<ItemId> = Vec::new();
        for id in gone {
            if !self.has_like(&told, id) {
                told.push(id);
            }
        }
        told.into_iter().map(|item| Reason::Withdrawn { item }).collect()
    }

    /// Counted gear that must not be used: what nothing carries, and what bears load, in whatever position it is
    /// fitted. What is told of a required position is not told again. Withdrawn gear that nothing carries stands
    /// aside; withdrawn gear still on a host that is in use bears its load all the same.
    pub(crate) fn out_of_use(&self, counted: &[ItemId], told: &[Reason]) -> Vec<Reason> {
        let told =
            |id: ItemId| told.iter().any(|one| matches!(one, Reason::Unfit { item, .. } if *item == id));
        let found = counted.iter().filter(|id| !told(**id)).filter_map(|id| Some((*id, self.shut(*id)?)));
        let stops = found.filter(|(id, shut)| self.is_in_use(*id, shut));
        stops.map(|(item, shut)| Reason::OutOfUse { item, shut }).collect()
    }

    fn is_in_use(&self, id: ItemId, shut: &Shut) -> bool {
        let item = self.fleet.item(id);
        let hosts = self.fleet.chain(id, self.cutoff(item)).split_off(1);
        let bears = !self.set.kinds.kind(item.kind).load_path.is_empty();
        let in_service = !hosts.iter().any(|host| self.is_withdrawn(self.fleet.item(*host)));
        match shut {
            Shut::Withdrawn(_) => bears && in_service && !hosts.is_empty(),
            _ => (bears && in_service) || hosts.is_empty(),
        }
    }
}
