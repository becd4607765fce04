//! Which rows of the log an item took part in: those of every host it was fitted to, through any depth.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::gear::{Fitting, Fleet};
use super::usage::{Log, Use};

pub struct Exposure<'a> {
    by_host: BTreeMap<&'a str, Vec<&'a Use>>,
    by_item: BTreeMap<&'a str, Vec<&'a Fitting>>,
}

impl<'a> Exposure<'a> {
    pub fn of(fleet: &'a Fleet, log: &'a Log) -> Self {
        let mut by_host: BTreeMap<&str, Vec<&Use>> = BTreeMap::new();
        for row in &log.uses {
            by_host.entry(&row.host).or_default().push(row);
        }
        let mut by_item: BTreeMap<&str, Vec<&Fitting>> = BTreeMap::new();
        for fitting in &fleet.fittings {
            by_item.entry(&fitting.item).or_default().push(fitting);
        }
        Self { by_host, by_item }
    }

    pub fn fittings(&self, item: &str) -> &[&'a Fitting] {
        self.by_item.get(item).map_or(&[], Vec::as_slice)
    }

    /// The rows of one meter that count for an item, in order of time.
    pub fn rows(&self, item: &str, meter: &str) -> Vec<(Timestamp, f64)> {
        let mut rows = Vec::new();
        for (host, from, to) in self.places(item, Timestamp::MIN, Timestamp::MAX) {
            let own = self.by_host.get(host.as_str()).map_or(&[][..], Vec::as_slice);
            rows.extend(
                own.iter()
                    .filter(|row| row.meter == meter && from <= row.at && row.at < to)
                    .map(|row| (row.at, row.count)),
            );
        }
        rows.sort_by_key(|(at, _)| *at);
        rows
    }

    fn places(&self, item: &str, from: Timestamp, to: Timestamp) -> Vec<(String, Timestamp, Timestamp)> {
        let mut places = vec![(item.to_owned(), from, to)];
        for fitting in self.fittings(item) {
            let start = fitting.from.max(from);
            let end = fitting.to.unwrap_or(Timestamp::MAX).min(to);
            if start < end {
                places.extend(self.places(&fitting.host, start, end));
            }
        }
        places
    }
}
