//! Stock reckoned again from its moves: no place can hold less than nothing of a part, what is left on drums is what
//! its moves come to; and what came on an order was received.

use std::collections::{BTreeMap, BTreeSet};

use policies::amount::Amount;
use policies::zone::{Instant, Zone};

use crate::desk::{Desk, DeskError};
use crate::records::{DRUM, Order, Stock};
use crate::stores::kept::Kept;
use crate::stores::shelf::{self, Held};

/// Every place that its moves leave with less than nothing or with another length than its drums, every part whose drums
/// are gone, every move and order of a part that is not known, and every order that came and brought nothing; then what
/// no drum on record can be held against.
///
/// # Errors
/// The store's failure.
pub(super) async fn differences(desk: &Desk) -> Result<(Vec<String>, Vec<String>), DeskError> {
    let kept = Kept::known(&desk.store, None).await?;
    let mut found = moves(&kept);
    found.extend(orders(&kept, &desk.set.service.home_zone));
    let fleet = desk.store.fleet(&desk.set, None).await?.fleet;
    let shelves = shelf::look(&desk.set, &fleet, &kept, desk.as_of());
    let (gone, unchecked) = without_drums(&kept, &shelves);
    found.extend(gone);
    for held in shelves {
        let on_drums = held.pieces.iter().filter(|(piece, _)| !piece.tags.is_empty());
        let tagged: Amount = on_drums.map(|(_, amount)| *amount).sum();
        let metres = kept.parts.get(&held.part).is_some_and(|part| part.unit == "m");
        if metres && tagged.is_positive() && held.by_moves != tagged {
            found.push(format!(
                "stock: {} at {}: {} m by its moves, but {tagged} m on drums: something was not received, cut or counted",
                held.part, held.place, held.by_moves
            ));
        }
    }
    Ok((found, unchecked))
}

/// Parts of which no place has a drum although their moves leave some: those that ever had a drum on record, a void or
/// withdrawn one too, have lost it; of the others the moves alone say what is left.
fn without_drums(kept: &Kept, shelves: &[Held]) -> (Vec<String>, Vec<String>) {
    let (mut gone, mut unchecked) = (Vec::new(), Vec::new());
    for part in kept.parts.values().filter(|part| part.unit == "m") {
        let own = || shelves.iter().filter(|held| held.part == part.key);
        let left: Amount = own().map(|held| held.by_moves).sum();
        if !left.is_positive() || own().any(Held::has_tags) {
            continue;
        }
        let own = kept.items.iter().filter(|(_, item)| item.part.as_ref() == Some(&part.key));
        let drums = own.filter(|(_, item)| item.kind == DRUM);
        let mut drums: Vec<&str> = drums.map(|(tag, _)| &**tag).collect();
        drums.sort_unstable();
        if drums.is_empty() {
            unchecked.push(format!(
                "stock: {}: {left} m by its moves; no drum of it is on record to hold that against",
                part.key
            ));
        } else {
            gone.push(format!(
                "stock: {}: {left} m by its moves, but none of its drums is there (on record: {}): something was not cut, \
                 counted or recorded",
                part.key,
                drums.join(", ")
            ));
        }
    }
    (gone, unchecked)
}

fn moves(kept: &Kept) -> Vec<String> {
    let mut moves: Vec<&Stock> = kept.stock.iter().collect();
    moves.sort_by(|a, b| (a.at, &a.key).cmp(&(b.at, &b.key)));
    let mut found = Vec::new();
    let mut held: BTreeMap<(&str, &str), i64> = BTreeMap::new();
    for row in moves {
        if !kept.parts.contains_key(&row.part) {
            found.push(format!("stock: {}: no part is called \"{}\"", row.key, row.part));
        }
        let sum = held.entry((&row.part, &row.place)).or_default();
        *sum = sum.saturating_add(row.quantity);
        if *sum < 0 {
            let left = Amount::from_millionths(*sum);
            let on = Instant(row.at).timestamp().strftime("%-d %b %Y");
            found.push(format!(
                "stock: {} at {}: {left} after {} of {on}, reckoned 0 or more: something was not received or counted",
                row.part, row.place, row.key
            ));
        }
    }
    found
}

/// Orders that came, each against a receipt of its own: the one that bears its number; else one of the same part, place,
/// day and amount that stands for no other.
fn orders(kept: &Kept, home: &Zone) -> Vec<String> {
    let mut found = Vec::new();
    let mut taken: BTreeSet<&str> = BTreeSet::new();
    let receipts = || kept.stock.iter().filter(|row| row.reason == "receipt" && row.quantity > 0);
    let named = |order: &Order, row: &Stock| row.key == format!("receipt {}", order.key);
    let came = |order: &&Order| order.received_on.is_some();
    taken.extend(
        kept.orders
            .values()
            .filter(came)
            .flat_map(|order| receipts().filter(|row| named(order, row)).map(|row| &*row.key)),
    );
    for order in kept.orders.values() {
        if !kept.parts.contains_key(&order.part) {
            found.push(format!("order {}: no part is called \"{}\"", order.key, order.part));
        }
        let Some(on) = &order.received_on else { continue };
        let like = |row: &&Stock| {
            (&row.part, &row.place, row.quantity) == (&order.part, &order.place, order.quantity)
        };
        let own = receipts().filter(like).find(|row| named(order, row)).or_else(|| {
            let day =
                |row: &Stock| row.day.clone().unwrap_or_else(|| home.date_of(Instant(row.at)).to_string());
            let mut others = receipts().filter(like).filter(|row| day(row) == *on);
            others.find(|row| !taken.contains(&*row.key))
        });
        if let Some(row) = own {
            taken.insert(&row.key);
            continue;
        }
        let quantity = Amount::from_millionths(order.quantity);
        found.push(format!(
            "order {}: it came, but no receipt of {quantity} {} is on record for it",
            order.key, order.part
        ));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::Part;

    fn kept(orders: Vec<Order>, stock: Vec<Stock>) -> Kept {
        let part = Part { key: "P".to_owned(), unit: "each".to_owned(), ..Part::default() };
        let orders = orders.into_iter().map(|order| (order.key.clone(), order)).collect();
        let parts = [(part.key.clone(), part)].into();
        Kept { parts, stock, orders, ..Kept::default() }
    }

    fn order(key: &str, quantity: i64) -> Order {
        Order {
            key: key.to_owned(),
            part: "P".to_owned(),
            place: "stores".to_owned(),
            quantity,
            received_on: Some("2026-10-12".to_owned()),
            ..Order::default()
        }
    }

    fn receipt(key: &str, quantity: i64, day: &str) -> Stock {
        Stock {
            key: key.to_owned(),
            part: "P".to_owned(),
            place: "stores".to_owned(),
            quantity,
            reason: "receipt".to_owned(),
            day: Some(day.to_owned()),
            ..Stock::default()
        }
    }

    #[test]
    fn an_order_that_came_has_a_receipt_of_its_own() {
        let two = || vec![order("OS-1", 3), order("OS-2", 3)];
        let one = vec![receipt("ST-1", 3, "2026-10-12")];
        assert_eq!(
            orders(&kept(two(), one), &Zone::utc()).len(),
            1,
            "one receipt does not stand for two orders"
        );
        let both = vec![receipt("ST-1", 3, "2026-10-12"), receipt("receipt OS-1", 3, "2026-10-12")];
        assert_eq!(orders(&kept(two(), both), &Zone::utc()), Vec::<String>::new());
        let other = vec![receipt("receipt OS-9", 30, "2026-10-12"), receipt("ST-1", 3, "2026-09-01")];
        assert_eq!(
            orders(&kept(vec![order("OS-1", 3)], other), &Zone::utc()).len(),
            1,
            "nor does any receipt of the part"
        );
        let short = vec![receipt("receipt OS-1", 2, "2026-10-12")];
        assert_eq!(orders(&kept(vec![order("OS-1", 3)], short), &Zone::utc()).len(), 1, "nor less than came");
    }
}
