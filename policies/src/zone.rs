//! Time zones of stations, and instants of records.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;

/// A moment in time, in microseconds since 1970-01-01T00:00:00Z.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(pub i64);

impl Instant {
    /// Before every record.
    pub const MIN: Instant = Instant(i64::MIN);
    /// After every record.
    pub const MAX: Instant = Instant(i64::MAX);

    /// The next representable moment: "strictly after" as a half-open bound.
    #[must_use]
    pub const fn next(self) -> Instant {
        Instant(self.0.saturating_add(1))
    }

    /// As a jiff timestamp; moments beyond its range are brought to its ends.
    pub fn timestamp(self) -> Timestamp {
        let end = if self.0 < 0 { Timestamp::MIN } else { Timestamp::MAX };
        Timestamp::from_microsecond(self.0).unwrap_or(end)
    }
}

impl From<Timestamp> for Instant {
    fn from(at: Timestamp) -> Instant {
        Instant(at.as_microsecond())
    }
}

/// When a record happened, as it was written down.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum When {
    /// To the moment.
    At(Instant),
    /// To the local day only; what that means depends on the record, always on the safe side.
    Day(Date),
}

/// A station's time zone: an IANA name, or a POSIX rule string for places the database does not know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Zone {
    name: Box<str>,
    zone: TimeZone,
}

/// A text that names no time zone.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no time zone; give an IANA name like Europe/London, or a POSIX rule like <-03>3")]
pub struct ZoneError(pub String);

impl Zone {
    /// Reads an IANA name or a POSIX rule string.
    pub fn parse(text: &str) -> Result<Zone, ZoneError> {
        let zone =
            TimeZone::get(text).or_else(|_| TimeZone::posix(text)).map_err(|_| ZoneError(text.to_owned()))?;
        Ok(Zone { name: text.into(), zone })
    }

    /// Coordinated universal time.
    pub fn utc() -> Zone {
        Zone { name: "UTC".into(), zone: TimeZone::UTC }
    }

    /// The text it was read from.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// jiff's own zone.
    pub fn time_zone(&self) -> &TimeZone {
        &self.zone
    }

    /// The local date at an instant.
    pub fn date_of(&self, at: Instant) -> Date {
        self.local(at).date()
    }

    /// The local date and time at an instant.
    pub fn local(&self, at: Instant) -> DateTime {
        self.zone.to_datetime(at.timestamp())
    }

    /// The instant of a local time. One that a clock change repeats or skips is taken with the
    /// offset before the change, as RFC 5545 (3.3.5) reads it.
    pub fn instant(&self, local: DateTime) -> Instant {
        match self.zone.to_ambiguous_timestamp(local).compatible() {
            Ok(at) => at.into(),
            Err(_) if local.year() < 1970 => Instant::MIN,
            Err(_) => Instant::MAX,
        }
    }

    /// True when a clock change repeats or skips this local time, so that its offset was a choice.
    pub fn is_ambiguous(&self, local: DateTime) -> bool {
        self.zone.to_ambiguous_timestamp(local).is_ambiguous()
    }

    /// The first moment of a local day.
    pub fn start_of(&self, day: Date) -> Instant {
        self.instant(day.at(0, 0, 0, 0))
    }

    /// 24:00 of a local day: the first moment of the next.
    pub fn end_of(&self, day: Date) -> Instant {
        day.tomorrow().map_or(Instant::MAX, |next| self.start_of(next))
    }

    /// The moment at which use known to the day only is counted: 23:59:59.
    pub fn last_second_of(&self, day: Date) -> Instant {
        self.instant(day.at(23, 59, 59, 0))
    }

    /// The instant of a record that counts from the start of its day when only the day is known.
    pub fn from_start(&self, when: When) -> Instant {
        match when {
            When::At(at) => at,
            When::Day(day) => self.start_of(day),
        }
    }

    /// The instant of a removal: the day's end when only the day is known.
    pub fn until_end(&self, when: When) -> Instant {
        match when {
            When::At(at) => at,
            When::Day(day) => self.end_of(day),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn posix_rules_and_names_both_read() {
        assert!(Zone::parse("Europe/London").is_ok());
        let invented = Zone::parse("TVT0TVST,M3.5.0/1,M10.5.0/2").unwrap();
        assert_eq!(invented.date_of(invented.start_of(date(2026, 7, 1))), date(2026, 7, 1));
        assert!(Zone::parse("Atlantis/Capital").is_err());
        assert!(Zone::parse("").is_err());
    }

    /// RFC 5545 section 3.3.5: a repeated local time is its first occurrence, a skipped one is read
    /// with the offset before the gap.
    #[test]
    fn repeated_and_skipped_times_take_the_earlier_offset() {
        let zone = Zone::parse("Europe/London").unwrap();
        let repeated = zone.instant(date(2026, 10, 25).at(1, 30, 0, 0));
        assert_eq!(repeated, "2026-10-25T00:30:00Z".parse::<Timestamp>().unwrap().into());
        let skipped = zone.instant(date(2026, 3, 29).at(1, 30, 0, 0));
        assert_eq!(skipped, "2026-03-29T01:30:00Z".parse::<Timestamp>().unwrap().into());
    }
}
