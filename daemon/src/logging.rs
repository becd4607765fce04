//! What a launch, a recovery or a reading counts on.

use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;
use policies::zone::Instant;

use crate::desk::DeskError;
use crate::records::Usage;
use crate::register::moment;

/// What was done.
#[derive(Clone, Debug)]
pub enum Entry {
    /// A launch.
    Launch,
    /// A recovery and the winch pulls it took.
    Recovery {
        /// Winch pulls.
        pulls: Amount,
    },
    /// A dial's reading.
    Reading {
        /// Meter.
        meter: String,
        /// What the dial says.
        reading: Amount,
    },
    /// A count of any meter.
    Count {
        /// Meter.
        meter: String,
        /// How many.
        count: Amount,
    },
}

/// What is known of it.
#[derive(Clone, Debug)]
pub struct Asked<'a> {
    /// Station slug.
    pub station: &'a str,
    /// When, as text; now where absent.
    pub at: Option<&'a str>,
    /// Gear that bore it, where the station's own is not meant.
    pub hosts: &'a [String],
    /// Client key.
    pub key: Option<&'a str>,
    /// Note.
    pub note: Option<&'a str>,
}

/// The meters an entry counts on, each with how much, and whether a station must have it.
fn meters(entry: &Entry) -> Vec<(&str, Amount, bool)> {
    match entry {
        Entry::Launch => vec![("launches", Amount::whole(1), true)],
        Entry::Recovery { pulls } => vec![("recoveries", Amount::whole(1), true), ("pulls", *pulls, false)],
        Entry::Reading { meter, reading } => vec![(meter.as_str(), *reading, true)],
        Entry::Count { meter, count } => vec![(meter.as_str(), *count, true)],
    }
}

/// Rows of use for one entry: every host of the station that carries the meter, one of each kind.
///
/// # Errors
/// An unknown station, a time that does not exist, or no single host to count on, with what would help.
pub fn rows(
    set: &PolicySet,
    fleet: &Fleet,
    now: Instant,
    asked: &Asked,
    entry: &Entry,
) -> Result<Vec<Usage>, DeskError> {
    let refused = |message: String| DeskError::Refused(message);
    let station = fleet.stations.iter().find(|station| *station.slug == *asked.station);
    let station = station.ok_or_else(|| refused(format!("no station is called \"{}\"", asked.station)))?;
    let zone = &fleet.zones[usize::from(station.zone.0)];
    let (at, day) = match asked.at {
        None => (now.0, None),
        Some(text) => moment(text, zone).ok_or_else(|| {
            refused(format!(
                "\"{text}\" is no time; write 2026-10-12T09:40:00+01:00, 2026-10-12T09:40 or 2026-10-12"
            ))
        })?,
    };
    if day.is_some() && asked.key.is_none() {
        let text = "a date alone does not tell two uses of one day apart; give a time, or a key of your own with --key";
        return Err(refused(text.to_owned()));
    }
    check_amount(entry)?;
    check_text("--key", asked.key, MOST_KEY)?;
    check_text("--note", asked.note, MOST_NOTE)?;
    let as_of = zone.date_of(now);
    let candidates = candidates(set, fleet, asked, as_of)?;
    let mut rows = Vec::new();
    let base = asked.key.map_or_else(|| format!("log {at}"), str::to_owned);
    let row = |host: ItemId, meter: &str, count, reading| {
        let host = fleet.item(host).tag.to_string();
        Usage {
            key: format!("{base} {host} {meter}"),
            void: false,
            at,
            day: day.clone(),
            meter: meter.to_owned(),
            count,
            reading,
            note: asked.note.map(str::to_owned),
            host,
        }
    };
    for (meter, amount, needed) in meters(entry) {
        let hosts = carriers(set, fleet, &candidates, meter)?;
        for host in &hosts {
            check_host(set, fleet, *host, meter, entry, Instant(at))?;
        }
        if hosts.is_empty() && needed {
            let text = format!(
                "nothing at {} counts {meter}; name the gear that bore it with --host TAG",
                asked.station
            );
            return Err(refused(text));
        }
        let counted = !matches!(entry, Entry::Reading { .. });
        let (count, reading) = if counted { (Some(amount), None) } else { (None, Some(amount)) };
        let [count, reading] = [count, reading].map(|amount| amount.map(Amount::millionths));
        rows.extend(hosts.into_iter().map(|host| row(host, meter, count, reading)));
    }
    if matches!(entry, Entry::Launch | Entry::Recovery { .. }) {
        let once = Some(Amount::whole(1).millionths());
        let wet = wetted(set, fleet, &candidates, asked, as_of, Instant(at));
        rows.extend(wet.into_iter().map(|host| row(host, IMMERSIONS, once, None)));
    }
    Ok(rows)
}

/// Entries of water: one with each launch and each recovery.
pub(crate) const IMMERSIONS: &str = "immersions";

/// What goes into the water with a launch or a recovery: of the gear that counts immersions what is named, and all of the
/// station's own that is of another kind than that. Who works on a dry slip counts too many rather than too few.
fn wetted(
    set: &PolicySet,
    fleet: &Fleet,
    candidates: &[ItemId],
    asked: &Asked,
    as_of: jiff::civil::Date,
    at: Instant,
) -> Vec<ItemId> {
    let Some(meter) = set.kinds.find_meter(IMMERSIONS) else { return Vec::new() };
    let kind = |id: ItemId| fleet.item(id).kind;
    let mut wet = candidates.to_vec();
    if !asked.hosts.is_empty() {
        let named: Vec<_> = candidates.iter().map(|id| kind(*id)).collect();
        let own = in_service_at(set, fleet, asked.station, as_of);
        wet.extend(own.into_iter().filter(|id| !named.contains(&kind(*id))));
    }
    wet.retain(|id| {
        let item = fleet.item(*id);
        let entered = item.entered_service_on.is_none_or(|day| fleet.zone_of(item).start_of(day) <= at);
        let counts = set.kinds.kind(item.kind).meter(meter).is_some_and(|own| !own.dial);
        entered && counts
    });
    wet
}

/// Most pulls of one recovery that are no slip of the pen.
const MOST_PULLS: i64 = 99;

fn check_amount(entry: &Entry) -> Result<(), DeskError> {
    match entry {
        Entry::Recovery { pulls } if !pulls.is_positive() || *pulls > Amount::whole(MOST_PULLS) => {
            Err(DeskError::Refused(format!("{pulls} pulls cannot be; give 1 to {MOST_PULLS}")))
        }
        Entry::Count { meter, count } if !count.is_positive() => {
            Err(DeskError::Refused(format!("{count} {meter} cannot be; give how many there were")))
        }
        Entry::Reading { reading, .. } if reading.is_negative() => {
            Err(DeskError::Refused(format!("a dial does not read {reading}; read it again")))
        }
        _ => Ok(()),
    }
}

/// Longest key and note, in letters: what is longer is another text by mistake.
const MOST_KEY: usize = 200;
const MOST_NOTE: usize = 2_000;

/// A text of one line that people can read again.
fn check_text(name: &str, text: Option<&str>, most: usize) -> Result<(), DeskError> {
    let Some(text) = text else { return Ok(()) };
    let length = text.chars().count();
    if length > most {
        return Err(DeskError::Refused(format!("{name} has {length} letters; give {most} at most")));
    }
    if let Some(control) = text.chars().find(|letter| letter.is_control()) {
        return Err(DeskError::Refused(format!(
            "{name} holds a control character ({}); write it as one line of plain text",
            control.escape_unicode()
        )));
    }
    Ok(())
}

/// A dial is read, any other meter is counted; and gear bears no use before it is in service.
fn check_host(
    set: &PolicySet,
    fleet: &Fleet,
    host: ItemId,
    meter: &str,
    entry: &Entry,
    at: Instant,
) -> Result<(), DeskError> {
    let item = fleet.item(host);
    let kind = set.kinds.kind(item.kind);
    let Some(carried) = set.kinds.find_meter(meter).and_then(|id| kind.meter(id)) else { return Ok(()) };
    let entered = item.entered_service_on.filter(|day| at < fleet.zone_of(item).start_of(*day));
    let wrong = match (entry, carried.rolls_over_at) {
        (Entry::Reading { .. }, _) if !carried.dial => {
            format!("{meter} of {} are counted, not read", item.tag)
        }
        (Entry::Launch | Entry::Recovery { .. } | Entry::Count { .. }, _) if carried.dial => {
            format!("{meter} of {} is read off a dial; log a reading", item.tag)
        }
        (Entry::Reading { reading, .. }, Some(top)) if *reading >= top => {
            format!("{reading} is not on the dial of {}, which rolls over at {top}", item.tag)
        }
        _ => match entered {
            Some(day) => format!("{} came into service on {day}; correct the time", item.tag),
            None => return Ok(()),
        },
    };
    Err(DeskError::Refused(wrong))
}

/// The gear named, or everything in service that the station owns.
fn candidates(
    set: &PolicySet,
    fleet: &Fleet,
    asked: &Asked,
    as_of: jiff::civil::Date,
) -> Result<Vec<ItemId>, DeskError> {
    if asked.hosts.is_empty() {
        return Ok(in_service_at(set, fleet, asked.station, as_of));
    }
    let find = |tag: &String| {
        fleet.find(tag).ok_or_else(|| DeskError::Refused(format!("no item is tagged \"{tag}\"")))
    };
    asked.hosts.iter().map(find).collect()
}

fn in_service_at(set: &PolicySet, fleet: &Fleet, station: &str, as_of: jiff::civil::Date) -> Vec<ItemId> {
    let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
    let owned = fleet.ids().filter(|id| {
        let item = fleet.item(*id);
        let here = fleet.station_of(item).is_some_and(|own| *own.slug == *station);
        here && !evaluator.is_withdrawn(item)
    });
    owned.collect()
}

/// Of each kind that carries the meter, the one host.
fn carriers(
    set: &PolicySet,
    fleet: &Fleet,
    candidates: &[ItemId],
    meter: &str,
) -> Result<Vec<ItemId>, DeskError> {
    let Some(id) = set.kinds.find_meter(meter) else {
        let known = set.kinds.meters.join(", ");
        return Err(DeskError::Refused(format!("no kind has a meter \"{meter}\"; the meters are {known}")));
    };
    let carries = |item: &&ItemId| set.kinds.kind(fleet.item(**item).kind).meter(id).is_some();
    let found: Vec<ItemId> = candidates.iter().filter(carries).copied().collect();
    for (index, one) in found.iter().enumerate() {
        let kind = fleet.item(*one).kind;
        if let Some(other) = found[..index].iter().find(|other| fleet.item(**other).kind == kind) {
            let (one, other) = (&fleet.item(*one).tag, &fleet.item(*other).tag);
            let text = format!("{other} and {one} both count {meter}; say which with --host TAG");
            return Err(DeskError::Refused(text));
        }
    }
    Ok(found)
}
