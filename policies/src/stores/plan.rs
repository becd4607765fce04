//! The plan: of every part and place, what will be needed, what to hold, what to order by which day, and what lateness
//! costs.

mod demand;
mod line;
mod needs;
mod stock;
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
use crate::stores::renewal::{Cause, Certain, Renewal, Renewals, UseLeft};
use crate::wear::Wear;

pub use stock::{CutWires, Usable};
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
    /// What may be issued, piece by piece, drum by drum or lot by lot, in the order of issue.
    pub usable: Vec<Usable>,
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
    /// They hang on what is laid up.
    pub laid_up: bool,
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
    /// What serves it must be examined again by a day, which comes before the need: the piece, and the day.
    pub examine: Option<(String, Date)>,
    /// It is served from what is ordered.
    pub comes: Option<Comes>,
    /// Days that a piece takes to its station beyond the shelf.
    pub lag_days: i32,
}

/// An order that serves a need.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Comes {
    /// Key of the order.
    pub order: String,
    /// The day from which it can be fitted where it is needed.
    pub usable_on: Date,
    /// Days that this lies behind the day to be ready by.
    pub late_days: i32,
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
    /// What may be issued, in the order of issue.
    pub lots: Vec<Usable>,
    /// Everything that is ordered, by the day from which it can be fitted.
    pub on_way: Vec<Coming>,
    /// Wires that must come off one drum together: two of a pair.
    pub together: u32,
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
    /// Fitted pieces.
    items: u64,
    /// Days that a piece takes to far stations beyond those that the pool takes to any.
    lags: Vec<(StationId, i32)>,
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

/// Gear that will be renewed, or is lacking, and has no part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unnamed {
    /// Kind.
    pub kind: KindId,
    /// Items, or what was last in an empty position, each with the day to be ready by; in order of these.
    pub items: Vec<(ItemId, Date)>,
}

/// The plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Part by part; the pool before the isolated stations.
    pub lines: Vec<Line>,
    /// What no part is named for.
    pub unnamed: Vec<Unnamed>,
}

/// The plan of everything that is fitted, and of every required position that is empty.
pub fn plan(asked: &Asked) -> Plan {
    let renewals = Renewals::new(asked.odds);
    let rates = discards::learn(asked.certain, asked.odds.set.service.stores.discards, asked.quantity);
    let (mut spots, unnamed) = spots(asked, &renewals);
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
    let free: HashMap<Spot, u64> =
        lines.iter().map(|line| ((line.part, line.place), line.free_pieces())).collect();
    for line in &mut lines {
        ways::add(asked, &renewals, line, &free);
    }
    Plan { lines, unnamed }
}

type Spots<'a> = BTreeMap<Spot, BTreeMap<Bond<'a>, Vec<Renewal<'a>>>>;

/// Renewals of everything fitted and of what is lacking, by part and place, and by what binds them; and those without a
/// part.
fn spots<'a>(asked: &'a Asked<'a>, renewals: &Renewals) -> (Spots<'a>, Vec<Unnamed>) {
    let fleet = asked.odds.fleet;
    let mut defects: HashMap<ItemId, Vec<&Defect>> = HashMap::new();
    for defect in asked.defects {
        defects.entry(defect.item).or_default().push(defect);
    }
    let fitted = fleet.ids().filter_map(|id| {
        let wear = asked.wear.get(&id).map_or(&[][..], Vec::as_slice);
        let own = defects.get(&id).map_or(&[][..], Vec::as_slice);
        renewals.of(asked.certain, id, wear, own)
    });
    let mut spots = Spots::new();
    let mut unnamed: BTreeMap<KindId, Vec<(ItemId, Date)>> = BTreeMap::new();
    for renewal in fitted.chain(renewals.of_empty(asked.certain)) {
        let Some(part) = part_of(asked, &renewal) else {
            if let Some(day) = renewals.ready_by(&renewal, asked.ordered, asked.until) {
                unnamed.entry(renewal.kind).or_default().push((renewal.item, day));
            }
            continue;
        };
        let bond = match &fleet.item(renewal.item).set {
            Some(set) if renewals.renews_sets(renewal.kind) => Bond::Set(set),
            _ => Bond::Host(renewal.host),
        };
        let place = renewal.station.filter(|station| is_isolated(asked, *station, renewal.kind));
        spots.entry((part, place)).or_default().entry(bond).or_default().push(renewal);
    }
    let sorted = |(kind, mut items): (KindId, Vec<(ItemId, Date)>)| {
        items.sort_unstable_by_key(|(item, day)| (*day, *item));
        Unnamed { kind, items }
    };
    (spots, unnamed.into_iter().map(sorted).collect())
}

/// The part of what is renewed; of what is lacking that of its fellows on the same host, or the only one of its kind.
fn part_of(asked: &Asked, renewal: &Renewal) -> Option<usize> {
    let named = |id: ItemId| asked.part_of.get(id.0 as usize).copied().flatten();
    let fits = |part: &usize| asked.parts[*part].kind == renewal.kind;
    let own = named(renewal.item).filter(fits);
    let Some(Cause::Empty { host, .. }) = renewal.certain.as_ref().map(|certain| &certain.cause) else {
        return own;
    };
    let fleet = asked.odds.fleet;
    let fellows = || fleet.bearers(*host).into_iter().filter(|id| fleet.item(*id).kind == renewal.kind);
    own.or_else(|| fellows().find_map(named).filter(fits)).or_else(|| {
        let mut of_kind = (0..asked.parts.len()).filter(fits);
        of_kind.next().filter(|_| of_kind.next().is_none())
    })
}

fn is_isolated(asked: &Asked, station: StationId, kind: KindId) -> bool {
    let slug = &asked.odds.fleet.stations[station.0 as usize].slug;
    let set = asked.odds.set;
    set.service.stores.isolated(slug, &set.kinds.kind(kind).name).is_some()
}

#[cfg(test)]
mod tests;
