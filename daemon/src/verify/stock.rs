//! Stock reckoned again from its moves: no place can hold less than nothing of a part, what is left on drums is what
//! its moves come to; and what came on an order was received.

use std::collections::BTreeMap;

use policies::amount::Amount;
use policies::zone::Instant;

use crate::desk::{Desk, DeskError};
use crate::records::{Order, Stock};
use crate::stores::kept::Kept;
use crate::stores::shelf;

/// Every place that its moves leave with less than nothing or with another length than its drums, every move and order of a part that is not
/// known, and every order that came and brought nothing.
///
/// # Errors
/// The store's failure.
pub(super) async fn differences(desk: &Desk) -> Result<Vec<String>, DeskError> {
    let kept = Kept::known(&desk.store, None).await?;
    let mut found = moves(&kept);
    found.extend(kept.orders.values().flat_map(|order| of_order(&kept, order)));
    let fleet = desk.store.fleet(&desk.set, None).await?.fleet;
    for held in shelf::look(&desk.set, &fleet, &kept, desk.as_of()) {
        let tagged: Amount = held.pieces.iter().map(|(_, amount)| *amount).sum();
        let metres = kept.parts.get(&held.part).is_some_and(|part| part.unit == "m");
        if metres && tagged.is_positive() && held.by_moves != tagged {
            found.push(format!(
                "stock: {} at {}: {} m by its moves, but {tagged} m on drums: something was not received, cut or counted",
                held.part, held.place, held.by_moves
            ));
        }
    }
    Ok(found)
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
