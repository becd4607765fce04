//! Renewals in sight and what stores hold for them.

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::rule::Work;

use crate::desk::{Desk, DeskError};
use crate::records::{Item, Stock};

const MONTHS_AHEAD: i32 = 6;

/// A line a part: how many renewals fall due, the first of them, and what is on hand.
pub(super) async fn lines(desk: &Desk) -> Result<Vec<String>, DeskError> {
    let items: HashMap<String, Item> = desk.store.newest().await?;
    let mut on_hand: BTreeMap<String, i64> = BTreeMap::new();
    for moved in desk.store.newest::<Stock>().await?.into_values().filter(|moved| !moved.void) {
        *on_hand.entry(moved.part).or_default() += moved.quantity;
    }
    let as_of = desk.today();
    let until = as_of.saturating_add(jiff::Span::new().months(MONTHS_AHEAD));
    let wanted = desk
        .with_fleet(|fleet| {
            let evaluator = Evaluator::new(&desk.set, fleet, as_of);
            let mut wanted: BTreeMap<String, Vec<(Date, String)>> = BTreeMap::new();
            for row in evaluator.table() {
                let Some(due) = row.due_on.filter(|due| *due <= until) else { continue };
                if desk.set.rule(row.rule).work != Work::Renewal {
                    continue;
                }
                let item = fleet.item(row.item);
                let part = items.get(&*item.tag).and_then(|item| item.part.clone());
                let part = part.unwrap_or_else(|| desk.set.kinds.kind(item.kind).name.clone());
                wanted.entry(part).or_default().push((due, item.tag.to_string()));
            }
            wanted
        })
        .await?;
    let line = |(part, mut due): (String, Vec<(Date, String)>)| {
        due.sort();
        due.dedup_by(|a, b| a.1 == b.1);
        let hand = on_hand.get(&part).map_or_else(
            || "no stock is kept of it".to_owned(),
            |count| format!("{} on hand", Amount::from_millionths(*count)),
        );
        let first = due.first().map(|(day, tag)| format!("{tag} by {day}")).unwrap_or_default();
        format!("{part}: {} to renew, first {first}; {hand}", due.len())
    };
    Ok(wanted.into_iter().map(line).collect())
}
