//! The plan: of every part and place, what will be needed, what to hold, what to order by which day, and what lateness
//! costs.

mod demand;
mod line;
mod ways;

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;

use crate::amount::Amount;
use crate::due::Evaluator;
use crate::facts::{ItemId, StationId};
use crate::kinds::KindId;
use crate::readiness::Defect;
use crate::span::Span;
use crate::stores::counts::Counts;
use crate::stores::discards::{self, DiscardRate};
use crate::stores::order_by::Supply;
use crate::stores::renewal::{Certain, Renewal, Renewals, UseLeft};
use crate::wear::Wear;

pub use ways::{WayOut, WayTo};

/// A part that stores hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its name.
    pub name: String,
    /// Kind of gear that it becomes.
    pub kind: KindId,
    /// Order to delivery.
    pub lead: Span,
    /// Counted in metres; each of it is cut off a drum.
    pub metres: bool,
    /// Least amount that is sold, and steps of it.
    pub pack: Option<Amount>,
    /// Items that one piece serves: four where a set of four is one piece.
    pub serves: u32,
}

/// What a place holds of a part. The pool is the central stores and loft, and every station that is not isolated.
#[derive(Clone, Debug, PartialEq)]
pub struct Shelf {
    /// Index of the part.
    pub part: usize,
    /// The isolated station; none for the pool.
    pub place: Option<StationId>,
    /// What is there.
    pub on_hand: Amount,
    /// What of it must not be issued.
    pub blocked: Amount,
    /// What is ordered and not there.
    pub coming: Vec<Coming>,
}

/// What is ordered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Coming {
    /// Key of the order.
    pub order: String,
    /// The day from which it can be fitted.
    pub usable_on: Date,
    /// How much.
    pub quantity: Amount,
}

/// What a plan is made of.
pub struct Asked<'a> {
    /// Judges without forecasts.
    pub certain: &'a Evaluator<'a>,
    /// Judges with forecasts, on the same day.
    pub odds: &'a Evaluator<'a>,
    /// Parts.
    pub parts: &'a [Part],
    /// Index of each item's part, by the item's own.
    pub part_of: &'a [Option<usize>],
    /// Pieces that an item stands for, by the item's own index; one where it is no batch.
    pub quantity: &'a [u32],
    /// What places hold.
    pub shelves: &'a [Shelf],
    /// Wear of items whose readings foretell something.
    pub wear: &'a HashMap<ItemId, Vec<Wear>>,
    /// Defects.
    pub defects: &'a [Defect],
    /// The day on which an order would go out.
    pub ordered: Date,
    /// Chance with which stock is to be enough.
    pub service: f64,
    /// Last day that is looked at.
    pub until: Date,
}

/// A need for pieces: one item, or all that are renewed with it.
#[expect(clippy::struct_excessive_bools, reason = "each is told apart from the others")]
#[derive(Clone, Debug, PartialEq)]
pub struct Need {
    /// Items, the likeliest first.
    pub items: Vec<ItemId>,
    /// Their station; none at the central stores.
    pub station: Option<StationId>,
    /// Chance that it comes before an order of today can be fitted.
    pub chance: f64,
    /// A day by which it is certain, and why.
    pub certain: Option<Certain>,
    /// The use that may bring it before.
    pub by_use: Option<UseLeft>,
    /// Wear may bring it before.
    pub by_wear: bool,
    /// A station is off until it is met.
    pub stops_launch: bool,
    /// Pieces it takes.
    pub pieces: u64,
    /// The day for which to be ready: the certain one, or the first by which it has come with 10 %.
    pub ready_by: Option<Date>,
    /// The day by which that had to be ordered.
    pub order_by: Option<Date>,
    /// It is likelier than not before an order of today can be fitted, and its order-by day has passed.
    pub exposed: bool,
    /// It is served from what is there.
    pub served: bool,
}

/// Demand up to the end of a month, in pieces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Last day.
    pub until: Date,
    /// Expected.
    pub mean: f64,
    /// Enough with 10, 50 and 90 %.
    pub levels: [u64; 3],
    /// Enough with the service asked for.
    pub enough: u64,
}

/// The plan of one part and place.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Index of the part.
    pub part: usize,
    /// The isolated station; none for the pool.
    pub place: Option<StationId>,
    /// What is there.
    pub on_hand: Amount,
    /// What of it must not be issued.
    pub blocked: Amount,
    /// What of the rest is bespoken by needs that are certain before an order of today can be fitted.
    pub committed: Amount,
    /// What is left.
    pub free: Amount,
    /// What is ordered and comes before then.
    pub coming: Amount,
    /// What a piece takes: 1, or metres off a drum.
    pub each: Amount,
    /// When an order of today can be fitted.
    pub usable_on: Date,
    /// Demand until then, in pieces.
    pub demand: Counts,
    /// Pieces that are enough until then with the service asked for.
    pub pieces: u64,
    /// The same in the part's unit.
    pub stock_for_level: Amount,
    /// Pieces that would be needed if each station held its own.
    pub pieces_apart: u64,
    /// Stations that the pool serves with this part.
    pub stations: usize,
    /// What to order today.
    pub order: Amount,
    /// By when to order; none where what is there lasts beyond the last day looked at.
    pub order_by: Option<Date>,
    /// The last day to which what is there and coming is enough.
    pub lasts_until: Option<Date>,
    /// Needs with a chance worth telling, the likeliest first.
    pub needs: Vec<Need>,
    /// Pieces that hang on relief units and are hardly needed there before an order of today can be fitted.
    pub relief: Vec<ItemId>,
    /// Random discards: what is known of the rate, and years of gear in service until `usable_on`.
    pub discards: DiscardRate,
    /// Those years.
    pub gear_years: f64,
    /// Pieces that one random discard takes: with a pair, both.
    pub discard_takes: u32,
    /// Demand month by month.
    pub months: Vec<Band>,
    /// Expected station-days lost by ordering today and no earlier.
    pub days_lost: f64,
    /// Ways out, the best first.
    pub ways: Vec<WayOut>,
}

/// Everything of one part and place.
struct Ground<'a> {
    asked: &'a Asked<'a>,
    renewals: &'a Renewals<'a>,
    part: usize,
    place: Option<StationId>,
    shelf: Option<&'a Shelf>,
    supply: Supply,
    /// What goes together, each with its items.
    groups: Vec<Group<'a>>,
    /// Fitted items.
    items: usize,
    rate: DiscardRate,
    discard_takes: u32,
    each: Amount,
}

/// Items that are renewed together or driven by one log.
struct Group<'a> {
    renewals: Vec<Renewal<'a>>,
    /// All go with the first of them.
    as_one: bool,
    /// None of it may be needed in the time looked at.
    idle: bool,
}

/// A part and a place.
type Spot = (usize, Option<StationId>);

/// What binds items together.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Bond<'f> {
    Set(&'f str),
    Host(ItemId),
}

/// The plan, part by part; the pool before the isolated stations.
pub fn plan(asked: &Asked) -> Vec<Line> {
    let renewals = Renewals::new(asked.odds);
    let rates = discards::learn(asked.certain, asked.odds.set.service.stores.discards);
    let mut spots = spots(asked, &renewals);
    for shelf in asked.shelves {
        spots.entry((shelf.part, shelf.place)).or_default();
    }
    for part in 0..asked.parts.len() {
        spots.entry((part, None)).or_default();
    }
    let mut lines: Vec<Line> = Vec::with_capacity(spots.len());
    for ((part, place), bonds) in spots {
        let ground = Ground::of(asked, &renewals, (part, place), bonds, &rates);
        lines.push(ground.line());
    }
    let free: HashMap<Spot, Amount> = lines.iter().map(|line| ((line.part, line.place), line.free)).collect();
    for line in &mut lines {
        ways::add(asked, &renewals, line, &free);
    }
    lines
}

/// Renewals of everything fitted that has a part, by part and place, and by what binds them.
fn spots<'a>(
    asked: &'a Asked<'a>,
    renewals: &Renewals,
) -> BTreeMap<Spot, BTreeMap<Bond<'a>, Vec<Renewal<'a>>>> {
    let fleet = asked.odds.fleet;
    let mut defects: HashMap<ItemId, Vec<&Defect>> = HashMap::new();
    for defect in asked.defects {
        defects.entry(defect.item).or_default().push(defect);
    }
    let mut spots: BTreeMap<Spot, BTreeMap<Bond, Vec<Renewal>>> = BTreeMap::new();
    for id in fleet.ids() {
        let Some(part) = asked.part_of.get(id.0 as usize).copied().flatten() else { continue };
        let wear = asked.wear.get(&id).map_or(&[][..], Vec::as_slice);
        let own = defects.get(&id).map_or(&[][..], Vec::as_slice);
        let Some(renewal) = renewals.of(asked.certain, id, wear, own) else { continue };
        let item = fleet.item(id);
        let bond = match &item.set {
            Some(set) if renewals.renews_sets(item.kind) => Bond::Set(set),
            _ => Bond::Host(renewal.host),
        };
        let place = renewal.station.filter(|station| is_isolated(asked, *station, item.kind));
        spots.entry((part, place)).or_default().entry(bond).or_default().push(renewal);
    }
    spots
}

fn is_isolated(asked: &Asked, station: StationId, kind: KindId) -> bool {
    let slug = &asked.odds.fleet.stations[station.0 as usize].slug;
    let set = asked.odds.set;
    set.service.stores.isolated(slug, &set.kinds.kind(kind).name).is_some()
}
