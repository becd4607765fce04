//! What is where: moves of stock, pieces with tags, and what of them must not be issued.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::civil::Date;
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::{Fleet, Item as Gear, ItemId};
use policies::load::PolicySet;
use policies::quarantine::Shut;
use policies::readiness::lapsed;
use policies::rule::{Value, Work};
use policies::span::Span;
use policies::standing::Standing;
use policies::stores::life::life_ends;
use policies::stores::lots::{Lot, Moved, Why, lots};
use policies::stores::plan::{CutWires, Usable};
use policies::stores::shelf::{Blocked, Piece, in_order_of_issue};
use policies::zone::Instant;

use super::kept::{Kept, LOFT, PapersOf, STORES};
use crate::gear::fitted_at;
use crate::records::{DRUM, Order, Part, Stock};

/// What one place holds of one part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    /// Part.
    pub part: String,
    /// `stores`, `loft` or a station's slug.
    pub place: String,
    /// What is there.
    pub on_hand: Amount,
    /// What of it must not be issued.
    pub blocked: Amount,
    /// What the moves of stock come to.
    pub by_moves: Amount,
    /// What has tags, or came on one receipt: first to expire first, each with how much it is.
    pub pieces: Vec<(Piece, Amount)>,
    /// What lies there and is no stock: it came off its host worn out, failed or condemned.
    pub aside: Vec<(Piece, Amount)>,
    /// Wires that were cut off the part's drums and never fitted yet, in their sets, with the length of each: they are
    /// not in the metres on hand any more.
    pub cut: Vec<(Piece, Amount)>,
}

impl Held {
    /// What may be issued, in the order of issue.
    pub fn usable(&self) -> Vec<Usable> {
        let mut free: Vec<Usable> = self
            .pieces
            .iter()
            .filter(|(piece, _)| piece.blocked.is_empty())
            .map(|(piece, amount)| Usable {
                name: piece.tags.join(", "),
                quantity: *amount,
                until: piece.expires,
                examine_by: piece.renew_by(),
                cut: None,
            })
            .collect();
        // What was issued without its tag went in the order of issue.
        let mut gone = free.iter().map(|own| own.quantity).sum::<Amount>() - (self.on_hand - self.blocked);
        free.retain_mut(|own| {
            let taken = gone.max(Amount::ZERO).min(own.quantity);
            (gone, own.quantity) = (gone - taken, own.quantity - taken);
            own.quantity.is_positive()
        });
        free
    }
}

impl Held {
    /// Cut wires that may be fitted, with what each took off its drum: `more` for its terminations and the saw.
    pub fn ready(&self, more: Amount) -> impl Iterator<Item = Usable> {
        self.cut.iter().filter(|(piece, _)| piece.blocked.is_empty()).map(move |(piece, length)| {
            let each = *length + more;
            Usable {
                name: piece.tags.join(", "),
                quantity: piece.tags.iter().map(|_| each).sum(),
                until: piece.expires,
                examine_by: piece.renew_by(),
                cut: Some(CutWires { wires: piece.tags.len() as u64, each }),
            }
        })
    }

    /// Whether any of it lies there by its tag.
    pub fn has_tags(&self) -> bool {
        self.pieces.iter().any(|(piece, _)| !piece.tags.is_empty())
    }
}

/// What a look at the shelves goes by.
pub(super) struct Ground<'g> {
    pub(super) set: &'g PolicySet,
    pub(super) fleet: &'g Fleet,
    pub(super) kept: &'g Kept,
    pub(super) evaluator: &'g Evaluator<'g>,
    pub(super) papers: &'g PapersOf,
    /// The day at home.
    pub(super) day: Date,
}

/// What every place holds at the end of a day, as the records say.
pub fn look(set: &PolicySet, fleet: &Fleet, kept: &Kept, as_of: policies::as_of::AsOf) -> Vec<Held> {
    let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
    let papers = kept.papers.of(set, fleet);
    let day = as_of.day_in(&set.service.home_zone);
    held(&Ground { set, fleet, kept, evaluator: &evaluator, papers: &papers, day })
}

/// One part in one place: its moves, its lots, and its gear.
struct Spot<'s> {
    part: &'s Part,
    place: &'s str,
    moves: Vec<&'s Stock>,
    lots: Vec<Lot>,
    /// Tags that are one piece each.
    sets: Vec<Vec<ItemId>>,
    /// Cut wires that belong together.
    cut: Vec<Vec<ItemId>>,
}

pub(super) fn held(ground: &Ground) -> Vec<Held> {
    let end = ground.set.service.home_zone.end_of(ground.day);
    let mut moves: BTreeMap<&str, Vec<&Stock>> = BTreeMap::new();
    for row in ground.kept.stock.iter().filter(|row| row.at < end.0) {
        moves.entry(&row.part).or_default().push(row);
    }
    let (tagged, cut) = (ground.tagged(end), ground.cut_wires(end));
    let mut found = Vec::new();
    for (name, part) in &ground.kept.parts {
        let own = moves.get(name.as_str()).map_or(&[][..], Vec::as_slice);
        let mut by_place = lots(&ground.moved(own));
        let gear = tagged.get(name).cloned().unwrap_or_default();
        let wires = cut.get(name).cloned().unwrap_or_default();
        let by_tag = gear.keys().chain(wires.keys()).map(String::as_str);
        let places: BTreeSet<&str> = own.iter().map(|row| &*row.place).chain(by_tag).collect();
        for place in places {
            found.push(ground.place(&Spot {
                part,
                place,
                moves: own.iter().copied().filter(|row| row.place == place).collect(),
                lots: by_place.remove(place).unwrap_or_default(),
                sets: gear.get(place).cloned().unwrap_or_default(),
                cut: wires.get(place).cloned().unwrap_or_default(),
            }));
        }
    }
    found
}

/// Gear of one part by place, each with the tags that are one piece.
type Tagged = BTreeMap<String, Vec<Vec<ItemId>>>;

impl Ground<'_> {
    fn moved<'r>(&self, rows: &[&'r Stock]) -> Vec<Moved<'r>> {
        let moved = |row: &&'r Stock| Moved {
            key: &row.key,
            place: &row.place,
            at: Instant(row.at),
            day: self.set.service.home_zone.date_of(Instant(row.at)),
            quantity: Amount::from_millionths(row.quantity),
            why: match row.reason.as_str() {
                "receipt" => Why::Receipt,
                "count" => Why::Count,
                "scrap" => Why::Scrap,
                _ => Why::Issue,
            },
            order: row.key.strip_prefix("receipt "),
            held: self.order_of(row).is_some_and(|order| self.waits_for_certificate(order)),
        };
        rows.iter().map(moved).collect()
    }

    fn place(&self, spot: &Spot) -> Held {
        let by_moves: Amount = spot.moves.iter().map(|row| Amount::from_millionths(row.quantity)).sum();
        let (mut pieces, mut aside) = (Vec::new(), Vec::new());
        for ids in &spot.sets {
            let own = (self.piece(spot, ids), self.amount(spot.part, ids));
            if self.is_no_stock(spot, ids, &own.0) { aside.push(own) } else { pieces.push(own) }
        }
        let tagged: Amount = pieces.iter().map(|(_, amount)| *amount).sum();
        // What was issued and is not fitted yet has left the shelf all the same.
        let on_hand = if spot.moves.is_empty() { tagged } else { by_moves };
        pieces.extend(self.without_tags(spot, on_hand - tagged));
        let unknown = self.hold_uncertified(spot, &mut pieces);
        let shut = pieces.iter().filter(|(piece, _)| !piece.blocked.is_empty()).map(|(_, amount)| *amount);
        let blocked: Amount = shut.chain([unknown]).sum();
        let mut order: Vec<Piece> = pieces.iter().map(|(piece, _)| piece.clone()).collect();
        in_order_of_issue(&mut order);
        pieces.sort_by_key(|(piece, _)| order.iter().position(|have| have == piece));
        let (part, place) = (spot.part.key.clone(), spot.place.to_owned());
        let mut cut: Vec<(Piece, Amount)> =
            spot.cut.iter().map(|ids| (self.piece(spot, ids), self.shortest(ids))).collect();
        cut.sort_by(|(a, _), (b, _)| (a.made, &a.tags).cmp(&(b.made, &b.tags)));
        Held { part, place, on_hand, blocked: blocked.min(on_hand), by_moves, pieces, aside, cut }
    }

    /// What came off its host worn out, failed or condemned is no stock, unless it was counted since; nor is what must not
    /// be used and is in no count.
    fn is_no_stock(&self, spot: &Spot, ids: &[ItemId], piece: &Piece) -> bool {
        let off = ids.iter().filter_map(|id| self.came_off(self.fleet.item(*id))).max();
        let Some(off) = off.filter(|_| !piece.blocked.is_empty()) else { return false };
        if spot.moves.iter().any(|row| row.reason == "count" && row.at >= off.0) {
            return false;
        }
        let spent = |id: &ItemId| {
            let shut = self.evaluator.shut(*id);
            matches!(shut, Some(Shut::Failed(_) | Shut::Condemned(_)))
        };
        let worn = piece.blocked.iter().any(|why| matches!(why, Blocked::WornOut(_)));
        worn || ids.iter().any(spent) || !spot.moves.is_empty()
    }

    /// When gear came off what it was last fitted to.
    fn came_off(&self, gear: &Gear) -> Option<Instant> {
        let cutoff = self.evaluator.cutoff(gear);
        gear.fittings.iter().map(|fit| fit.to).filter(|to| *to < cutoff).max()
    }

    /// Lots without tags, the newest that there are: what came first was tagged first.
    fn without_tags(&self, spot: &Spot, mut rest: Amount) -> Vec<(Piece, Amount)> {
        let mut found = Vec::new();
        for lot in spot.lots.iter().rev() {
            let own = rest.max(Amount::ZERO).min(lot.quantity);
            if !own.is_positive() {
                continue;
            }
            rest = rest - own;
            let expires = expires(spot.part, Some(lot.since));
            let mut blocked: Vec<Blocked> = past(expires, self.day).collect();
            blocked.extend(lot.order.clone().filter(|_| lot.held).map(Blocked::NoCertificate));
            found.push((Piece { expires, made: Some(lot.since), blocked, ..Piece::default() }, own));
        }
        found
    }

    fn order_of(&self, row: &Stock) -> Option<&Order> {
        self.kept.orders.get(row.key.strip_prefix("receipt ")?)
    }

    fn waits_for_certificate(&self, order: &Order) -> bool {
        let came = order.received_on.as_deref().is_some_and(|on| on <= &*self.day.to_string());
        came && order.certificate.is_none()
    }

    /// Holds the tagged pieces that came on orders without a certificate: those without one of their own, the newest
    /// first. What is left over of such orders.
    fn hold_uncertified(&self, spot: &Spot, pieces: &mut [(Piece, Amount)]) -> Amount {
        let mut unknown = Amount::ZERO;
        let own = self
            .kept
            .orders
            .values()
            .filter(|order| order.part == spot.part.key && order.place == spot.place);
        for order in own.filter(|order| self.waits_for_certificate(order)) {
            let why = Blocked::NoCertificate(order.key.clone());
            let known = pieces.iter().filter(|(piece, _)| piece.blocked.contains(&why));
            let mut rest = Amount::from_millionths(order.quantity) - known.map(|(_, amount)| *amount).sum();
            let bare = |piece: &Piece| !piece.tags.is_empty() && !self.has_certificate(&piece.tags);
            let mut newest: Vec<&mut (Piece, Amount)> =
                pieces.iter_mut().filter(|(piece, _)| bare(piece)).collect();
            newest.sort_by(|(a, _), (b, _)| (b.made, &b.tags).cmp(&(a.made, &a.tags)));
            for (piece, amount) in newest {
                if rest.is_positive() {
                    rest = rest - *amount;
                    piece.blocked.push(why.clone());
                }
            }
            unknown += rest.max(Amount::ZERO);
        }
        unknown
    }

    fn has_certificate(&self, tags: &[String]) -> bool {
        tags.iter().any(|tag| {
            let own = self.kept.items.get(tag).is_some_and(|item| item.certificate.is_some());
            let id = self.fleet.find(tag);
            own || self.papers.certificates.iter().any(|paper| Some(paper.item) == id)
        })
    }

    /// Pieces with tags that lie in a place, by part and place: drums of what is cut by the metre, and gear that is
    /// fitted nowhere. A set of which one piece of the part is made is one.
    fn tagged(&self, end: Instant) -> BTreeMap<String, Tagged> {
        let issued = self.issued(end);
        let mut sets: BTreeMap<(String, String, String), Vec<ItemId>> = BTreeMap::new();
        for id in self.fleet.ids() {
            let gear = self.fleet.item(id);
            let Some((part, place)) = self.lies(gear, &issued) else { continue };
            let serves = part.serves.unwrap_or(1) > 1;
            let set = gear.set.as_deref().filter(|_| serves).unwrap_or(&gear.tag);
            sets.entry((part.key.clone(), place, set.to_owned())).or_default().push(id);
        }
        let mut found: BTreeMap<String, Tagged> = BTreeMap::new();
        for ((part, place, _), ids) in sets {
            found.entry(part).or_default().entry(place).or_default().push(ids);
        }
        found
    }

    /// Wires cut off drums and not fitted yet, by part and place; a pair is one. A piece of a wire that was in use is no
    /// new wire.
    fn cut_wires(&self, end: Instant) -> BTreeMap<String, Tagged> {
        let issued = self.issued(end);
        let mut sets: BTreeMap<(&str, String, &str), Vec<ItemId>> = BTreeMap::new();
        for id in self.fleet.ids() {
            let gear = self.fleet.item(id);
            let off_a_drum = gear.cut_from.is_some_and(|from| self.kind_of(from) == DRUM);
            let there = gear.entered_service_on.is_none_or(|cut| cut <= self.day);
            let waits = off_a_drum && there && gear.fittings.iter().all(|fit| fit.from >= end);
            if !waits || self.evaluator.is_withdrawn(gear) || issued.contains_key(&*gear.tag) {
                continue;
            }
            let Some(row) = self.kept.items.get(&*gear.tag) else { continue };
            let part = row.part.as_ref().and_then(|part| self.kept.parts.get(part));
            let Some(part) = part.filter(|part| part.unit == "m" && part.kind == row.kind) else { continue };
            let place = row.station.clone().unwrap_or_else(|| LOFT.to_owned());
            let set = gear.set.as_deref().unwrap_or(&gear.tag);
            sets.entry((&part.key, place, set)).or_default().push(id);
        }
        let mut found: BTreeMap<String, Tagged> = BTreeMap::new();
        for ((part, place, _), ids) in sets {
            found.entry(part.to_owned()).or_default().entry(place).or_default().push(ids);
        }
        found
    }

    fn kind_of(&self, id: ItemId) -> &str {
        &self.set.kinds.kind(self.fleet.item(id).kind).name
    }

    fn shortest(&self, ids: &[ItemId]) -> Amount {
        let lengths = ids.iter().map(|id| number(self.fleet.item(*id), "length_m").unwrap_or(Amount::ZERO));
        lengths.min().unwrap_or(Amount::ZERO)
    }

    /// When each tag was issued last.
    fn issued(&self, end: Instant) -> HashMap<&str, i64> {
        let mut found: HashMap<&str, i64> = HashMap::new();
        for row in self.kept.stock.iter().filter(|row| row.quantity < 0 && row.at < end.0) {
            for tag in row.items.iter().flat_map(|tags| tags.split(';')).map(str::trim) {
                let last = found.entry(tag).or_insert(row.at);
                *last = row.at.max(*last);
            }
        }
        found
    }

    /// The part and the place of gear on a shelf. What was issued by its tag is on its way to where it will be fitted,
    /// unless it came off there again; part of a batch, or of a drum, leaves the rest.
    fn lies(&self, gear: &Gear, issued: &HashMap<&str, i64>) -> Option<(&Part, String)> {
        let row = self.kept.items.get(&*gear.tag)?;
        let part = self.kept.parts.get(row.part.as_ref()?)?;
        let wanted = if part.unit == "m" { DRUM } else { &part.kind };
        let cutoff = self.evaluator.cutoff(gear);
        let off = fitted_at(gear, cutoff).is_none() && !self.evaluator.is_withdrawn(gear);
        let whole = part.unit != "m" && self.kept.quantity(&gear.tag) == 1;
        let gone = issued.get(&*gear.tag).filter(|_| whole);
        let is_gone = gone.is_some_and(|at| self.came_off(gear).is_none_or(|off| off.0 <= *at));
        let stores = if part.unit == "m" { LOFT } else { STORES };
        (row.kind == wanted && off && !is_gone)
            .then(|| (part, row.station.clone().unwrap_or_else(|| stores.to_owned())))
    }

    fn piece(&self, spot: &Spot, ids: &[ItemId]) -> Piece {
        let gear = || ids.iter().map(|id| self.fleet.item(*id));
        // Of what nobody knows when it was made, the oldest receipt says by when it was.
        let made = gear().filter_map(|gear| gear.manufactured_on).min();
        let made = made.or_else(|| spot.lots.first().map(|lot| lot.since));
        let lives = gear().filter_map(|gear| {
            let station = self.fleet.station_of(gear).map(|station| &*station.slug);
            life_ends(self.set, gear, station)
        });
        let expires = lives.chain(expires(spot.part, made)).min();
        let mut blocked: Vec<Blocked> = Vec::new();
        for found in ids.iter().flat_map(|id| self.blocked(*id)).chain(past(expires, self.day)) {
            if !blocked.contains(&found) {
                blocked.push(found);
            }
        }
        Piece {
            tags: gear().map(|gear| gear.tag.to_string()).collect(),
            expires,
            certified_until: ids.iter().filter_map(|id| self.certified_until(*id)).min(),
            examine_by: ids.iter().filter_map(|id| self.examine_by(*id)).min(),
            made,
            blocked,
        }
    }

    /// What stands against the issue of an item.
    fn blocked(&self, id: ItemId) -> Vec<Blocked> {
        let gear = self.fleet.item(id);
        let today = self.evaluator.day(gear);
        let mut found = Vec::new();
        if self.evaluator.shut(id).is_some() {
            found.push(Blocked::SetAside);
        }
        let was_used = !gear.fittings.is_empty() || !gear.opening.is_empty();
        for row in self.evaluator.standing_rows_of(id) {
            let rule = self.set.rule(row.rule);
            if is_examination(rule.work) && row.standing == Standing::Overdue {
                found.push(Blocked::Examination { rule: rule.title.clone(), due: row.due_on });
            }
            let spent =
                row.used_up || row.held || (row.standing == Standing::Overdue && row.due_on.is_some());
            if rule.work == Work::Renewal && was_used && spent {
                found.push(Blocked::WornOut(rule.title.clone()));
            }
        }
        let papers = self.papers.certificates.iter().filter(|paper| paper.item == id);
        found.extend(lapsed(papers, today).and_then(|paper| paper.valid_until).map(Blocked::Certificate));
        let mut defects = self.papers.defects.iter().filter(|defect| defect.item == id);
        found.extend(defects.any(|defect| defect.stops_launch(today)).then_some(Blocked::Defect));
        found
    }

    /// The day by which an item must be examined again; none where it is overdue already, or never due.
    fn examine_by(&self, id: ItemId) -> Option<Date> {
        let rows = self.evaluator.standing_rows_of(id).into_iter();
        let own = rows.filter(|row| is_examination(self.set.rule(row.rule).work));
        own.filter(|row| row.standing != Standing::Overdue).filter_map(|row| row.calendar_due).min()
    }

    /// The last day of an item's newest certificate that has one.
    fn certified_until(&self, id: ItemId) -> Option<Date> {
        let own = self.papers.certificates.iter();
        let own = own
            .filter(|paper| paper.item == id && paper.issued_on <= self.day && paper.valid_until.is_some());
        own.max_by_key(|paper| (paper.issued_on, paper.valid_until)).and_then(|paper| paper.valid_until)
    }

    /// How much of the part a piece is: one, as many as a batch has, or what is left on a drum.
    fn amount(&self, part: &Part, ids: &[ItemId]) -> Amount {
        if part.unit == "m" {
            return ids.iter().filter_map(|id| left_on(self.fleet.item(*id))).sum();
        }
        let quantity = ids.first().map_or(1, |id| self.kept.quantity(&self.fleet.item(*id).tag));
        Amount::whole(i64::from(quantity))
    }
}

fn is_examination(work: Work) -> bool {
    matches!(work, Work::ThoroughExamination | Work::ProofLoadTest)
}

fn past(expires: Option<Date>, day: Date) -> impl Iterator<Item = Blocked> {
    expires.filter(|expires| *expires < day).map(Blocked::ShelfLife).into_iter()
}

fn expires(part: &Part, made: Option<Date>) -> Option<Date> {
    let life: Span = part.shelf_life.as_ref()?.parse().ok()?;
    Some(life.after(made?, 1))
}

/// Metres that are left on a drum.
pub(super) fn left_on(gear: &Gear) -> Option<Amount> {
    number(gear, "length_left_m")
}

fn number(gear: &Gear, attribute: &str) -> Option<Amount> {
    gear.attributes.iter().find_map(|(column, value)| match value {
        Value::Number(number) if **column == *attribute => Some(*number),
        _ => None,
    })
}
