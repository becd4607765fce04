//! Whether stays on hosts can all be true: nothing in two places, no position overfull, no loops.

use std::collections::HashMap;

use crate::zone::{Instant, When, Zone};

/// One stay of an item on a host, as the register has it.
#[derive(Clone, Debug)]
pub struct Stay<'r> {
    /// Item.
    pub item: &'r str,
    /// Host.
    pub host: &'r str,
    /// Position on the host.
    pub position: &'r str,
    /// How many items the position holds.
    pub capacity: u32,
    /// Fitted.
    pub fitted: When,
    /// Removed.
    pub removed: Option<When>,
    /// Zone of the item's station.
    pub zone: &'r Zone,
}

/// Why a stay cannot be true, with the index of another that contradicts it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StayFault {
    /// Removed before it was fitted.
    Backwards,
    /// The item is fitted elsewhere at the same time.
    TwoPlaces(usize),
    /// The position is full.
    Full(usize),
    /// The item would carry itself.
    Loop,
}

impl Stay<'_> {
    /// Certain span: a removal known to the day may have been at its start, a fitting at its end. What only
    /// overlaps within such a day is a swap.
    fn certain(&self) -> (Instant, Instant) {
        let from = self.zone.until_end(self.fitted);
        (from, self.removed.map_or(Instant::MAX, |removed| self.zone.from_start(removed)))
    }

    fn whole(&self) -> (Instant, Instant) {
        let from = self.zone.from_start(self.fitted);
        (from, self.removed.map_or(Instant::MAX, |removed| self.zone.until_end(removed)))
    }
}

/// Every fault among all stays of a register, by index of the later stay.
pub fn check(stays: &[Stay]) -> Vec<(usize, StayFault)> {
    let mut faults: Vec<(usize, StayFault)> = Vec::new();
    for (index, stay) in stays.iter().enumerate() {
        let (from, to) = stay.whole();
        if to <= from {
            faults.push((index, StayFault::Backwards));
        }
    }
    let by_item = group(stays, |stay| (stay.item, ""));
    for indices in by_item.values() {
        faults.extend(overfull(stays, indices, 1).map(|(index, other)| (index, StayFault::TwoPlaces(other))));
    }
    for indices in group(stays, |stay| (stay.host, stay.position)).values() {
        let capacity = indices.first().map_or(1, |index| stays[*index].capacity);
        faults
            .extend(overfull(stays, indices, capacity).map(|(index, other)| (index, StayFault::Full(other))));
    }
    // In two places at once, an item has more ways up than can be walked; that is told first.
    if !faults.iter().any(|(_, fault)| matches!(fault, StayFault::TwoPlaces(_))) {
        faults.extend(loops(stays, &by_item).into_iter().map(|index| (index, StayFault::Loop)));
    }
    faults.sort_by_key(|(index, _)| *index);
    faults
}

type Groups<'r> = HashMap<(&'r str, &'r str), Vec<usize>>;

fn group<'r>(stays: &[Stay<'r>], by: impl Fn(&Stay<'r>) -> (&'r str, &'r str)) -> Groups<'r> {
    let mut groups = Groups::new();
    for (index, stay) in stays.iter().enumerate() {
        groups.entry(by(stay)).or_default().push(index);
    }
    groups
}

/// Stays that begin while `capacity` others of the group last, each with one of those.
fn overfull<'a>(
    stays: &'a [Stay],
    indices: &'a [usize],
    capacity: u32,
) -> impl Iterator<Item = (usize, usize)> {
    let mut spans: Vec<(Instant, Instant, usize)> = indices
        .iter()
        .map(|index| (*index, stays[*index].certain()))
        .filter(|(_, (from, to))| from < to)
        .map(|(index, (from, to))| (from, to, index))
        .collect();
    spans.sort_unstable();
    let mut lasting: Vec<(Instant, usize)> = Vec::new();
    let mut found = Vec::new();
    for (from, to, index) in spans {
        lasting.retain(|(end, _)| *end > from);
        if lasting.len() >= capacity as usize {
            found.extend(lasting.last().map(|(_, other)| (index, *other)));
        }
        lasting.push((to, index));
    }
    found.extend(indices.iter().filter_map(|index| within_others(stays, indices, *index, capacity)));
    found.into_iter()
}

/// A stay whose certain span is empty, within one day, that `capacity` others outlast on either side: whatever
/// its hours were, they were there.
fn within_others(stays: &[Stay], indices: &[usize], index: usize, capacity: u32) -> Option<(usize, usize)> {
    let (from, to) = stays[index].certain();
    let (first, last) = stays[index].whole();
    if from < to || first >= last {
        return None;
    }
    let around = |other: &&usize| {
        let (from, to) = stays[**other].certain();
        **other != index && from <= first && to >= last
    };
    let mut others = indices.iter().filter(around);
    others.nth((capacity as usize).saturating_sub(1)).map(|other| (index, *other))
}

fn loops(stays: &[Stay], by_item: &Groups) -> Vec<usize> {
    let climbs = |index: &usize| {
        let stay = &stays[*index];
        let (from, to) = stay.certain();
        climb_to(stays, by_item, stay.item, stay.host, (from, to), 0)
    };
    (0..stays.len()).filter(climbs).collect()
}

/// Deeper than any rig: fittings that go on beyond it are a loop in the records.
pub const DEEPEST: usize = 12;

fn climb_to(
    stays: &[Stay],
    by_item: &Groups,
    wanted: &str,
    at: &str,
    span: (Instant, Instant),
    depth: usize,
) -> bool {
    if at == wanted || depth > DEEPEST {
        return true;
    }
    by_item.get(&(at, "")).into_iter().flatten().any(|index| {
        let (from, to) = stays[*index].certain();
        let both = (span.0.max(from), span.1.min(to));
        both.0 < both.1 && climb_to(stays, by_item, wanted, stays[*index].host, both, depth + 1)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::Date;

    fn at(text: &str) -> When {
        match text.parse::<Date>() {
            Ok(day) if text.len() == 10 => When::Day(day),
            _ => When::At(text.parse::<jiff::Timestamp>().unwrap().into()),
        }
    }

    fn faults(rows: &[(&str, &str, &str, &str)], capacity: u32) -> Vec<(usize, StayFault)> {
        let zone = Zone::utc();
        let stays: Vec<Stay> = rows
            .iter()
            .map(|(item, host, fitted, removed)| Stay {
                item,
                host,
                position: "port fall",
                capacity,
                fitted: at(fitted),
                removed: (!removed.is_empty()).then(|| at(removed)),
                zone: &zone,
            })
            .collect();
        check(&stays)
    }

    #[test]
    fn a_swap_within_a_day_is_no_overlap() {
        assert_eq!(faults(&[("A", "C1", "2026-01-01", "2026-03-05"), ("B", "C1", "2026-03-05", "")], 1), []);
        assert_eq!(faults(&[("A", "C1", "2026-01-01", "2026-03-05"), ("A", "C2", "2026-03-05", "")], 1), []);
        let mixed = [("A", "C1", "2026-01-01", "2026-03-05T10:00:00Z"), ("B", "C1", "2026-03-05", "")];
        assert_eq!(faults(&mixed, 1), []);
    }

    #[test]
    fn two_places_and_full_positions_are_found() {
        let two = [("A", "C1", "2026-01-01", ""), ("A", "C2", "2026-03-05", "")];
        assert_eq!(faults(&two, 1), [(1, StayFault::TwoPlaces(0))]);
        let full = [("A", "C1", "2026-01-01", "2026-03-06"), ("B", "C1", "2026-03-05T23:00:00Z", "")];
        assert_eq!(faults(&full, 1), [(1, StayFault::Full(0))]);
        assert_eq!(faults(&full, 2), []);
        let backwards = [("A", "C1", "2026-01-02T00:00:00Z", "2026-01-01T00:00:00Z")];
        assert_eq!(faults(&backwards, 1), [(0, StayFault::Backwards)]);
    }

    #[test]
    fn nothing_carries_itself() {
        let own = [("A", "A", "2026-01-01", "")];
        assert!(faults(&own, 1).contains(&(0, StayFault::Loop)));
        let round = [("A", "B", "2026-01-01", ""), ("B", "A", "2026-02-01", "")];
        assert!(faults(&round, 1).contains(&(0, StayFault::Loop)));
        let apart = [("A", "B", "2026-01-01", "2026-01-20"), ("B", "A", "2026-02-01", "")];
        assert_eq!(faults(&apart, 1), []);
    }
}
