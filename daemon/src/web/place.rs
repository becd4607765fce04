//! Where gear sits on the day a page is read as of, and for which station it counts.

use std::cell::OnceCell;
use std::collections::HashMap;

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::{DueRow, Evaluator};
use policies::facts::{Fitting, Fleet, Item, ItemId, Station, StationId};
use policies::holds::Hold;
use policies::kinds::Kind;
use policies::load::PolicySet;
use policies::load_path::stands_alone;
use policies::zone::{Instant, Zone};

use super::Web;
use super::asked::Asked;
use super::links::{Link, Links};
use crate::gear;

/// A fleet as one page sees it.
pub(super) struct View<'f> {
    pub(super) set: &'f PolicySet,
    pub(super) fleet: &'f Fleet,
    pub(super) evaluator: Evaluator<'f>,
    pub(super) as_of: Date,
    pub(super) judged: AsOf,
    pub(super) links: &'f Links,
    carried: HashMap<ItemId, Vec<(Option<u16>, ItemId)>>,
    holds: OnceCell<Vec<Hold>>,
}

/// Where an item sits: the hosts that carry it, or a place in words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Place {
    /// Kind and tag of each host, the nearest first.
    pub(super) hosts: Vec<(String, Link)>,
    /// The place of an item that nothing carries.
    pub(super) stands: String,
}

impl<'f> View<'f> {
    pub(super) fn new(web: &'f Web, asked: &'f Asked, fleet: &'f Fleet) -> View<'f> {
        let set = &*web.desk.set;
        let evaluator = Evaluator::new(set, fleet, asked.judged);
        let mut view = View {
            set,
            fleet,
            evaluator,
            as_of: asked.as_of,
            judged: asked.judged,
            links: &asked.links,
            carried: HashMap::new(),
            holds: OnceCell::new(),
        };
        view.carried = view.carried_now();
        view
    }

    /// Every hold of the fleet, open or closed.
    pub(super) fn all_holds(&self) -> &[Hold] {
        self.holds.get_or_init(|| self.evaluator.holds())
    }

    fn carried_now(&self) -> HashMap<ItemId, Vec<(Option<u16>, ItemId)>> {
        let mut carried: HashMap<ItemId, Vec<(Option<u16>, ItemId)>> = HashMap::new();
        for id in self.fleet.ids() {
            if let Some(fit) = self.fitting(id) {
                carried.entry(fit.host).or_default().push((fit.position, id));
            }
        }
        carried
    }

    pub(super) fn item(&self, id: ItemId) -> &'f Item {
        self.fleet.item(id)
    }

    pub(super) fn tag(&self, id: ItemId) -> &'f str {
        &self.item(id).tag
    }

    pub(super) fn kind(&self, id: ItemId) -> &'f Kind {
        self.set.kinds.kind(self.item(id).kind)
    }

    /// 24:00 of the day in an item's zone.
    /// The day that is judged, in an item's zone.
    pub(super) fn day(&self, id: ItemId) -> Date {
        self.evaluator.day(self.item(id))
    }

    pub(super) fn cutoff(&self, id: ItemId) -> Instant {
        self.evaluator.cutoff(self.item(id))
    }

    pub(super) fn zone(&self, id: ItemId) -> &'f Zone {
        self.fleet.zone_of(self.item(id))
    }

    pub(super) fn station(&self, id: StationId) -> &'f Station {
        &self.fleet.stations[id.0 as usize]
    }

    pub(super) fn station_link(&self, id: StationId) -> Link {
        let station = self.station(id);
        Link { text: station.name.to_string(), href: self.links.station(&station.slug) }
    }

    pub(super) fn find_station(&self, slug: &str) -> Option<StationId> {
        let at = self.fleet.stations.iter().position(|station| *station.slug == *slug)?;
        u32::try_from(at).ok().map(StationId)
    }

    /// The fitting it is in.
    pub(super) fn fitting(&self, id: ItemId) -> Option<&'f Fitting> {
        gear::fitted_at(self.item(id), self.cutoff(id))
    }

    /// What a host carries, each with the index of its position.
    pub(super) fn carried(&self, host: ItemId) -> &[(Option<u16>, ItemId)] {
        self.carried.get(&host).map_or(&[], Vec::as_slice)
    }

    /// The host that nothing carries.
    pub(super) fn outermost(&self, id: ItemId) -> ItemId {
        self.fleet.chain(id, self.cutoff(id)).last().copied().unwrap_or(id)
    }

    /// The station it counts for: the owner of its outermost host; none while it is fitted to nothing.
    pub(super) fn counts_for(&self, id: ItemId) -> Option<StationId> {
        let outermost = self.outermost(id);
        let loose = outermost == id && !stands_alone(self.set, self.item(id).kind);
        if loose { None } else { self.item(outermost).station }
    }

    /// `starboard fall, 16 mm`.
    pub(super) fn what(&self, id: ItemId) -> String {
        gear::what(self.set, self.fleet, id, self.cutoff(id))
    }

    pub(super) fn place(&self, id: ItemId) -> Place {
        let hosts = self.fleet.chain(id, self.cutoff(id)).into_iter().skip(1);
        let hosts = hosts.map(|host| (self.kind(host).name.clone(), self.links.to_item(self.tag(host))));
        let hosts: Vec<(String, Link)> = hosts.collect();
        let stands = if hosts.is_empty() { self.stands(id) } else { String::new() };
        Place { hosts, stands }
    }

    fn stands(&self, id: ItemId) -> String {
        let loose = !stands_alone(self.set, self.item(id).kind);
        if let Some(issued) = gear::issued(self.set, self.fleet, id, self.cutoff(id)) {
            return issued;
        }
        match (self.fleet.station_of(self.item(id)), loose) {
            (Some(station), true) => format!("in store at {}", station.name),
            (Some(station), false) => station.name.to_string(),
            (None, _) => "central stores".to_owned(),
        }
    }

    /// The owner of an item that counts for another station.
    pub(super) fn lender(&self, id: ItemId) -> Option<&'f str> {
        let user = self.counts_for(id)?;
        let owner = self.item(id).station;
        (owner != Some(user)).then(|| owner.map_or("central stores", |owner| &*self.station(owner).name))
    }

    /// Every due row of one item.
    pub(super) fn rows_of(&self, id: ItemId) -> Vec<DueRow> {
        self.evaluator.standing_rows_of(id)
    }
}
