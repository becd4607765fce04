//! What stores would have to hold and to order under either set: from the plan of spares, part by part; and renewals of
//! gear that no part is kept of, by kind.

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::{Because, DueRow};
use policies::facts::Fleet;
use policies::load::PolicySet;
use policies::rule::Work;
use policies::stores::plan::Line;

use super::rows::Rows;
use super::{Move, Side};
use crate::stores::kept::{Kept, Question};
use crate::why::day;

/// How far ahead renewals are counted: the longest lead times, and a season (house).
const AHEAD_MONTHS: i32 = 18;
/// Expected pieces that differ by less are the same.
const APART: f64 = 0.05;

/// Days on which renewals fall due, by kind; in order.
type Renewals<'r> = BTreeMap<&'r str, Vec<Date>>;

/// What moves from part to part, and from kind to kind where no part is kept.
pub(super) fn moves(sides: [(&Side, &Rows); 2], kept: &Kept, as_of: Date) -> Vec<Move> {
    let until = as_of.checked_add(jiff::Span::new().months(AHEAD_MONTHS)).unwrap_or(Date::MAX);
    let [old, new] = sides.map(|(_, rows)| renewals(rows, kept, as_of, until));
    let mut names: Vec<&str> = old.keys().chain(new.keys()).copied().collect();
    names.sort_unstable();
    names.dedup();
    let days = |of: &Renewals, name: &str| of.get(name).cloned().unwrap_or_default();
    let by_kind =
        names.into_iter().filter_map(|name| moved(name, &days(&old, name), &days(&new, name), until));
    let mut found: Vec<Move> = by_kind.collect();
    if !kept.parts.is_empty() {
        found.extend(planned(sides.map(|(side, _)| (side.set, side.fleet)), kept, as_of));
    }
    found
}

/// An item is renewed once, however many rules ask for it: by its hard date, or by the 10 % date of its use.
fn renewals<'r>(rows: &'r Rows, kept: &Kept, as_of: Date, until: Date) -> Renewals<'r> {
    let mut found = Renewals::new();
    for of_item in rows.table.chunk_by(|a, b| a.item == b.item) {
        let renewing = of_item.iter().filter(|row| rows.rule(row).work == Work::Renewal);
        let first = renewing.filter_map(|row| due(row, as_of)).filter(|due| *due <= until).min();
        let Some((first, row)) = first.zip(of_item.first()) else { continue };
        let item = rows.fleet.item(row.item);
        let kind = rows.set.kinds.kind(item.kind).name.as_str();
        let named = kept.items.get(&*item.tag).and_then(|item| kept.parts.get(item.part.as_ref()?));
        if named.is_none() && !kept.parts.values().any(|part| part.kind == kind) {
            found.entry(kind).or_default().push(first);
        }
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

fn moved(kind: &str, old: &[Date], new: &[Date], until: Date) -> Option<Move> {
    if old.len() == new.len() {
        return None;
    }
    let same = old.iter().zip(new).take_while(|(old, new)| old == new).count();
    let effect_on = old.get(same).into_iter().chain(new.get(same)).min()?;
    let told = |days: &[Date]| match days.len() {
        1 => format!("1 renewal due by {}", day(until)),
        count => format!("{count} renewals due by {}", day(until)),
    };
    Some(spare(*effect_on, kind, "", (told(old), told(new))))
}

fn spare(effect_on: Date, item: &str, station: &str, (old, new): (String, String)) -> Move {
    Move {
        effect_on: effect_on.to_string(),
        what: "spare",
        station: station.to_owned(),
        item: item.to_owned(),
        rule: String::new(),
        old,
        new,
        overdue_effect: "",
        later: false,
        law_later: false,
        rows: 0,
    }
}

/// Lines of the plan by part and the slug of an isolated station.
fn lines(set: &PolicySet, fleet: &Fleet, kept: &Kept, as_of: Date) -> BTreeMap<(String, String), Line> {
    let plan = kept.plan(set, fleet, &Question::of(set, AsOf::Day(as_of)));
    let slug = |line: &Line| line.place.map(|at| fleet.stations[at.0 as usize].slug.to_string());
    let keyed = plan
        .lines
        .into_iter()
        .map(|line| ((plan.parts[line.part].key.clone(), slug(&line).unwrap_or_default()), line));
    keyed.collect()
}

/// Both plans side by side: what to hold, what to order, and what will be needed within the horizon.
fn planned(sides: [(&PolicySet, &Fleet); 2], kept: &Kept, as_of: Date) -> Vec<Move> {
    let [old, new] = sides.map(|(set, fleet)| lines(set, fleet, kept, as_of));
    let both = old.iter().filter_map(|(key, old)| Some((key, old, new.get(key)?)));
    both.filter_map(|((part, place), old, new)| {
        let effect_on = apart(old, new, as_of)?;
        Some(spare(effect_on, part, place, (told(old), told(new))))
    })
    .collect()
}

/// From when two lines differ: today where today's order does, else the first month by whose end another number is
/// needed.
fn apart(old: &Line, new: &Line, as_of: Date) -> Option<Date> {
    if (old.order, old.pieces) != (new.order, new.pieces) {
        return Some(as_of);
    }
    let months = old.months.iter().zip(&new.months);
    months
        .filter(|(old, new)| (old.mean - new.mean).abs() >= APART)
        .map(|(old, _)| old.until.first_of_month())
        .next()
}

fn told(line: &Line) -> String {
    let needed =
        line.months.last().map(|month| format!(", {:.1} needed by {}", month.mean, day(month.until)));
    format!("order {}, hold {}{}", line.order, line.stock_for_level, needed.unwrap_or_default())
}
