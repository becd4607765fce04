//! Renewals that fall due within the months that orders look ahead, by part: what stores would have to hold.

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::due::{Because, DueRow};
use policies::rule::Work;

use super::Move;
use super::rows::Rows;

/// How far ahead renewals are counted: the longest lead times, and a season (house).
const AHEAD_MONTHS: i32 = 18;

/// Days on which renewals fall due, by part; in order.
type Renewals<'r> = BTreeMap<&'r str, Vec<Date>>;

/// What moves from part to part.
pub(super) fn moves(before: &Rows, after: &Rows, parts: &BTreeMap<String, String>, as_of: Date) -> Vec<Move> {
    let until = as_of.checked_add(jiff::Span::new().months(AHEAD_MONTHS)).unwrap_or(Date::MAX);
    let (old, new) = (renewals(before, parts, as_of, until), renewals(after, parts, as_of, until));
    let mut names: Vec<&str> = old.keys().chain(new.keys()).copied().collect();
    names.sort_unstable();
    names.dedup();
    let days = |of: &Renewals, name: &str| of.get(name).cloned().unwrap_or_default();
    names.into_iter().filter_map(|name| moved(name, &days(&old, name), &days(&new, name), until)).collect()
}

/// An item is renewed once, however many rules ask for it: by its hard date, or by the 10 % date of its use.
fn renewals<'r>(
    rows: &'r Rows,
    parts: &'r BTreeMap<String, String>,
    as_of: Date,
    until: Date,
) -> Renewals<'r> {
    let mut found = Renewals::new();
    for of_item in rows.table.chunk_by(|a, b| a.item == b.item) {
        let renewing = of_item.iter().filter(|row| rows.rule(row).work == Work::Renewal);
        let first = renewing.filter_map(|row| due(row, as_of)).filter(|due| *due <= until).min();
        let Some((first, row)) = first.zip(of_item.first()) else { continue };
        let item = rows.fleet.item(row.item);
        let kind = || rows.set.kinds.kind(item.kind).name.as_str();
        found.entry(parts.get(&*item.tag).map_or_else(kind, String::as_str)).or_default().push(first);
    }
    for days in found.values_mut() {
        days.sort_unstable();
    }
    found
}

/// A row without a date to count from is due now.
fn due(row: &DueRow, as_of: Date) -> Option<Date> {
    row.due_on.or_else(|| (row.because == Some(Because::NoBase)).then_some(as_of))
}

fn moved(part: &str, old: &[Date], new: &[Date], until: Date) -> Option<Move> {
    if old.len() == new.len() {
        return None;
    }
    let same = old.iter().zip(new).take_while(|(old, new)| old == new).count();
    let effect_on = old.get(same).into_iter().chain(new.get(same)).min()?;
    let told = |days: &[Date]| format!("{} renewal(s) due by {until}", days.len());
    Some(Move {
        effect_on: effect_on.to_string(),
        what: "spare",
        station: String::new(),
        item: part.to_owned(),
        rule: String::new(),
        old: told(old),
        new: told(new),
        overdue_effect: "",
        later: false,
        law_later: false,
        rows: 0,
    })
}
