//! The coast as the register has it: where stations are, whom they flank, and what their boats do.

use std::collections::HashMap;

use policies::cover::{Boat, Coast, Point, Post};
use policies::facts::{Item, Station, StationId};
use policies::readiness::{Readiness, StationReadiness};
use policies::rule::Value;

use crate::fitness::Words;
use crate::records;

/// Attributes that make an item a boat that covers.
pub(super) const SPEED: &str = "speed_kn";
pub(super) const LAUNCH_TIME: &str = "launch_time_min";

/// Every station, in the order of the fleet.
pub fn coast<'r>(
    words: &Words,
    stations: impl IntoIterator<Item = &'r records::Station>,
    judged: &[StationReadiness],
) -> Coast {
    let records: HashMap<&str, &records::Station> =
        stations.into_iter().filter(|row| !row.void).map(|row| (row.key.as_str(), row)).collect();
    let boats = boats(words);
    let known = (0u32..).map(StationId).zip(&words.fleet.stations);
    let post = |(id, station): (StationId, &Station)| {
        let row = records.get(&*station.slug).copied();
        let found = judged.iter().find(|found| found.station == id);
        Post {
            point: row.and_then(point),
            flanks: row.map(|row| flanks(words, row)).unwrap_or_default(),
            boat: boats.get(&id).copied(),
            readiness: found.map_or(Readiness::Unknown, |found| found.readiness),
        }
    };
    Coast { posts: known.map(post).collect(), standard_minutes: words.set.service.cover_standard_minutes }
}

fn point(row: &records::Station) -> Option<Point> {
    let degrees = |text: &Option<String>| text.as_deref()?.parse().ok();
    Some(Point { latitude: degrees(&row.latitude)?, longitude: degrees(&row.longitude)? })
}

fn flanks(words: &Words, row: &records::Station) -> Vec<StationId> {
    let named = row.flanks.as_deref().unwrap_or_default().split(';').map(str::trim);
    let find = |slug: &str| words.fleet.stations.iter().position(|station| *station.slug == *slug);
    named.filter_map(|slug| u32::try_from(find(slug)?).ok()).map(StationId).collect()
}

/// Each station's fit boat. Of several, the figures of the slowest: which of them would go is not known.
fn boats(words: &Words) -> HashMap<StationId, Boat> {
    let mut boats: HashMap<StationId, Boat> = HashMap::new();
    for id in words.fleet.ids() {
        let item = words.fleet.item(id);
        let Some((station, boat)) = item.station.zip(boat(item)) else { continue };
        if words.evaluator.shut(id).is_none() {
            let slowest = boats.entry(station).or_insert(boat);
            slowest.speed_kn = slowest.speed_kn.min(boat.speed_kn);
            slowest.launch_min = slowest.launch_min.max(boat.launch_min);
        }
    }
    boats
}

fn boat(item: &Item) -> Option<Boat> {
    let figure = |wanted: &str| match item.attributes.iter().find(|(column, _)| **column == *wanted)? {
        (_, Value::Number(number)) => Some(*number),
        (_, Value::Text(_)) => None,
    };
    let speed = figure(SPEED).filter(|speed| speed.is_positive())?;
    Some(Boat { speed_kn: speed.to_f64(), launch_min: figure(LAUNCH_TIME)?.to_f64() })
}
