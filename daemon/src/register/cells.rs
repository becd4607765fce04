//! The cells of one row, read into typed values; what is wrong goes to the faults.

use std::cell::Cell;
use std::collections::HashMap;

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use policies::amount::Amount;
use policies::zone::{Instant, Zone};

use super::fault::{Faults, RowFault};
use super::sheet::Sheet;

/// One row under its header.
pub(crate) struct Cells<'s> {
    sheet: &'s Sheet,
    columns: &'s HashMap<&'s str, usize>,
    line: usize,
    row: &'s [String],
    faults: &'s Faults,
    bad: Cell<bool>,
}

/// A time as written: the moment it is taken as, and the day where only that is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Moment {
    pub(crate) at: i64,
    pub(crate) day: Option<String>,
}

const TIME_HELP: &str =
    "is no time; write 2026-10-12T09:40:00+01:00, a local 2026-10-12T09:40, or a date 2026-10-12";

impl<'s> Cells<'s> {
    pub(crate) fn new(
        sheet: &'s Sheet,
        columns: &'s HashMap<&'s str, usize>,
        line: usize,
        row: &'s [String],
        faults: &'s Faults,
    ) -> Cells<'s> {
        Cells { sheet, columns, line, row, faults, bad: Cell::new(false) }
    }

    /// Whether any cell of the row was wrong.
    pub(crate) fn is_bad(&self) -> bool {
        self.bad.get()
    }

    pub(crate) fn fault(&self, column: &str, message: impl Into<String>) {
        self.bad.set(true);
        self.faults.add(self.here(column, message));
    }

    pub(crate) fn note(&self, column: &str, message: impl Into<String>) {
        self.faults.note(self.here(column, message));
    }

    fn here(&self, column: &str, message: impl Into<String>) -> RowFault {
        let file = self.sheet.file.clone();
        RowFault { file, row: self.line, column: column.to_owned(), message: message.into() }
    }

    /// The cell's text: none for an absent column, empty for an empty cell.
    pub(crate) fn raw(&self, column: &str) -> Option<&'s str> {
        self.columns.get(column).map(|at| self.row[*at].as_str())
    }

    /// The cell's text where it says anything.
    pub(crate) fn text(&self, column: &str) -> Option<&'s str> {
        self.raw(column).filter(|text| !text.is_empty())
    }

    /// A text that must be there, unless what is stored stands.
    pub(crate) fn needed(&self, column: &str, stored: Option<&String>) -> Option<String> {
        match (self.raw(column), stored) {
            (None, Some(stored)) => Some(stored.clone()),
            (None, None) => {
                self.fault(column, "is missing; add the column");
                None
            }
            (Some(""), _) => {
                self.fault(column, "is empty; it must be given");
                None
            }
            (Some(text), _) => self.plain(column, text),
        }
    }

    /// A text that may be empty: an absent column leaves what is stored, an empty cell clears it.
    pub(crate) fn may(&self, column: &str, stored: Option<&Option<String>>) -> Option<String> {
        match self.raw(column) {
            None => stored.cloned().flatten(),
            Some("") => None,
            Some(text) => self.plain(column, text),
        }
    }

    fn plain(&self, column: &str, text: &str) -> Option<String> {
        if text.chars().any(|c| c.is_control() && c != '\n' && c != '\r' && c != '\t') {
            self.fault(column, "holds a control character; take it out");
            return None;
        }
        Some(text.to_owned())
    }

    /// A key or tag: short, one line.
    pub(crate) fn key(&self, column: &str) -> Option<String> {
        let text = self.needed(column, None)?;
        if text.chars().count() > 100 || text.chars().any(char::is_control) {
            self.fault(column, "is longer than 100 characters or not one line");
            return None;
        }
        Some(text)
    }

    /// Checks a value that is there, and says what is wrong with it.
    pub(crate) fn checked<T>(
        &self,
        column: &str,
        text: Option<String>,
        check: impl Fn(&str) -> Result<T, String>,
    ) -> Option<String> {
        let text = text?;
        // What was stored earlier was checked then; only what this row says is judged.
        if self.text(column).is_none() {
            return Some(text);
        }
        match check(&text) {
            Ok(_) => Some(text),
            Err(message) => {
                self.fault(column, format!("\"{text}\" {message}"));
                None
            }
        }
    }

    /// One of a list of words.
    pub(crate) fn word(&self, column: &str, text: Option<String>, words: &[&str]) -> Option<String> {
        self.checked(column, text, |text| {
            if words.contains(&text) { Ok(()) } else { Err(format!("is not one of: {}", words.join(", "))) }
        })
    }

    /// A date, kept as ISO text.
    pub(crate) fn date(&self, column: &str, text: Option<String>) -> Option<String> {
        self.checked(column, text, |text| date(text).map(drop))
    }

    /// An amount in millionths, over what is stored.
    pub(crate) fn amount(&self, column: &str, stored: Option<i64>) -> Option<i64> {
        match self.raw(column) {
            None => stored,
            Some("") => None,
            Some(text) => match text.parse::<Amount>() {
                Ok(amount) => Some(amount.millionths()),
                Err(error) => {
                    self.fault(column, format!("\"{text}\" {error}"));
                    None
                }
            },
        }
    }

    /// `yes`, or nothing.
    pub(crate) fn void(&self, stored: Option<bool>) -> bool {
        match self.raw("void") {
            None => stored.unwrap_or(false),
            Some("" | "no") => false,
            Some("yes") => true,
            Some(other) => {
                self.fault("void", format!("\"{other}\" is not yes; write yes, or leave it empty"));
                false
            }
        }
    }

    /// A moment in the zone of the row's subject.
    pub(crate) fn moment(&self, column: &str, zone: &Zone) -> Option<Moment> {
        let text = self.text(column)?;
        let Some((moment, chosen)) = moment(text, zone) else {
            self.fault(column, format!("\"{text}\" {TIME_HELP}"));
            return None;
        };
        if chosen {
            let local = "falls in a clock change; it was taken with the earlier offset";
            self.note(column, format!("\"{text}\" {local}"));
        }
        Some(moment)
    }

    /// A moment that must be there, unless what is stored stands.
    pub(crate) fn needed_moment(&self, column: &str, zone: &Zone, stored: Option<Moment>) -> Option<Moment> {
        match (self.raw(column), stored) {
            (None, Some(stored)) => Some(stored),
            (None, None) => {
                self.fault(column, "is missing; add the column");
                None
            }
            (Some(""), _) => {
                self.fault(column, "is empty; it must be given");
                None
            }
            _ => self.moment(column, zone),
        }
    }
}

/// A civil date in a sensible range.
pub(crate) fn date(text: &str) -> Result<Date, String> {
    let plain = text.len() == 10 && text.bytes().all(|b| b.is_ascii_digit() || b == b'-');
    let date = text.parse::<Date>().ok().filter(|date| plain && (1900..=2200).contains(&date.year()));
    date.ok_or_else(|| "is no date that exists between 1900 and 2200; write it like 2026-10-12".to_owned())
}

/// A time in any of the three forms; with it, whether a clock change made its offset a choice.
pub(crate) fn moment(text: &str, zone: &Zone) -> Option<(Moment, bool)> {
    if let Ok(day) = date(text) {
        return Some((Moment { at: zone.start_of(day).0, day: Some(text.to_owned()) }, false));
    }
    let (day, time) = text.split_once(['T', 't', ' '])?;
    date(day).ok()?;
    if time.len() >= 5 && time.bytes().all(|b| b.is_ascii_digit() || b == b':' || b == b'.') {
        let local: DateTime = format!("{day}T{time}").parse().ok()?;
        let at: Instant = zone.instant(local);
        return Some((Moment { at: at.0, day: None }, zone.is_ambiguous(local)));
    }
    if time.contains('[') {
        return None;
    }
    let at: Timestamp = text.parse().ok()?;
    Some((Moment { at: at.as_microsecond(), day: None }, false))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_in_three_forms() {
        let zone = Zone::parse("Europe/London").unwrap();
        let at = |text: &str| {
            moment(text, &zone).map(|(moment, chosen)| (moment.at, moment.day.is_some(), chosen))
        };
        let utc = |text: &str| text.parse::<Timestamp>().unwrap().as_microsecond();
        assert_eq!(at("2026-10-12T09:40:00+01:00"), Some((utc("2026-10-12T08:40:00Z"), false, false)));
        assert_eq!(at("2026-10-12T09:40"), Some((utc("2026-10-12T08:40:00Z"), false, false)));
        assert_eq!(at("2026-10-12"), Some((utc("2026-10-11T23:00:00Z"), true, false)));
        assert_eq!(at("2026-10-25T01:30"), Some((utc("2026-10-25T00:30:00Z"), false, true)));
        for wrong in [
            "2026-02-30",
            "2026-02-30T10:00",
            "12/10/2026",
            "2026-10-12T25:00",
            "2026-10-12T",
            "soon",
            "20261012",
        ] {
            assert_eq!(at(wrong), None, "{wrong}");
        }
    }
}
