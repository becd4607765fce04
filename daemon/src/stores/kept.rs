//! The records that a plan of spares is made of, and the plan over them.

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;
use policies::amount::Amount;
use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId, StationId};
use policies::kinds::KindId;
use policies::load::PolicySet;
use policies::readiness::Papers;
use policies::span::Span;
use policies::stores::plan::{self, Asked, Line, Shelf, Unnamed};
use policies::wear::Wear;
use policies::zone::Instant;

use super::drums;
use super::orders;
use super::shelf::{self, Held};
use crate::desk::DeskError;
use crate::fitness::{PaperRows, papers};
use crate::records::{Item, Order, Part, Stock, Work};
use crate::store::Store;
use crate::store::current::Newest;
use crate::wear;

/// Place of the central stores, and the loft beside it where wire is cut.
pub const STORES: &str = "stores";
/// The loft.
pub const LOFT: &str = "loft";

/// Records of stores, as they were known.
#[derive(Default)]
pub struct Kept {
    /// Parts by name.
    pub parts: BTreeMap<String, Part>,
    /// Moves of stock.
    pub stock: Vec<Stock>,
    /// Orders by key.
    pub orders: BTreeMap<String, Order>,
    /// Items by tag.
    pub items: Newest<Item>,
    /// Work with readings.
    pub works: Vec<Work>,
    /// Certificates, concessions and defects.
    pub papers: PaperRows,
}

/// What is asked of the plan.
#[derive(Clone, Copy, Debug)]
pub struct Question {
    /// The day that is judged.
    pub as_of: AsOf,
    /// The day on which an order would go out.
    pub ordered: Date,
    /// Chance with which stock is to be enough; the service's own where none is given.
    pub service: Option<f64>,
    /// How far to look.
    pub horizon: Span,
}

/// So far a plan looks where nothing else is asked.
pub const HORIZON: &str = "18 months";

impl Question {
    /// Of the evening of a day, or of now: an order goes out on the working day after that evening, or today.
    pub fn of(set: &PolicySet, as_of: AsOf) -> Question {
        let home = as_of.day_in(&set.service.home_zone);
        let next = match as_of {
            AsOf::Day(day) => day.tomorrow().unwrap_or(day),
            AsOf::Now(_) => home,
        };
        let horizon = HORIZON.parse().unwrap_or(Span::days(548));
        Question { as_of, ordered: set.service.working_day_from(next), service: None, horizon }
    }
}

/// A plan, with what it was made of.
pub struct Planned {
    /// Parts, in the order of their indices.
    pub parts: Vec<Part>,
    /// The plan's lines.
    pub lines: Vec<Line>,
    /// Gear that no part is named for.
    pub unnamed: Vec<Unnamed>,
    /// What is where.
    pub held: Vec<Held>,
    /// The service that was asked for.
    pub service: f64,
    /// The day on which an order would go out.
    pub ordered: Date,
}

impl Kept {
    /// As known before a moment.
    ///
    /// # Errors
    /// The store's failure.
    pub async fn known(store: &Store, before: Option<Instant>) -> Result<Kept, DeskError> {
        let parts = store.newest_known::<Part>(before).await?;
        let stock = store.newest_known::<Stock>(before).await?;
        let orders = store.newest_known::<Order>(before).await?;
        let works = store.newest_known::<Work>(before).await?;
        Ok(Kept {
            parts: parts.into_iter().filter(|(_, part)| !part.void).collect(),
            stock: stock.into_values().filter(|row| !row.void).collect(),
            orders: orders.into_iter().filter(|(_, order)| !order.void).collect(),
            items: store.newest_known::<Item>(before).await?,
            works: works.into_values().filter(|work| !work.void && work.measurements.is_some()).collect(),
            papers: papers(store, before).await?,
        })
    }

    /// With the orders as they stood at the end of a day.
    #[must_use]
    pub fn on(self, day: Date) -> Kept {
        Kept { orders: orders::as_of(&self, day), ..self }
    }

    /// The plan.
    pub fn plan(&self, set: &PolicySet, fleet: &Fleet, asked: &Question) -> Planned {
        let certain = Evaluator::without_forecasts(set, fleet, asked.as_of);
        let odds = Evaluator::new(set, fleet, asked.as_of);
        let papers = self.papers.of(set, fleet);
        let (parts, known) = self.known_parts(set);
        let part_of = self.part_of(set, fleet, &known);
        let day = asked.as_of.day_in(&set.service.home_zone);
        let held =
            shelf::held(&shelf::Ground { set, fleet, kept: self, evaluator: &certain, papers: &papers, day });
        let shelves = self.shelves(set, fleet, &parts, &held, (day, asked.ordered));
        let wear = self.wear(set, fleet, &odds, &part_of);
        let percent = f64::from(set.service.stores.service_percent) / 100.0;
        let service = asked.service.unwrap_or(percent);
        let quantity: Vec<u32> = fleet.items.iter().map(|item| self.quantity(&item.tag)).collect();
        let plan::Plan { lines, unnamed } = plan::plan(&Asked {
            certain: &certain,
            odds: &odds,
            parts: &known,
            part_of: &part_of,
            quantity: &quantity,
            shelves: &shelves,
            wear: &wear,
            defects: &papers.defects,
            ordered: asked.ordered,
            service,
            until: asked.horizon.after(day, 1),
        });
        Planned { parts, lines, unnamed, held, service, ordered: asked.ordered }
    }

    /// Parts whose kind the set knows, as the records and as the plan have them.
    fn known_parts(&self, set: &PolicySet) -> (Vec<Part>, Vec<plan::Part>) {
        let known = self.parts.values().filter_map(|part| Some((part.clone(), part_of_plan(set, part)?)));
        known.unzip()
    }

    /// The part of each item: the one it names, if it becomes that kind; else the only one that does.
    fn part_of(&self, set: &PolicySet, fleet: &Fleet, parts: &[plan::Part]) -> Vec<Option<usize>> {
        let named: HashMap<&str, usize> = (0..).zip(parts).map(|(at, part)| (&*part.name, at)).collect();
        let only = |kind: KindId| {
            let mut own = (0..).zip(parts).filter(|(_, part)| part.kind == kind).map(|(at, _)| at);
            own.next().filter(|_| own.next().is_none())
        };
        let only: Vec<Option<usize>> =
            (0..).zip(&set.kinds.kinds).map(|(kind, _)| only(KindId(kind))).collect();
        let own = |tag: &str, kind: KindId| {
            let name = self.items.get(tag).and_then(|item| item.part.as_deref());
            let by_name = name.and_then(|name| named.get(name)).copied();
            by_name.map_or_else(|| only[usize::from(kind.0)], |at| (parts[at].kind == kind).then_some(at))
        };
        fleet.items.iter().map(|item| own(&item.tag, item.kind)).collect()
    }

    pub(super) fn quantity(&self, tag: &str) -> u32 {
        let quantity = self.items.get(tag).and_then(|item| item.quantity);
        quantity.and_then(|quantity| u32::try_from(quantity).ok()).unwrap_or(1).max(1)
    }

    /// What the pool and each isolated station hold, and what is ordered for them.
    fn shelves(
        &self,
        set: &PolicySet,
        fleet: &Fleet,
        parts: &[Part],
        held: &[Held],
        (day, ordered): (Date, Date),
    ) -> Vec<Shelf> {
        let mut found: BTreeMap<(usize, Option<StationId>), Shelf> = BTreeMap::new();
        let at = |part: &str| parts.iter().position(|known| known.key == part);
        let more = drums::metres(set.service.stores.cut_allowance_mm + set.service.stores.saw_loss_mm);
        for held in held {
            let Some(part) = at(&held.part) else { continue };
            let lying = entry(&mut found, part, isolated(set, fleet, &held.place, &parts[part].kind));
            lying.on_hand += held.on_hand;
            lying.blocked += held.blocked;
            lying.usable.extend(held.usable());
            lying.usable.extend(held.ready(more));
        }
        for order in orders::as_of(self, day).values().filter(|order| orders::is_on_way(order)) {
            let Some(part) = at(&order.part) else { continue };
            let place = isolated(set, fleet, &order.place, &parts[part].kind);
            let coming = orders::coming(set, order, &parts[part], ordered);
            entry(&mut found, part, place).coming.extend(coming);
        }
        let mut shelves: Vec<Shelf> = found.into_values().collect();
        for shelf in &mut shelves {
            shelf.usable.sort_by_key(|own| own.until.unwrap_or(Date::MAX));
        }
        shelves
    }

    /// Wear of what has a part.
    fn wear(
        &self,
        set: &PolicySet,
        fleet: &Fleet,
        odds: &Evaluator,
        part_of: &[Option<usize>],
    ) -> HashMap<ItemId, Vec<Wear>> {
        let mut by_item: BTreeMap<&str, Vec<&Work>> = BTreeMap::new();
        for work in &self.works {
            by_item.entry(&work.item).or_default().push(work);
        }
        let has_part = |id: &ItemId| part_of.get(id.0 as usize).copied().flatten().is_some();
        let own =
            by_item.into_iter().filter_map(|(tag, works)| Some((fleet.find(tag).filter(has_part)?, works)));
        let worn = own.map(|(id, works)| {
            let all = wear::of_item(odds, (set, fleet), id, works);
            (id, all.into_iter().filter(|wear| wear.odds.is_ok() || wear.is_beyond()).collect::<Vec<_>>())
        });
        worn.filter(|(_, wear)| !wear.is_empty()).collect()
    }
}

fn entry(
    found: &mut BTreeMap<(usize, Option<StationId>), Shelf>,
    part: usize,
    place: Option<StationId>,
) -> &mut Shelf {
    found.entry((part, place)).or_insert_with(|| Shelf {
        part,
        place,
        on_hand: Amount::ZERO,
        blocked: Amount::ZERO,
        usable: Vec::new(),
        coming: Vec::new(),
    })
}

/// The isolated station of a place, for a kind; none for what belongs to the pool.
pub(super) fn isolated(set: &PolicySet, fleet: &Fleet, place: &str, kind: &str) -> Option<StationId> {
    set.service.stores.isolated(place, kind)?;
    let at = fleet.stations.iter().position(|station| *station.slug == *place)?;
    u32::try_from(at).ok().map(StationId)
}

/// A part as the plan has it; none where its kind is not the set's.
pub(super) fn part_of_plan(set: &PolicySet, part: &Part) -> Option<plan::Part> {
    Some(plan::Part {
        name: part.key.clone(),
        kind: set.kinds.find(&part.kind)?,
        lead: part.lead_time.parse().ok()?,
        metres: part.unit == "m",
        pack: part.pack.as_ref().and_then(|pack| pack.parse().ok()),
        serves: part.serves.and_then(|serves| u32::try_from(serves).ok()).unwrap_or(1),
    })
}

/// Papers beside the fleet.
pub(super) type PapersOf = Papers;

impl Kept {
    /// Out of a register in memory, as a deed finds it.
    pub(super) fn of_register(register: &crate::store::current::Register) -> Kept {
        Kept {
            parts: register
                .parts
                .iter()
                .filter(|(_, part)| !part.void)
                .map(|(key, part)| (key.clone(), part.clone()))
                .collect(),
            stock: register.stock.values().filter(|row| !row.void).cloned().collect(),
            orders: register
                .orders
                .iter()
                .filter(|(_, row)| !row.void)
                .map(|(key, row)| (key.clone(), row.clone()))
                .collect(),
            items: register.items.clone(),
            works: register
                .work
                .values()
                .filter(|work| !work.void && work.measurements.is_some())
                .cloned()
                .collect(),
            papers: PaperRows::of_register(register),
        }
    }
}
