//! By when gear needs renewal for wear, as `tallow odds` lists it.

use std::collections::BTreeMap;

use comfy_table::Table;
use jiff::civil::Date;
use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;
use policies::trend::Limit;
use policies::wear::{NoOdds, Wear};
use serde_json::{Value, json};

use crate::wear;
use crate::why::day;

const HEADER: [&str; 9] =
    ["item", "rule", "reading", "limit", "safe uses", "10 %", "50 %", "90 %", "not later than"];

/// Every bounded reading of everything in service, by item.
pub(super) fn json(set: &PolicySet, fleet: &Fleet, worn: &[(ItemId, Wear)]) -> Value {
    let rows = worn.iter().map(|(id, wear)| {
        let mut row = wear::json(set, wear);
        row["item"] = json!(fleet.item(*id).tag);
        row
    });
    rows.collect()
}

/// What lost metal at once, and what wears out before it is renewed for another reason, the earliest first: one row an
/// item. The rest is counted.
pub(super) fn text(set: &PolicySet, fleet: &Fleet, worn: &[(ItemId, Wear)]) -> String {
    let mut rows = told(worn);
    rows.sort_by_key(|(id, wear)| (urgency(wear), &fleet.item(*id).tag));
    let mut table = super::table(&HEADER);
    for (id, wear) in &rows {
        add(&mut table, set, &fleet.item(*id).tag, wear);
    }
    let rest = rest(worn);
    match (rows.is_empty(), rest.is_empty()) {
        (true, true) => String::new(),
        (true, false) => format!("\nNo reading asks for renewal before what is fixed does. {rest}\n"),
        (false, _) => format!(
            "\nBy when gear needs renewal for wear, with 10, 50 and 90 %, never later than a fixed renewal asks for; of each \
             item the reading that comes first:\n\n{}\n\n{rest}\n",
            table.trim_fmt()
        ),
    }
}

/// Of each item, the reading that comes first.
fn told(worn: &[(ItemId, Wear)]) -> Vec<&(ItemId, Wear)> {
    let mut first: BTreeMap<ItemId, &(ItemId, Wear)> = BTreeMap::new();
    for row in worn.iter().filter(|(_, wear)| unsaid(wear).is_none()) {
        let have = first.entry(row.0).or_insert(row);
        if urgency(&row.1) < urgency(&have.1) {
            *have = row;
        }
    }
    first.into_values().collect()
}

/// Losses and readings beyond their limit first, then by date.
fn urgency(wear: &Wear) -> [Option<Date>; 2] {
    wear.odds.as_ref().map_or([None; 2], |odds| [odds.dates[0], odds.by_wear[0]])
}

/// Why a reading has no row.
fn unsaid(wear: &Wear) -> Option<&'static str> {
    match &wear.odds {
        Ok(odds) if odds.comes_first() => None,
        Ok(odds) if odds.fixed.is_some() => Some("after a fixed renewal"),
        Ok(_) => Some("less than 10 % in 20 years"),
        Err(NoOdds::SuddenLoss | NoOdds::Beyond) => None,
        Err(NoOdds::InDoubt) => Some("latest reading in doubt, measure again"),
        Err(NoOdds::NoTrend(_) | NoOdds::NoLimit) => Some("too few readings"),
        Err(NoOdds::NotTowards) => Some("not moving towards the limit"),
        Err(NoOdds::Unsure) => Some("scattering more than they wear"),
        Err(NoOdds::NotFitted) => Some("of gear fitted to nothing that counts its use"),
    }
}

fn add(table: &mut Table, set: &PolicySet, tag: &str, wear: &Wear) {
    let limit = match wear.limit {
        Some(Limit::Least(least)) => format!("least {least}"),
        Some(Limit::Most(most)) => format!("most {most}"),
        None => String::new(),
    };
    let safe = wear.safe_uses.map(|safe| format!("{safe} {}", set.kinds.meter_name(wear.meter)));
    let dates = wear.odds.as_ref().map_or([None; 3], |odds| odds.dates);
    let last = match &wear.odds {
        Ok(odds) => odds.fixed.map(|rule| set.rule(rule).id.clone()).unwrap_or_default(),
        Err(none) => none.to_string(),
    };
    let mut row = vec![tag.to_owned(), set.rule(wear.rule).id.clone(), wear.name.clone(), limit];
    row.push(safe.unwrap_or_default());
    row.extend(dates.map(|date| date.map(day).unwrap_or_default()));
    row.push(last);
    table.add_row(row);
}

/// `Readings without a row: 41 (30 too few readings; 11 not moving towards the limit).`
fn rest(worn: &[(ItemId, Wear)]) -> String {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for why in worn.iter().filter_map(|(_, wear)| unsaid(wear)) {
        *counts.entry(why).or_default() += 1;
    }
    if counts.is_empty() {
        return String::new();
    }
    let all: usize = counts.values().sum();
    let counts: Vec<String> = counts.iter().map(|(why, count)| format!("{count} {why}")).collect();
    format!("Readings without a row: {all} ({}).", counts.join("; "))
}
