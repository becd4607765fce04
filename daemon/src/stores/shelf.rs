//! What is where: moves of stock, pieces with tags, and what of them must not be issued.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::{Fleet, Item as Gear, ItemId};
use policies::load::PolicySet;
use policies::readiness::lapsed;
use policies::rule::{Value, Work};
use policies::span::Span;
use policies::standing::Standing;
use policies::stores::shelf::{Blocked, Piece, in_order_of_issue};
use policies::zone::Instant;

use super::kept::{Kept, LOFT, PapersOf, STORES};
use crate::gear::fitted_at;
use crate::records::{Order, Part, Stock};

/// Kind of the stock that wires are cut from.
pub(crate) const DRUM: &str = "drum";

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
}

impl Held {
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

pub(super) fn held(ground: &Ground) -> Vec<Held> {
    let end = ground.set.service.home_zone.end_of(ground.day);
    let mut moves: BTreeMap<(&str, &str), Vec<&Stock>> = BTreeMap::new();
    for row in ground.kept.stock.iter().filter(|row| row.at < end.0) {
        moves.entry((&row.part, &row.place)).or_default().push(row);
    }
    let tagged = ground.tagged();
    let keys = moves.keys().map(|(part, place)| ((*part).to_owned(), (*place).to_owned()));
    let keys: BTreeSet<(String, String)> = keys.chain(tagged.keys().cloned()).collect();
    let mut found = Vec::with_capacity(keys.len());
    for (part, place) in keys {
        let Some(known) = ground.kept.parts.get(&part) else { continue };
        let own = moves.get(&(&*part, &*place)).map_or(&[][..], Vec::as_slice);
        let pieces = tagged.get(&(part.clone(), place.clone())).cloned().unwrap_or_default();
        found.push(ground.place(known, place.clone(), own, pieces));
    }
    found
}

impl Ground<'_> {
    fn place(&self, part: &Part, place: String, moves: &[&Stock], mut pieces: Vec<(Piece, Amount)>) -> Held {
        let by_moves: Amount = moves.iter().map(|row| Amount::from_millionths(row.quantity)).sum();
        if pieces.is_empty() {
            pieces = self.lots(part, moves);
        }
        let tagged: Amount = pieces.iter().map(|(_, amount)| *amount).sum();
        // What was issued and is not fitted yet has left the shelf all the same.
        let on_hand = if moves.is_empty() { tagged } else { by_moves };
        let shut = pieces.iter().filter(|(piece, _)| !piece.blocked.is_empty()).map(|(_, amount)| *amount);
        let blocked: Amount = shut.chain([self.without_certificate(part, &place)]).sum();
        let mut order: Vec<Piece> = pieces.iter().map(|(piece, _)| piece.clone()).collect();
        in_order_of_issue(&mut order);
        pieces.sort_by_key(|(piece, _)| order.iter().position(|have| have == piece));
        Held { part: part.key.clone(), place, on_hand, blocked: blocked.min(on_hand), by_moves, pieces }
    }

    /// What came on orders without a certificate and waits for it.
    fn without_certificate(&self, part: &Part, place: &str) -> Amount {
        let waits = |order: &&Order| {
            order.part == part.key
                && order.place == place
                && order.certificate.is_none()
                && order.received_on.as_deref().is_some_and(|on| on <= &*self.day.to_string())
        };
        self.kept.orders.values().filter(waits).map(|order| Amount::from_millionths(order.quantity)).sum()
    }

    /// Pieces with tags that lie in a place, by part and place: drums of what is cut by the metre, and gear that is
    /// fitted nowhere. A set of which one piece of the part is made is one.
    fn tagged(&self) -> BTreeMap<(String, String), Vec<(Piece, Amount)>> {
        let mut sets: BTreeMap<(String, String, String), Vec<ItemId>> = BTreeMap::new();
        for id in self.fleet.ids() {
            let gear = self.fleet.item(id);
            let Some((part, place)) = self.lies(gear) else { continue };
            let serves = part.serves.unwrap_or(1) > 1;
            let set = gear.set.as_deref().filter(|_| serves).unwrap_or(&gear.tag);
            sets.entry((part.key.clone(), place, set.to_owned())).or_default().push(id);
        }
        let mut found: BTreeMap<(String, String), Vec<(Piece, Amount)>> = BTreeMap::new();
        for ((part, place, _), ids) in sets {
            let Some(known) = self.kept.parts.get(&part) else { continue };
            found.entry((part, place)).or_default().push((self.piece(known, &ids), self.amount(known, &ids)));
        }
        found
    }

    /// The part and the place of gear on a shelf.
    fn lies(&self, gear: &Gear) -> Option<(&Part, String)> {
        let row = self.kept.items.get(&*gear.tag)?;
        let part = self.kept.parts.get(row.part.as_ref()?)?;
        let wanted = if part.unit == "m" { DRUM } else { &part.kind };
        let cutoff = self.evaluator.cutoff(gear);
        let off = fitted_at(gear, cutoff).is_none() && !self.evaluator.is_withdrawn(gear);
        let stores = if part.unit == "m" { LOFT } else { STORES };
        (row.kind == wanted && off).then(|| (part, row.station.clone().unwrap_or_else(|| stores.to_owned())))
    }

    fn piece(&self, part: &Part, ids: &[ItemId]) -> Piece {
        let gear = || ids.iter().map(|id| self.fleet.item(*id));
        let expires = gear().filter_map(|gear| expires(part, gear.manufactured_on)).min();
        let mut blocked: Vec<Blocked> = Vec::new();
        for found in ids.iter().flat_map(|id| self.blocked(*id)).chain(past(expires, self.day)) {
            if !blocked.contains(&found) {
                blocked.push(found);
            }
        }
        Piece {
            tags: gear().map(|gear| gear.tag.to_string()).collect(),
            expires,
            made: gear().filter_map(|gear| gear.manufactured_on).min(),
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
        let rows = self.evaluator.standing_rows_of(id);
        let examined = rows.iter().filter(|row| {
            let work = self.set.rule(row.rule).work;
            matches!(work, Work::ThoroughExamination | Work::ProofLoadTest)
                && row.standing == Standing::Overdue
        });
        found.extend(
            examined.map(|row| Blocked::Examination {
                rule: self.set.rule(row.rule).id.clone(),
                due: row.due_on,
            }),
        );
        let papers = self.papers.certificates.iter().filter(|paper| paper.item == id);
        found.extend(lapsed(papers, today).and_then(|paper| paper.valid_until).map(Blocked::Certificate));
        let mut defects = self.papers.defects.iter().filter(|defect| defect.item == id);
        found.extend(defects.any(|defect| defect.stops_launch(today)).then_some(Blocked::Defect));
        found
    }

    /// How much of the part a piece is: one, as many as a batch has, or what is left on a drum.
    fn amount(&self, part: &Part, ids: &[ItemId]) -> Amount {
        if part.unit == "m" {
            return ids.iter().filter_map(|id| left_on(self.fleet.item(*id))).sum();
        }
        let quantity = ids.first().map_or(1, |id| self.kept.quantity(&self.fleet.item(*id).tag));
        Amount::whole(i64::from(quantity))
    }

    /// Of a part without tags, what is left of each receipt: what came first went first. It was made by then at the
    /// latest, so its shelf life ends no later.
    fn lots(&self, part: &Part, moves: &[&Stock]) -> Vec<(Piece, Amount)> {
        let mut rows: Vec<&&Stock> = moves.iter().collect();
        rows.sort_by_key(|row| (row.at, &row.key));
        let taken: i64 = rows.iter().map(|row| row.quantity.min(0)).sum();
        let mut gone = -taken;
        let mut lots = Vec::new();
        for row in rows.iter().filter(|row| row.quantity > 0) {
            let left = row.quantity - gone.min(row.quantity);
            gone -= gone.min(row.quantity);
            if left > 0 {
                let came = self.set.service.home_zone.date_of(Instant(row.at));
                let expires = expires(part, Some(came));
                let blocked = past(expires, self.day).collect();
                lots.push((
                    Piece { tags: Vec::new(), expires, made: Some(came), blocked },
                    Amount::from_millionths(left),
                ));
            }
        }
        lots
    }
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
    gear.attributes.iter().find_map(|(column, value)| match value {
        Value::Number(left) if **column == *"length_left_m" => Some(*left),
        _ => None,
    })
}
