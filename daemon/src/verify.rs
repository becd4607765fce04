//! Reckons the due table, the notices owed, the stock and the record chain again, and names each difference with both
//! values.

mod notices;
mod stock;

use std::collections::{BTreeMap, HashMap};

use jiff::civil::Date;

use crate::desk::{DUE_MARK, Desk, DeskError, table_learnt};
use crate::in_force;
use crate::store::chain::Head;
use crate::store::due_table::StoredDue;

/// What a check found.
#[derive(Debug)]
pub struct Verified {
    /// Rows compared.
    pub rows: usize,
    /// Head of the chain.
    pub head: Head,
    /// Each difference in words.
    pub differences: Vec<String>,
    /// What nothing on record could be held against.
    pub unchecked: Vec<String>,
}

/// Compares what is stored with what the records say.
///
/// # Errors
/// The store's failure.
pub async fn differences(desk: &Desk) -> Result<Verified, DeskError> {
    let mut differences = desk.store.check().await?;
    differences.extend(in_force::first_differs(&desk.store).await?);
    let (stock, unchecked) = stock::differences(desk).await?;
    differences.extend(stock);
    differences.extend(notices::differences(desk).await?);
    let mark = desk.store.remembered(DUE_MARK).await?;
    if let Some(mark) = mark.as_ref().filter(|mark| !mark.ends_with(&desk.set.hash)) {
        let own = &desk.set.hash;
        differences.push(format!("due table: it was worked out under set {mark}, but this is set {own}; name the set in force with --policies"));
        return Ok(Verified { rows: 0, head: desk.store.head().await?, differences, unchecked });
    }
    let stored = desk.store.due_table().await?;
    let fleet = desk.store.fleet(&desk.set, None).await?.fleet;
    let mut days: BTreeMap<&str, Vec<&StoredDue>> = BTreeMap::new();
    for row in &stored {
        days.entry(&row.as_of).or_default().push(row);
    }
    let newest =
        days.keys().next_back().and_then(|day| day.parse::<Date>().ok()).unwrap_or_else(|| desk.today());
    let reckoned = |day| keyed(table_learnt(&desk.set, &fleet, day, taught_on(mark.as_deref(), day)));
    let mut missing: HashMap<(String, String), StoredDue> = reckoned(newest);
    for (day, rows) in &days {
        let Ok(as_of) = day.parse::<Date>() else {
            differences.push(format!("due table: as-of \"{day}\" is no date"));
            continue;
        };
        let right = if as_of == newest { missing.clone() } else { reckoned(as_of) };
        for row in rows {
            let key = (row.item.clone(), row.rule.clone());
            missing.remove(&key);
            match right.get(&key) {
                None => differences.push(format!(
                    "due table: {} {}: stored, but the records give no such row",
                    row.item, row.rule
                )),
                Some(right) if right == *row => {}
                Some(right) => differences.extend(compare(row, right)),
            }
        }
    }
    let mut absent: Vec<_> = missing.into_keys().collect();
    absent.sort();
    differences.extend(
        absent.into_iter().map(|(item, rule)| {
            format!("due table: {item} {rule}: the records give a row, but none is stored")
        }),
    );
    Ok(Verified { rows: stored.len(), head: desk.store.head().await?, differences, unchecked })
}

/// What is wrong with the notices alone.
///
/// # Errors
/// The store's failure.
pub async fn notice_differences(desk: &Desk) -> Result<Vec<String>, DeskError> {
    notices::differences(desk).await
}

/// The day at home up to which the rows of a day were taught: a station east or west of home has another day, and no
/// other odds.
fn taught_on(mark: Option<&str>, day: Date) -> Date {
    let home = mark.and_then(|mark| mark.split(' ').next()?.parse::<Date>().ok());
    home.filter(|home| (*home - day).get_days().abs() <= 1).unwrap_or(day)
}

fn keyed(rows: Vec<StoredDue>) -> HashMap<(String, String), StoredDue> {
    rows.into_iter().map(|row| ((row.item.clone(), row.rule.clone()), row)).collect()
}

fn compare(stored: &StoredDue, right: &StoredDue) -> Vec<String> {
    let text = |value: &Option<String>| value.clone().unwrap_or_else(|| "empty".to_owned());
    let usage =
        |row: &StoredDue| row.usage.as_ref().map(|(meter, used, limit)| format!("{used} of {limit} {meter}"));
    let names = ["calendar_due", "usage_due", "usage_p10", "usage_p50", "usage_p90", "after_due"];
    let mut pairs = vec![
        ("standing", stored.standing.clone(), right.standing.clone()),
        ("due_on", text(&stored.due_on), text(&right.due_on)),
        ("because", text(&stored.because), text(&right.because)),
        ("used", text(&usage(stored)), text(&usage(right))),
        ("used_up", stored.used_up.to_string(), right.used_up.to_string()),
        ("held", stored.held.to_string(), right.held.to_string()),
    ];
    for ((name, have), want) in names.into_iter().zip(&stored.dates).zip(&right.dates) {
        pairs.push((name, text(have), text(want)));
    }
    let apart = pairs.into_iter().filter(|(_, have, want)| have != want);
    apart
        .map(|(name, have, want)| {
            format!("due table: {} {}: {name} is {have}, reckoned {want}", stored.item, stored.rule)
        })
        .collect()
}
