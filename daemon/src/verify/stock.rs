//! Stock reckoned again from its moves: no place can hold less than nothing of a part, what is left on drums is what
//! its moves come to; and what came on an order was received.

use std::collections::BTreeMap;

use policies::amount::Amount;
use policies::zone::Instant;

use crate::desk::{Desk, DeskError};
use crate::records::{Order, Stock};
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
    found.extend(kept.orders.values().flat_map(|order| of_order(&kept, order)));
    let fleet = desk.store.fleet(&desk.set, None).await?.fleet;
    let shelves = shelf::look(&desk.set, &fleet, &kept, desk.as_of());
    let (gone, unchecked) = without_drums(&kept, &shelves);
    found.extend(gone);
    for held in shelves {
        let tagged: Amount = held.pieces.iter().map(|(_, amount)| *amount).sum();
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
        let drums = own.filter(|(_, item)| item.kind == shelf::DRUM);
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

fn of_order(kept: &Kept, order: &Order) -> Vec<String> {
    let mut found = Vec::new();
    if !kept.parts.contains_key(&order.part) {
        found.push(format!("order {}: no part is called \"{}\"", order.key, order.part));
    }
    let receipt = |row: &Stock| {
        (row.part == order.part && row.reason == "receipt" && row.quantity >= order.quantity)
            && (row.key == format!("receipt {}", order.key) || row.place == order.place)
    };
    if order.received_on.is_some() && !kept.stock.iter().any(receipt) {
        let quantity = Amount::from_millionths(order.quantity);
        found.push(format!(
            "order {}: it came, but no receipt of {quantity} {} is on record",
            order.key, order.part
        ));
    }
    found
}
