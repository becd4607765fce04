//! A host's log as counts of whole local months.

use jiff::ToSpan;
use jiff::civil::Date;

use crate::facts::{Fleet, Item, ItemId, Log, State};
use crate::kinds::{KindId, MeterId};
use crate::load::PolicySet;
use crate::service::GroupId;
use crate::zone::{Instant, Zone};

/// Uses of one meter on one host, month by month without a gap.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct History {
    pub kind: KindId,
    pub meter: MeterId,
    /// The group of the host's station.
    pub group: Option<GroupId>,
    /// Month of the first count as the north has it: 0 for January, or for July in the south.
    pub first: usize,
    pub counts: Vec<f64>,
}

impl History {
    /// Each count with its month as the north has it.
    pub fn cells(&self) -> impl Iterator<Item = (usize, f64)> {
        self.counts.iter().enumerate().map(|(index, count)| ((self.first + index) % 12, *count))
    }

    pub fn uses(&self) -> f64 {
        self.counts.iter().sum()
    }

    /// Exposure in mean months, and the sum of its squares.
    pub fn exposure(&self, months: &[f64; 12]) -> (f64, f64) {
        self.cells().fold((0.0, 0.0), |(sum, squares), (month, _)| {
            (sum + months[month], squares + months[month] * months[month])
        })
    }
}

/// A month teaches once it has been over for so many days: until then rows still come in late (house).
const GRACE_DAYS: i64 = 14;

/// The day before which a fleet is learnt from at the end of `as_of`: the first of a month.
pub fn learns_before(as_of: Date) -> Date {
    let settled = as_of.tomorrow().ok().and_then(|day| day.checked_sub(GRACE_DAYS.days()).ok());
    settled.unwrap_or(as_of).first_of_month()
}

/// A host's log begins with its first entry on any meter.
pub(crate) fn log_start(fleet: &Fleet, host: ItemId) -> Option<Instant> {
    let logs = fleet.item(host).logs.iter().filter_map(|(_, index)| fleet.logs.get(*index as usize));
    logs.filter_map(|log: &Log| log.span).map(|(first, _)| first).min()
}

/// Starts of the months of one zone, from the fleet's first entry to the end of learning.
struct Months {
    /// 0 for January.
    first: usize,
    starts: Vec<Instant>,
}

impl Months {
    fn new(zone: &Zone, earliest: Instant, end: Date) -> Months {
        let first = zone.date_of(earliest).first_of_month();
        let mut starts = Vec::new();
        let mut month = first;
        while month <= end {
            starts.push(zone.start_of(month));
            let Ok(next) = month.last_of_month().tomorrow() else { break };
            month = next;
        }
        Months { first: usize::from(first.month().unsigned_abs()) - 1, starts }
    }
}

/// The histories of every host that has logged a whole month.
pub(super) fn histories(set: &PolicySet, fleet: &Fleet, as_of: Date) -> Vec<History> {
    let spans = fleet.logs.iter().filter_map(|log| log.span);
    let Some(earliest) = spans.map(|(first, _)| first).min() else { return Vec::new() };
    let end = learns_before(as_of);
    let zones: Vec<Months> = fleet.zones.iter().map(|zone| Months::new(zone, earliest, end)).collect();
    let mut found = Vec::new();
    for id in fleet.ids().filter(|id| !fleet.item(*id).logs.is_empty()) {
        let item = fleet.item(id);
        let Some(start) = log_start(fleet, id) else { continue };
        let months = &zones[usize::from(item.zone.0)];
        let (first, starts) = whole_months(item, months, start);
        if starts.len() < 2 {
            continue;
        }
        let station = fleet.station_of(item);
        let south = station.is_some_and(|station| station.southern);
        let group = station.and_then(|station| set.service.station_groups.of(&station.slug));
        let first = (months.first + first + if south { 6 } else { 0 }) % 12;
        for meter in &set.kinds.kind(item.kind).meters {
            let mut counts = fleet
                .log(id, meter.id)
                .map_or_else(|| vec![0.0; starts.len() - 1], |log| counts(log, starts));
            for twin in fleet.twins(set, id, meter.id) {
                add(&mut counts, starts, twin.second, -twin.amount.to_f64());
            }
            found.push(History { kind: item.kind, meter: meter.id, group, first, counts });
        }
    }
    found
}

/// The months between the start of a host's log and its withdrawal, if it was withdrawn: which comes first,
/// and the starts of each and of the one after the last.
fn whole_months<'m>(item: &Item, months: &'m Months, start: Instant) -> (usize, &'m [Instant]) {
    let withdrawn =
        item.states.iter().find(|change| change.state == State::Withdrawn).map(|change| change.at);
    let first = months.starts.partition_point(|at| *at < start);
    let end = months.starts.partition_point(|at| withdrawn.is_none_or(|withdrawn| *at <= withdrawn));
    (first, months.starts.get(first..end).unwrap_or(&[]))
}

/// Use between each start and the next.
fn counts(log: &Log, starts: &[Instant]) -> Vec<f64> {
    let mut counts: Vec<f64> =
        starts.windows(2).map(|month| log.between(month[0], month[1]).to_f64()).collect();
    for use_ in &log.days {
        add(&mut counts, starts, use_.at, use_.amount.to_f64());
    }
    counts
}

/// Adds to the month that a moment falls into, if it is one of those counted.
fn add(counts: &mut [f64], starts: &[Instant], at: Instant, amount: f64) {
    // Nought before the first start, the number of counts past the last.
    let month = starts.partition_point(|start| *start <= at);
    if let Some(count) = month.checked_sub(1).and_then(|month| counts.get_mut(month)) {
        *count += amount;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn a_month_teaches_once_it_is_a_fortnight_over() {
        assert_eq!(learns_before(date(2026, 10, 13)), date(2026, 9, 1));
        assert_eq!(learns_before(date(2026, 10, 14)), date(2026, 10, 1));
        assert_eq!(learns_before(date(2026, 1, 5)), date(2025, 12, 1));
    }
}
