//! When a sweep starts by the clock: crontab text, reckoned in civil time and mapped to a time zone.
//!
//! Crate `cron` alone drops runs that fall in the hour a clock change skips, doubles those in the hour it
//! repeats, and answers differently after a restart. So it is asked in civil time, as if that were UTC, and
//! each civil time is then mapped to one instant: a skipped time to the later instant, a repeated one to the
//! first. The civil time is the run's key; store the key of the last run, and a restart neither loses
//! nor repeats one.

mod civil;
mod crontab;

use std::fmt::{self, Write as _};
use std::str::FromStr;

use chrono::Datelike;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use thiserror::Error;

use civil::{disorder, instant, to_chrono, to_jiff};
use crontab::Crontab;

const ECHOED_RUNS: usize = 5;

/// Why a text is no usable schedule.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ScheduleError {
    /// Not five fields.
    #[error(
        "a schedule has five fields (minute, hour, day of month, month, weekday), this has {found}{hint}"
    )]
    FieldCount {
        /// How many fields were found.
        found: usize,
        /// What to do about it, as a sentence part, or nothing.
        hint: &'static str,
    },
    /// A term that cannot be read.
    #[error("{field}: `{term}`: {right}")]
    Field {
        /// The field's name.
        field: &'static str,
        /// The term as written.
        term: String,
        /// What would be right.
        right: String,
    },
    /// A stepped star in one day field beside a set other one.
    #[error(
        "{field}: a stepped star beside the other day field means `both` to some cron programs and `either` to others; \
         write it as a range, such as {range}/2, for `either`, or leave one of the two fields *"
    )]
    TwoReadings {
        /// The field with the stepped star.
        field: &'static str,
        /// The range that says the same.
        range: &'static str,
    },
    /// No day suits the day and month fields.
    #[error("it would never run: no month named has such a day of the month")]
    NeverRuns,
    /// Crate `cron` refused the rewritten text.
    #[error("it cannot be reckoned: {0}")]
    Reckoner(String),
}

/// A five-field crontab schedule.
///
/// Weekdays are names (`MON`) or crontab numbers (0 and 7 are Sunday). Where both day fields are set, a day
/// that suits either of them runs, as POSIX has it.
#[derive(Debug, Clone)]
pub struct Schedule {
    text: String,
    crontab: Crontab,
    /// One expression, or two whose runs are taken together.
    parts: Vec<cron::Schedule>,
}

/// One run: its key in civil time and the instant that the zone gives it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Run {
    /// The civil time, which names the run.
    pub key: DateTime,
    /// When it is due.
    pub at: Timestamp,
}

impl FromStr for Schedule {
    type Err = ScheduleError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::parse(text)
    }
}

impl fmt::Display for Schedule {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.text)
    }
}

impl Schedule {
    /// Reads five-field crontab text.
    pub fn parse(text: &str) -> Result<Self, ScheduleError> {
        let crontab = Crontab::parse(text)?;
        let parts = crontab.expressions().iter().map(|one| reckoner(one)).collect::<Result<Vec<_>, _>>()?;
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        Ok(Self { text, crontab, parts })
    }

    /// The first run after the last one, or after `now` if there was none. It may lie before `now`: then it was missed.
    ///
    /// Nothing only where the calendar ends (crate `cron` counts to 2100).
    pub fn next_after(&self, last_fired: Option<DateTime>, now: Timestamp, tz: &TimeZone) -> Option<Run> {
        match last_fired {
            Some(key) => self.first_after(instant(key, tz)?, tz),
            None => self.first_after(now, tz),
        }
    }

    /// The run to make now, if one is owed: the newest run up to `now` unless it is the last one made or lies
    /// before it. However many were missed, one run makes them good, because a sweep works from the records.
    pub fn due(&self, last_fired: Option<DateTime>, now: Timestamp, tz: &TimeZone) -> Option<Run> {
        let newest = self.latest(now, tz)?;
        let last = last_fired.and_then(|key| instant(key, tz));
        (last < Some(newest.at)).then_some(newest)
    }

    /// The newest run up to and including `now`. Its key is what a new installation stores as last fired, so
    /// that the first run to come is owed even if the daemon is down then.
    pub fn latest(&self, now: Timestamp, tz: &TimeZone) -> Option<Run> {
        let back = self.newest_key_up_to(tz.to_datetime(now));
        let mut keys = std::iter::successors(back, |key| self.newest_key_before(*key));
        let newest_by_key = keys.find_map(|key| run(key, tz).filter(|run| run.at <= now));
        // After a clock change a run of an earlier key, or of a key still ahead on the clock, may be newer.
        let newer = |run: &Run| self.first_after(run.at, tz).filter(|next| next.at <= now);
        std::iter::successors(newest_by_key, newer).last()
    }

    /// The next runs after `now`.
    pub fn upcoming(&self, now: Timestamp, tz: &TimeZone, count: usize) -> Vec<Run> {
        let first = self.first_after(now, tz);
        std::iter::successors(first, |run| self.first_after(run.at, tz)).take(count).collect()
    }

    /// The schedule echoed for a reader: its weekdays in words and its next five runs, each with weekday and
    /// offset in force.
    pub fn describe(&self, now: Timestamp, tz: &TimeZone) -> String {
        let mut text = format!("`{}`{}", self.text, self.days_in_words());
        for run in self.upcoming(now, tz, ECHOED_RUNS) {
            // Writing to a String cannot fail.
            let _ = write!(text, "\n{}", run.describe(tz));
        }
        text
    }

    fn days_in_words(&self) -> String {
        match self.crontab.weekdays() {
            Some(days) if self.crontab.either_day() => format!(" (the days of the month, and each {days})"),
            Some(days) => format!(" ({days})"),
            None => String::new(),
        }
    }

    /// The run with the least instant after `after`. Keys that a clock change maps to one instant are one run,
    /// under the latest of them.
    fn first_after(&self, after: Timestamp, tz: &TimeZone) -> Option<Run> {
        // Keys of a skipped hour lie before the local time and run after it.
        let start = tz.to_datetime(after).saturating_sub(disorder(after, tz));
        let mut best: Option<Run> = None;
        for key in std::iter::successors(self.first_key_after(start), |key| self.first_key_after(*key)) {
            // A key never runs before its own civil time, so later keys cannot be earlier runs.
            if best.is_some_and(|best| key > tz.to_datetime(best.at)) {
                break;
            }
            let candidate = run(key, tz)?;
            if candidate.at > after && best.is_none_or(|best| candidate.at <= best.at) {
                best = Some(candidate);
            }
        }
        best
    }

    fn first_key_after(&self, civil: DateTime) -> Option<DateTime> {
        let from = to_chrono(civil)?;
        self.parts.iter().filter_map(|part| part.after(&from).next()).min().and_then(to_jiff)
    }

    fn newest_key_before(&self, civil: DateTime) -> Option<DateTime> {
        let from = to_chrono(civil)?;
        self.parts.iter().filter_map(|part| part.after(&from).next_back()).max().and_then(to_jiff)
    }

    fn newest_key_up_to(&self, civil: DateTime) -> Option<DateTime> {
        self.newest_key_before(civil.saturating_add(1.second()))
    }
}

impl Run {
    /// `Mon 2026-10-12 06:00 +01:00`: the wall clock when it runs, with the offset in force.
    pub fn describe(&self, tz: &TimeZone) -> String {
        self.at.to_zoned_datetime(tz.clone()).strftime("%a %Y-%m-%d %H:%M %:z").to_string()
    }
}

/// Parses an expression for crate `cron` and makes sure that it runs. The text names no year, so whether it
/// ever runs does not hang on today: ten years from 2001 hold two leap days and every length of month.
fn reckoner(expression: &str) -> Result<cron::Schedule, ScheduleError> {
    let parsed =
        cron::Schedule::from_str(expression).map_err(|error| ScheduleError::Reckoner(error.to_string()))?;
    let start = to_chrono(jiff::civil::date(2001, 1, 1).at(0, 0, 0, 0));
    let first = start.and_then(|start| parsed.after(&start).next());
    match first {
        Some(first) if first.year() < 2011 => Ok(parsed),
        _ => Err(ScheduleError::NeverRuns),
    }
}

fn run(key: DateTime, tz: &TimeZone) -> Option<Run> {
    instant(key, tz).map(|at| Run { key, at })
}

#[cfg(test)]
mod tests;
