//! The lines above a page: which day it is read as of, up to when the log is known, and what is too old to trust.

use jiff::civil::Date;
use policies::facts::{Fleet, Item, StationId};
use policies::zone::Instant;

use super::Web;
use super::asked::Asked;
use super::words;

/// What a page says of its own knowledge.
#[derive(Clone, Debug, Default)]
pub(super) struct Known {
    /// The band of a replay.
    pub(super) band: Option<String>,
    /// As of when, and up to when the log is known.
    pub(super) line: String,
    /// Logs that are too old, in words.
    pub(super) stale: Option<String>,
}

/// The newest entry of any log of a station's gear before a moment.
pub(super) fn last_log(fleet: &Fleet, station: StationId, before: Instant) -> Option<Instant> {
    let here = fleet.items.iter().filter(|item| item.station == Some(station));
    here.flat_map(|item| logs_before(fleet, item, before)).max()
}

fn logs_before<'f>(fleet: &'f Fleet, item: &'f Item, before: Instant) -> impl Iterator<Item = Instant> + 'f {
    item.logs.iter().filter_map(move |(_, index)| fleet.logs.get(*index as usize)?.last_before(before))
}

/// The moment a page is read at: now, or the end of a day gone by.
fn read_at(web: &Web, as_of: Date) -> Instant {
    web.desk.now().min(web.desk.known_by(as_of))
}

/// Hours between a station's last entry and the moment a page is read at, where that is too long.
pub(super) fn too_old(web: &Web, as_of: Date, last: Option<Instant>) -> Option<String> {
    let allowed = i64::from(web.desk.set.service.oldest_log_hours);
    let Some(last) = last else { return Some("nothing was ever logged".to_owned()) };
    let hours = (read_at(web, as_of).0.saturating_sub(last.0)) / 3_600_000_000;
    (hours > allowed).then(|| format!("last entry {} days ago", hours / 24))
}

fn band(asked: &Asked) -> Option<String> {
    let known =
        asked.known_on.map(|day| format!(", with what was known by the end of {}", words::long_day(day)));
    let text = format!(
        "Replay: read as of the end of {}{}.",
        words::long_day(asked.as_of),
        known.unwrap_or_default()
    );
    asked.replays.then_some(text)
}

fn as_of_words(web: &Web, asked: &Asked) -> String {
    let day = words::long_day(asked.as_of);
    match web.stated {
        Some(stated) if stated == asked.as_of => {
            format!("Read as of the end of {day}, the demo's stated date.")
        }
        _ if asked.replays => format!("Read as of the end of {day}."),
        _ => format!("Read {}.", words::moment(&web.desk.set.service.home_zone, web.desk.now())),
    }
}

/// What a page says that shows no log.
pub(super) fn known(web: &Web, asked: &Asked) -> Known {
    Known { band: band(asked), line: as_of_words(web, asked), stale: None }
}

/// What a page says that goes by one station's log.
pub(super) fn known_at(web: &Web, asked: &Asked, fleet: &Fleet, station: StationId) -> Known {
    let here = &fleet.stations[station.0 as usize];
    let zone = &fleet.zones[usize::from(here.zone.0)];
    let last = last_log(fleet, station, zone.end_of(asked.as_of));
    let log = match last {
        Some(last) => format!("Log of {} known to {}.", here.name, words::moment(zone, last)),
        None => format!("{} has no log.", here.name),
    };
    let stale = too_old(web, asked.as_of, last).map(|old| stale_words(web, &[(&here.name, old)]));
    Known { band: band(asked), line: format!("{} {log}", as_of_words(web, asked)), stale }
}

/// What a page says that goes by every station's log.
pub(super) fn known_everywhere(web: &Web, asked: &Asked, fleet: &Fleet) -> Known {
    let mut old: Vec<(&str, String)> = Vec::new();
    for (index, station) in (0u32..).zip(&fleet.stations) {
        let zone = &fleet.zones[usize::from(station.zone.0)];
        let last = last_log(fleet, StationId(index), zone.end_of(asked.as_of));
        old.extend(too_old(web, asked.as_of, last).map(|words| (&*station.name, words)));
    }
    let stale = (!old.is_empty()).then(|| stale_words(web, &old));
    Known { band: band(asked), line: as_of_words(web, asked), stale }
}

fn stale_words(web: &Web, old: &[(&str, String)]) -> String {
    let names: Vec<String> = old.iter().map(|(name, words)| format!("{name} ({words})")).collect();
    let hours = web.desk.set.service.oldest_log_hours;
    let log = if old.len() == 1 { "The log" } else { "The logs" };
    format!(
        "{log} of {} lies more than {hours} hours back: counts may be higher, and dates earlier, than shown.",
        words::list(&names)
    )
}
