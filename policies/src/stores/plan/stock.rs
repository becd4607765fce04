//! What is there for needs: pieces, drums and lots, and what is on its way.

use jiff::civil::Date;

use super::{Comes, Line, Need};
use crate::amount::Amount;

/// Needs less likely than this before an order can be fitted are not named on it; the piece is the pool's (house).
const NAMED: f64 = 0.33;

/// What may be issued of one piece, drum or lot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Usable {
    /// Its tags; empty for a lot without.
    pub name: String,
    /// How much.
    pub quantity: Amount,
    /// The last day on which it may be issued: its shelf life ends; none where nothing ends it.
    pub until: Option<Date>,
    /// The day by which it must be examined again, or its certificate renewed, to be issued.
    pub examine_by: Option<Date>,
    /// Wires that are cut to length already.
    pub cut: Option<CutWires>,
}

/// Wires that were cut off one drum and belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CutWires {
    /// How many.
    pub wires: u64,
    /// What the shortest of them took off the drum.
    pub each: Amount,
}

impl Usable {
    /// So much of what nothing ends.
    pub fn lasting(quantity: Amount) -> Usable {
        Usable { name: String::new(), quantity, until: None, examine_by: None, cut: None }
    }

    /// Whether it may still be issued on a day.
    pub fn lasts(&self, day: Date) -> bool {
        self.until.is_none_or(|until| day <= until)
    }
}

impl Line {
    /// What may be issued of what is there.
    pub fn usable(&self) -> Amount {
        let usable = self.on_hand - self.blocked;
        if usable.is_negative() { Amount::ZERO } else { usable }
    }

    /// Expected demand in the part's unit.
    pub fn demand_mean(&self) -> f64 {
        self.demand.mean() * self.each.to_f64()
    }

    /// Pieces that so much makes: remnants are not joined, and wires that belong together come off one drum.
    pub fn pieces_in(&self, quantity: Amount) -> u64 {
        let together = u64::from(self.together.max(1));
        let unit = times(self.each, together);
        u64::try_from(quantity.millionths().max(0) / unit.millionths().max(1)).unwrap_or(0) * together
    }

    /// Pieces that a lot makes. Of cut wires each that is long enough is one, and fewer than belong together are none.
    fn pieces_of(&self, lot: &Usable) -> u64 {
        let Some(cut) = lot.cut else { return self.pieces_in(lot.quantity) };
        let together = u64::from(self.together.max(1));
        if cut.each < self.each { 0 } else { cut.wires / together * together }
    }

    /// Pieces that are there and may be issued on a day.
    pub fn pieces_on(&self, day: Date) -> u64 {
        let lots = self.lots.iter().filter(|lot| lot.lasts(day));
        lots.map(|lot| self.pieces_of(lot)).sum()
    }

    /// Pieces that may be issued.
    pub fn usable_pieces(&self) -> u64 {
        self.lots.iter().map(|lot| self.pieces_of(lot)).sum()
    }

    /// Pieces of these that are cut to length already: they are not in the metres on hand.
    pub fn cut_pieces(&self) -> u64 {
        self.lots.iter().filter(|lot| lot.cut.is_some()).map(|lot| self.pieces_of(lot)).sum()
    }

    /// Pieces that can be fitted by a day: what may still be issued then, and what comes until then.
    pub fn pieces_by(&self, day: Date) -> u64 {
        let coming = self.on_way.iter().filter(|coming| coming.usable_on <= day);
        self.pieces_on(day) + coming.map(|coming| self.pieces_in(coming.quantity)).sum::<u64>()
    }

    /// Pieces that no certain need asks for.
    pub fn free_pieces(&self) -> u64 {
        self.usable_pieces().saturating_sub(self.bespoken())
    }

    /// The needs that so many pieces are for, the likeliest first, and how many are the pool's.
    pub fn for_whom(&self, mut pieces: u64) -> (Vec<&Need>, u64) {
        let mut found = Vec::new();
        let open = self.needs.iter().filter(|need| !need.served && need.comes.is_none());
        for need in open.filter(|need| need.chance >= NAMED) {
            if need.pieces > pieces {
                break;
            }
            pieces -= need.pieces;
            found.push(need);
        }
        (found, pieces)
    }

    /// Pieces of needs that are certain before an order of today can be fitted.
    pub fn bespoken(&self) -> u64 {
        let certain = self.needs.iter().filter(|need| need.is_certain_by(self.usable_on));
        certain.map(|need| need.pieces).sum()
    }

    /// So many pieces as they are sold: whole packs, of a drum only what it makes.
    pub(super) fn to_order(&self, pieces: u64, pack: Option<Amount>) -> Amount {
        let amount = times(self.each, pieces);
        let Some(pack) = pack.filter(|pack| pack.is_positive()) else { return amount };
        match self.pieces_in(pack) {
            0 => in_packs(amount, pack),
            each => times(pack, pieces.div_ceil(each)),
        }
    }

    /// What is there goes to stations that need it, by their days, those that are certain first; what is ordered to those
    /// that then remain. What is laid up comes last.
    pub(super) fn serve(&mut self) {
        let usable_on = self.usable_on;
        let mut order: Vec<usize> = (0..self.needs.len()).collect();
        order.retain(|at| self.needs[*at].is_certain_by(usable_on) || self.needs[*at].exposed);
        order.sort_by_key(|at| {
            let need = &self.needs[*at];
            let idle = need.laid_up || need.station.is_none();
            (idle, !need.stops_launch, !need.is_certain_by(usable_on), need.ready_by, need.items.clone())
        });
        let mut lots: Vec<(Usable, u64)> =
            self.lots.iter().map(|lot| (lot.clone(), self.pieces_of(lot))).collect();
        let mut coming: Vec<(Comes, u64)> =
            self.on_way.iter().map(|own| (comes(own), self.pieces_in(own.quantity))).collect();
        for at in order {
            let need = &mut self.needs[at];
            if !from_shelf(need, &mut lots) {
                from_orders(need, &mut coming);
            }
        }
    }
}

fn comes(coming: &super::Coming) -> Comes {
    Comes { order: coming.order.clone(), usable_on: coming.usable_on, late_days: 0 }
}

/// Gives a need what lasts until it comes, in the order of issue; wires of a pair come off one drum.
fn from_shelf(need: &mut Need, lots: &mut [(Usable, u64)]) -> bool {
    let lasts = |lot: &Usable| need.ready_by.is_none_or(|day| lot.lasts(day));
    let enough: u64 = lots.iter().filter(|(lot, _)| lasts(lot)).map(|(_, left)| *left).sum();
    if enough < need.pieces {
        return false;
    }
    let whole = lots.iter().position(|(lot, left)| lasts(lot) && *left >= need.pieces);
    let mut wanted = need.pieces;
    for (at, (lot, left)) in lots.iter_mut().enumerate() {
        if wanted == 0 || !lasts(lot) || whole.is_some_and(|whole| whole != at) {
            continue;
        }
        let taken = wanted.min(*left);
        (wanted, *left) = (wanted - taken, *left - taken);
        let lapses = lot.examine_by.filter(|by| need.ready_by.is_some_and(|day| *by < day));
        if let Some(by) = lapses.filter(|_| taken > 0 && need.examine.is_none()) {
            need.examine = Some((lot.name.clone(), by));
        }
    }
    need.served = true;
    true
}

/// Gives a need what is ordered, as it comes.
fn from_orders(need: &mut Need, coming: &mut [(Comes, u64)]) {
    if coming.iter().map(|(_, left)| *left).sum::<u64>() < need.pieces {
        return;
    }
    let mut wanted = need.pieces;
    for (comes, left) in coming.iter_mut().filter(|(_, left)| *left > 0) {
        let taken = wanted.min(*left);
        (wanted, *left) = (wanted - taken, *left - taken);
        if wanted == 0 {
            let usable_on = comes.usable_on.saturating_add(jiff::Span::new().days(need.lag_days));
            let late = need.ready_by.map_or(0, |day| (usable_on - day).get_days());
            need.comes = Some(Comes { order: comes.order.clone(), usable_on, late_days: late.max(0) });
            return;
        }
    }
}

impl Need {
    /// Whether it is certain by a day.
    pub fn is_certain_by(&self, day: Date) -> bool {
        self.certain.as_ref().is_some_and(|certain| certain.on <= day)
    }

    /// Whether it comes before anything that is there or ordered can be fitted.
    pub fn waits_too_long(&self) -> bool {
        self.exposed && !self.served && self.comes.as_ref().is_none_or(|comes| comes.late_days > 0)
    }
}

pub(super) fn times(each: Amount, pieces: u64) -> Amount {
    let pieces = i64::try_from(pieces).unwrap_or(i64::MAX);
    Amount::from_millionths(each.millionths().saturating_mul(pieces))
}

/// Rounded up to whole packs.
fn in_packs(amount: Amount, pack: Amount) -> Amount {
    let packs = amount.millionths().div_euclid(pack.millionths())
        + i64::from(amount.millionths().rem_euclid(pack.millionths()) > 0);
    Amount::from_millionths(pack.millionths().saturating_mul(packs))
}
