//! An entry of the log as rows of use: read from text, under keys that make it one record.

use policies::amount::Amount;
use policies::entry::{Entry, EntryFault, Share, Where, shares};
use policies::facts::Fleet;
use policies::load::PolicySet;
use policies::zone::Instant;

use crate::desk::DeskError;
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
    check_text("--key", asked.key, MOST_KEY)?;
    check_text("--note", asked.note, MOST_NOTE)?;
    let whereabouts =
        Where { station: asked.station, at: Instant(at), today: zone.date_of(now), hosts: asked.hosts };
    let shares = shares(set, fleet, &whereabouts, entry).map_err(|fault| refused(with_help(&fault)))?;
    let base = asked.key.map_or_else(|| format!("log {at}"), str::to_owned);
    let row = |share: Share| {
        let host = fleet.item(share.host).tag.to_string();
        let amount = Some(share.amount).map(Amount::millionths);
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

/// What would help, in the command line's words, where that is an option of its own.
fn with_help(fault: &EntryFault) -> String {
    match fault {
        EntryFault::Nothing { .. } => format!("{fault}; name the gear that bore it with --host TAG"),
        EntryFault::Two { .. } => format!("{fault}; say which with --host TAG"),
        _ => fault.to_string(),
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
