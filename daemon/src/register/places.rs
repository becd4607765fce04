//! What cells are judged against: kinds and rules, stations and items as they stand after the import.

use std::collections::HashMap;

use policies::kinds::{Kind, KindId};
use policies::load::PolicySet;
use policies::zone::{Instant, Zone};

use crate::store::current::Register;

/// The surroundings of a register's rows.
pub struct Places<'s> {
    /// Kinds, rules and the home zone.
    pub set: &'s PolicySet,
    /// When the import happens.
    pub now: Instant,
    zones: HashMap<String, Zone>,
    items: HashMap<String, (Option<KindId>, Option<String>)>,
    moved_days: HashMap<(String, i64), String>,
}

impl<'s> Places<'s> {
    /// The surroundings a register gives.
    pub fn of(set: &'s PolicySet, now: Instant, register: &Register) -> Places<'s> {
        let mut places =
            Places { set, now, zones: HashMap::new(), items: HashMap::new(), moved_days: HashMap::new() };
        places.learn_stations(register);
        places.learn_items(register);
        places
    }

    /// Takes the stations over.
    pub fn learn_stations(&mut self, register: &Register) {
        let zone = |text: &str| Zone::parse(text).unwrap_or_else(|_| Zone::utc());
        self.zones =
            register.stations.iter().map(|(slug, row)| (slug.clone(), zone(&row.time_zone))).collect();
    }

    /// Takes the items over.
    pub fn learn_items(&mut self, register: &Register) {
        let place = |row: &crate::records::Item| (self.set.kinds.find(&row.kind), row.station.clone());
        self.items = register.items.iter().map(|(tag, row)| (tag.clone(), place(row))).collect();
    }

    /// Takes those fittings over whose day begins at another moment than when they were stored, since their
    /// item has come into another zone.
    pub fn learn_fittings(&mut self, register: &Register) {
        let moved = |row: &crate::records::Fitting| {
            let day = row.day.as_ref()?.parse().ok()?;
            let now = self.zone_of(&row.item).start_of(day).0;
            (now != row.at).then(|| ((row.item.clone(), now), row.key.clone()))
        };
        self.moved_days = register.fittings.values().filter_map(moved).collect();
    }

    /// The key of a fitting: that of the stored one at this moment, whatever zone it was stored in.
    pub fn fitting_key(&self, tag: &str, at: i64) -> String {
        let stored = self.moved_days.get(&(tag.to_owned(), at));
        stored.cloned().unwrap_or_else(|| format!("{tag}@{at}"))
    }

    /// Whether a station is known.
    pub fn has_station(&self, slug: &str) -> bool {
        self.zones.contains_key(slug)
    }

    /// Whether an item is known.
    pub fn has_item(&self, tag: &str) -> bool {
        self.items.contains_key(tag)
    }

    /// An item's kind.
    pub fn kind_of(&self, tag: &str) -> Option<&'s Kind> {
        Some(self.set.kinds.kind(self.items.get(tag)?.0?))
    }

    /// The zone of a station; home for none or an unknown one.
    pub fn zone_at(&self, station: Option<&str>) -> &Zone {
        station.and_then(|slug| self.zones.get(slug)).unwrap_or(&self.set.service.home_zone)
    }

    /// The zone of the station that owns an item.
    pub fn zone_of(&self, tag: &str) -> &Zone {
        self.zone_at(self.items.get(tag).and_then(|(_, station)| station.as_deref()))
    }

    /// Tags most like this one, for a word of help.
    pub fn nearest(&self, tag: &str) -> Option<&str> {
        let known = self.items.keys().map(|have| (distance(have, tag), have.as_str()));
        known.filter(|(far, _)| *far <= 2).min().map(|(_, have)| have)
    }
}

/// Letters to change, add or leave out between two short texts.
fn distance(one: &str, other: &str) -> usize {
    let other: Vec<char> = other.chars().collect();
    let mut row: Vec<usize> = (0..=other.len()).collect();
    for (i, a) in one.chars().enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, b) in other.iter().enumerate() {
            let next = (corner + usize::from(a != *b)).min(row[j] + 1).min(row[j + 1] + 1);
            corner = row[j + 1];
            row[j + 1] = next;
        }
    }
    row[other.len()]
}
