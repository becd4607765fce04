//! Lots on the shelf: what is left of each receipt, place by place. A lot keeps its age wherever it is moved and however
//! often it is counted: life on the shelf runs from its making, or its receipt at the latest.

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::amount::Amount;
use crate::zone::Instant;

/// Why stock moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// It came, or was brought from another place.
    Receipt,
    /// It went out, or to another place.
    Issue,
    /// It was counted.
    Count,
    /// It was scrapped.
    Scrap,
}

/// A move of one part's stock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moved<'r> {
    /// Its key.
    pub key: &'r str,
    /// Place.
    pub place: &'r str,
    /// When.
    pub at: Instant,
    /// The day at home.
    pub day: Date,
    /// How much; below nought where it left.
    pub quantity: Amount,
    /// Why.
    pub why: Why,
    /// The order that it came on.
    pub order: Option<&'r str>,
    /// Whether that order waits for its certificate to this day, so that nothing of it can have gone out.
    pub held: bool,
}

/// What is left of one receipt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lot {
    /// How much.
    pub quantity: Amount,
    /// The day it was received: it was made by then at the latest.
    pub since: Date,
    /// The order that it came on.
    pub order: Option<String>,
    /// Whether it is held until its certificate comes.
    pub held: bool,
}

/// What lies in one place.
#[derive(Default)]
struct Shelf {
    /// The oldest first.
    lots: Vec<Lot>,
    /// Age of what left last.
    gone: Option<Date>,
}

/// A first count of so much is worth a second.
const FIRST_COUNT: i64 = 1_000;

/// Whether a count is likely a digit too long, so that it is to be taken again: ten times what the records have, or a
/// thousand where they have nothing. Too much on the books is a spare that is not there when it is wanted.
pub fn wants_second_count(recorded: Amount, found: Amount) -> bool {
    let tenfold = Amount::from_millionths(recorded.millionths().saturating_mul(10));
    found >= if recorded.is_positive() { tenfold } else { Amount::whole(FIRST_COUNT) }
}

/// Lots by place, the oldest first, after every move of one part.
pub fn lots(moves: &[Moved]) -> BTreeMap<String, Vec<Lot>> {
    let mut order: Vec<usize> = (0..moves.len()).collect();
    // At one moment what leaves has left before it arrives.
    order.sort_by_key(|at| (moves[*at].at, !moves[*at].quantity.is_negative(), moves[*at].key));
    let arrives = pairs(moves, &order);
    let mut shelves: BTreeMap<&str, Shelf> = BTreeMap::new();
    let mut carried: BTreeMap<usize, Vec<Lot>> = BTreeMap::new();
    for at in order {
        let row = &moves[at];
        let shelf = shelves.entry(row.place).or_default();
        if row.quantity.is_negative() {
            let taken = shelf.take(Amount::ZERO - row.quantity);
            if let Some(there) = arrives.get(&at) {
                carried.insert(*there, taken);
            }
        } else {
            shelf.put(row, carried.remove(&at).unwrap_or_default());
        }
    }
    shelves.into_iter().map(|(place, shelf)| (place.to_owned(), shelf.lots)).collect()
}

/// What left one place for another, and where it arrived: as much, of the same moment.
fn pairs(moves: &[Moved], order: &[usize]) -> BTreeMap<usize, usize> {
    let mut found: BTreeMap<usize, usize> = BTreeMap::new();
    for from in order.iter().filter(|at| moves[**at].why == Why::Issue && moves[**at].quantity.is_negative())
    {
        let left = &moves[*from];
        let to = order.iter().find(|to| {
            let came = &moves[**to];
            (came.why, came.order) == (Why::Receipt, None)
                && (came.at, came.quantity) == (left.at, Amount::ZERO - left.quantity)
                && came.place != left.place
                && !found.values().any(|taken| taken == *to)
        });
        if let Some(to) = to {
            found.insert(*from, *to);
        }
    }
    found
}

impl Shelf {
    /// The oldest goes first, and what is held last: it was not to be issued at all.
    fn take(&mut self, mut wanted: Amount) -> Vec<Lot> {
        let mut taken = Vec::new();
        while wanted.is_positive() {
            let next = self.lots.iter().position(|lot| !lot.held).unwrap_or(0);
            let Some(lot) = self.lots.get_mut(next) else { break };
            let part = wanted.min(lot.quantity);
            (wanted, lot.quantity) = (wanted - part, lot.quantity - part);
            self.gone = Some(lot.since);
            taken.push(Lot { quantity: part, ..lot.clone() });
            if !lot.quantity.is_positive() {
                self.lots.remove(next);
            }
        }
        taken
    }

    /// What was carried keeps its age. More than was thought to be there is as old as the oldest that is, or as what left
    /// last.
    fn put(&mut self, row: &Moved, carried: Vec<Lot>) {
        let known: Amount = carried.iter().map(|lot| lot.quantity).sum();
        let counted =
            (row.why == Why::Count).then(|| self.lots.first().map(|lot| lot.since).or(self.gone)).flatten();
        let since = carried.first().map(|lot| lot.since).or(counted).unwrap_or(row.day);
        let rest = row.quantity - known;
        self.lots.extend(carried);
        if rest.is_positive() {
            self.lots.push(Lot {
                quantity: rest,
                since,
                order: row.order.map(str::to_owned),
                held: row.held,
            });
        }
        self.lots.sort_by_key(|lot| lot.since);
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn moved<'r>(key: &'r str, place: &'r str, day: Date, quantity: i64, why: Why) -> Moved<'r> {
        let at = Instant(i64::from((day - date(2020, 1, 1)).get_days()) * 86_400_000_000);
        Moved { key, place, at, day, quantity: Amount::whole(quantity), why, order: None, held: false }
    }

    fn told(moves: &[Moved], place: &str) -> Vec<(i64, Date)> {
        let all = lots(moves);
        let own = all.get(place).map_or(&[][..], Vec::as_slice);
        own.iter().map(|lot| (lot.quantity.millionths() / 1_000_000, lot.since)).collect()
    }

    /// Received in 2021 and 2024; three go to a station in 2026, the oldest first: there they are as old as they were.
    #[test]
    fn what_is_moved_keeps_its_age() {
        let moves = [
            moved("a", "stores", date(2021, 3, 1), 2, Why::Receipt),
            moved("b", "stores", date(2024, 3, 1), 4, Why::Receipt),
            moved("m2", "qnr", date(2026, 5, 1), 3, Why::Receipt),
            moved("m1", "stores", date(2026, 5, 1), -3, Why::Issue),
        ];
        assert_eq!(told(&moves, "stores"), [(3, date(2024, 3, 1))]);
        assert_eq!(told(&moves, "qnr"), [(2, date(2021, 3, 1)), (1, date(2024, 3, 1))]);
    }

    /// A count that finds more makes nothing young, nor one that finds again what was issued too much.
    #[test]
    fn what_is_counted_keeps_its_age() {
        let moves = [
            moved("a", "stores", date(2021, 3, 1), 2, Why::Receipt),
            moved("b", "stores", date(2026, 5, 1), 1, Why::Count),
            moved("c", "stores", date(2026, 6, 1), -3, Why::Issue),
            moved("d", "stores", date(2026, 7, 1), 1, Why::Count),
        ];
        assert_eq!(told(&moves[..2], "stores"), [(2, date(2021, 3, 1)), (1, date(2021, 3, 1))]);
        assert_eq!(told(&moves, "stores"), [(1, date(2021, 3, 1))]);
    }

    /// Four came first and wait for their certificate; of the five that came later three are issued, and none of the four.
    #[test]
    fn what_is_held_stays() {
        let moves = [
            Moved { held: true, ..moved("a", "stores", date(2021, 3, 1), 4, Why::Receipt) },
            moved("b", "stores", date(2026, 5, 1), 5, Why::Receipt),
            moved("c", "stores", date(2026, 6, 1), -3, Why::Issue),
        ];
        assert_eq!(told(&moves, "stores"), [(4, date(2021, 3, 1)), (2, date(2026, 5, 1))]);
        // What a count misses beyond that is missing of what is held.
        let missed = moved("d", "stores", date(2026, 7, 1), -3, Why::Count);
        assert_eq!(told(&[&moves[..], &[missed]].concat(), "stores"), [(3, date(2021, 3, 1))]);
    }

    #[test]
    fn a_digit_too_many_is_counted_again() {
        let asks = |recorded, found| wants_second_count(Amount::whole(recorded), Amount::whole(found));
        assert!(asks(4, 40) && asks(4, 1_000_000_000) && asks(0, 1_000) && asks(-2, 1_000));
        assert!(!asks(4, 39) && !asks(0, 999) && !asks(4, 0) && !asks(0, 0));
    }

    /// Two receipts of one day are two lots; an issue and a receipt on other days are no move.
    #[test]
    fn a_receipt_is_a_lot_of_its_own() {
        let moves = [
            moved("a", "stores", date(2021, 3, 1), 2, Why::Receipt),
            moved("c", "stores", date(2026, 6, 1), -2, Why::Issue),
            moved("d", "loft", date(2026, 6, 2), 2, Why::Receipt),
        ];
        assert_eq!(told(&moves, "loft"), [(2, date(2026, 6, 2))]);
        assert!(told(&moves, "stores").is_empty());
    }
}
