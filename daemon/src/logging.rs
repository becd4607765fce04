//! An entry of the log as rows of use: read from text, under keys that make it one record.

use policies::entry::{Entry, EntryFault, Share, Where, shares};
use policies::facts::Fleet;
use policies::load::PolicySet;
use policies::zone::Instant;

use crate::desk::{AHEAD_MICROS, DeskError};
use crate::records::Usage;
use crate::register::moment;

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

/// Why an entry of the log cannot be so.
#[derive(Debug, thiserror::Error)]
pub enum LogFault {
    /// A station.
    #[error("no station is called \"{0}\"")]
    NoStation(String),
    /// A text that is no time.
    #[error("\"{0}\" is no time; write 2026-10-12T09:40:00+01:00, 2026-10-12T09:40 or 2026-10-12")]
    NoTime(String),
    /// A time that lies ahead.
    #[error("{0} lies more than five minutes ahead; correct the time")]
    Ahead(String),
    /// A date without a key.
    #[error(
        "a date alone does not tell two uses of one day apart; give a time, or a key of your own with --key"
    )]
    DayAlone,
    /// A text that is too long.
    #[error("{name} has {length} letters; give {most} at most")]
    TooLong {
        /// Which.
        name: &'static str,
        /// Letters that it has.
        length: usize,
        /// Letters that it may have.
        most: usize,
    },
    /// A text of more than one line, or with something that nobody sees.
    #[error(
        "{name} holds a control character ({}); write it as one line of plain text",
        letter.escape_unicode()
    )]
    Control {
        /// Which.
        name: &'static str,
        /// The first such letter.
        letter: char,
    },
    /// What it would count on, or how much.
    #[error(transparent)]
    Entry(#[from] EntryFault),
}

/// With what would help on the command line.
impl From<LogFault> for DeskError {
    fn from(fault: LogFault) -> DeskError {
        DeskError::Refused(match fault {
            LogFault::Entry(EntryFault::Nothing { .. }) => {
                format!("{fault}; name the gear that bore it with --host TAG")
            }
            LogFault::Entry(EntryFault::Two { .. }) => format!("{fault}; say which with --host TAG"),
            _ => fault.to_string(),
        })
    }
}

/// Rows of use for one entry: every host of the station that carries the meter, one of each kind.
///
/// # Errors
/// An unknown station, a time that does not exist or lies ahead, or no single host to count on.
pub fn rows(
    set: &PolicySet,
    fleet: &Fleet,
    now: Instant,
    asked: &Asked,
    entry: &Entry,
) -> Result<Vec<Usage>, LogFault> {
    let station = fleet.stations.iter().find(|station| *station.slug == *asked.station);
    let station = station.ok_or_else(|| LogFault::NoStation(asked.station.to_owned()))?;
    let zone = &fleet.zones[usize::from(station.zone.0)];
    let (at, day) = match asked.at {
        None => (now.0, None),
        Some(text) => moment(text, zone).ok_or_else(|| LogFault::NoTime(text.to_owned()))?,
    };
    if let Some(text) = asked.at.filter(|_| at > now.0.saturating_add(AHEAD_MICROS)) {
        return Err(LogFault::Ahead(text.to_owned()));
    }
    if day.is_some() && asked.key.is_none() {
        return Err(LogFault::DayAlone);
    }
    check_text("--key", asked.key, MOST_KEY)?;
    check_text("--note", asked.note, MOST_NOTE)?;
    let whereabouts =
        Where { station: asked.station, at: Instant(at), today: zone.date_of(now), hosts: asked.hosts };
    let shares = shares(set, fleet, &whereabouts, entry)?;
    let base = asked.key.map_or_else(|| format!("log {at}"), str::to_owned);
    let row = |share: Share| {
        let host = fleet.item(share.host).tag.to_string();
        let amount = Some(share.amount.millionths());
        let (count, reading) = if entry.is_reading() { (None, amount) } else { (amount, None) };
        Usage {
            key: format!("{base} {host} {}", share.meter),
            void: false,
            at,
            day: day.clone(),
            meter: share.meter,
            count,
            reading,
            note: asked.note.map(str::to_owned),
            host,
        }
    };
    Ok(shares.into_iter().map(row).collect())
}

/// Longest key and note, in letters: what is longer is another text by mistake.
const MOST_KEY: usize = 200;
const MOST_NOTE: usize = 2_000;

/// A text of one line that people can read again.
fn check_text(name: &'static str, text: Option<&str>, most: usize) -> Result<(), LogFault> {
    let Some(text) = text else { return Ok(()) };
    let length = text.chars().count();
    if length > most {
        return Err(LogFault::TooLong { name, length, most });
    }
    match text.chars().find(|letter| letter.is_control()) {
        Some(letter) => Err(LogFault::Control { name, letter }),
        None => Ok(()),
    }
}
