//! Stock reckoned again from its moves: no place can hold less than nothing of a part.

use std::collections::BTreeMap;

use policies::amount::Amount;
use policies::zone::Instant;

use crate::desk::DeskError;
use crate::records::{Part, Stock};
use crate::store::Store;
use crate::store::current::Newest;

/// Every place that its moves leave with less than nothing, and every move of a part that is not known.
///
/// # Errors
/// The store's failure.
pub(super) async fn differences(store: &Store) -> Result<Vec<String>, DeskError> {
    let moves: Newest<Stock> = store.newest().await?;
    let parts: Newest<Part> = store.newest().await?;
    let mut moves: Vec<&Stock> = moves.values().filter(|row| !row.void).collect();
    moves.sort_by(|a, b| (a.at, &a.key).cmp(&(b.at, &b.key)));
    let mut found = Vec::new();
    let mut held: BTreeMap<(&str, &str), i64> = BTreeMap::new();
    for row in moves {
        if !parts.contains_key(&row.part) {
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
    Ok(found)
}
