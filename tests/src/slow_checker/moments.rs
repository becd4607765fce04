//! Times as a register writes them: with an offset, local, or only a date.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime, time};
use jiff::tz::TimeZone;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    Exact(Timestamp),
    Day(Date),
}

pub fn zone(name: &str) -> Result<TimeZone, String> {
    TimeZone::get(name)
        .or_else(|_| TimeZone::posix(name))
        .map_err(|_| format!("{name:?} is neither a zone name nor a POSIX rule"))
}

pub fn read(cell: &str, zone: &TimeZone) -> Result<Moment, String> {
    if cell.len() == 10 {
        return date(cell).map(Moment::Day);
    }
    if let Ok(instant) = cell.parse::<Timestamp>() {
        return Ok(Moment::Exact(instant));
    }
    let local: DateTime = cell.parse().map_err(|_| format!("{cell:?} is no date or time"))?;
    instant(local, zone).map(Moment::Exact)
}

pub fn date(cell: &str) -> Result<Date, String> {
    cell.parse().map_err(|_| format!("{cell:?} is no date"))
}

/// A local time that is skipped or repeated takes the earlier offset of the two.
fn instant(local: DateTime, zone: &TimeZone) -> Result<Timestamp, String> {
    let zoned = zone.to_ambiguous_zoned_datetime(local).compatible().map_err(|e| e.to_string())?;
    Ok(zoned.timestamp())
}

/// 00:00 of that local day.
pub fn start_of(day: Date, zone: &TimeZone) -> Result<Timestamp, String> {
    instant(day.at(0, 0, 0, 0), zone)
}

/// 24:00 of that local day.
pub fn end_of(day: Date, zone: &TimeZone) -> Result<Timestamp, String> {
    start_of(day.tomorrow().map_err(|e| e.to_string())?, zone)
}

/// 23:59:59 of that local day.
pub fn last_second_of(day: Date, zone: &TimeZone) -> Result<Timestamp, String> {
    instant(day.to_datetime(time(23, 59, 59, 0)), zone)
}

pub fn date_at(instant: Timestamp, zone: &TimeZone) -> Date {
    zone.to_datetime(instant).date()
}

#[cfg(test)]
mod tests {
    use super::{Moment, read, zone};

    fn exact(cell: &str, zone_name: &str) -> String {
        match read(cell, &zone(zone_name).unwrap()).unwrap() {
            Moment::Exact(instant) => instant.to_string(),
            Moment::Day(day) => panic!("only a day: {day}"),
        }
    }

    #[test]
    fn skipped_and_repeated_times_take_the_earlier_offset() {
        assert_eq!(exact("2027-03-28T01:30:00", "Europe/London"), "2027-03-28T01:30:00Z");
        assert_eq!(exact("2027-10-31T01:30:00", "Europe/London"), "2027-10-31T00:30:00Z");
        let tarvany = "TVT0TVST,M3.5.0/1,M10.5.0/2";
        assert_eq!(exact("2026-10-25T01:30", tarvany), "2026-10-25T00:30:00Z");
        assert_eq!(exact("2026-07-01T12:00", "<-03>3"), "2026-07-01T15:00:00Z");
    }
}
