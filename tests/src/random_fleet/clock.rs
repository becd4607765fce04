//! Times as people write them: with this or that offset, local, or only the date.

use super::dice::Dice;
use crate::slow_checker::moments::{self, Moment};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::{Offset, TimeZone};

/// What stands in the file, and what it means.
#[derive(Clone)]
pub struct Cell {
    pub text: String,
    pub moment: Moment,
}

impl Cell {
    pub fn day(day: Date) -> Cell {
        Cell { text: day.to_string(), moment: Moment::Day(day) }
    }

    pub fn exact(dice: &mut Dice, instant: Timestamp, zone: &TimeZone) -> Cell {
        let text = match dice.between(1, 4) {
            1 => instant.to_string(),
            2 => instant.display_with_offset(zone.to_offset(instant)).to_string(),
            3 => instant.display_with_offset(elsewhere(dice)).to_string(),
            _ => local(instant, zone),
        };
        Cell { text, moment: Moment::Exact(instant) }
    }

    /// Some time of that local day, never on a full minute: a full midnight would meet
    /// the day's own edges.
    pub fn timed(dice: &mut Dice, day: Date, zone: &TimeZone) -> Result<Cell, String> {
        let time =
            format!("{day}T{:02}:{:02}:{:02}", dice.between(0, 23), dice.between(0, 59), dice.between(1, 58));
        match moments::read(&time, zone)? {
            Moment::Exact(instant) if dice.chance(60) => Ok(Cell::exact(dice, instant, zone)),
            moment => Ok(Cell { text: time, moment }),
        }
    }
}

fn elsewhere(dice: &mut Dice) -> Offset {
    let hours = i8::try_from(dice.between(-11, 13)).unwrap_or_default();
    Offset::constant(hours)
}

/// The local time, where it reads back to the same instant.
fn local(instant: Timestamp, zone: &TimeZone) -> String {
    let text = zone.to_datetime(instant).to_string();
    match moments::read(&text, zone) {
        Ok(Moment::Exact(read)) if read == instant => text,
        _ => instant.to_string(),
    }
}

/// A skipped or repeated time within the two months from that day, where there is one.
pub fn odd_hour_near(day: Date, zone: &TimeZone) -> Result<Option<Cell>, String> {
    let hours = odd_hours(zone, day, later(day, 60)?)?;
    let Some((_, text)) = hours.first() else { return Ok(None) };
    Ok(Some(Cell { text: text.clone(), moment: moments::read(text, zone)? }))
}

/// The local days on which the clock changes, each with a time that is skipped or repeated.
pub fn odd_hours(zone: &TimeZone, first: Date, last: Date) -> Result<Vec<(Date, String)>, String> {
    let begin = moments::start_of(first, zone)?;
    let end = moments::end_of(last, zone)?;
    let mut hours = Vec::new();
    for change in zone.following(begin) {
        if change.timestamp() > end {
            break;
        }
        let before = Timestamp::new(change.timestamp().as_second() - 1, 0);
        let before = before.map_err(|e| e.to_string())?;
        let forward = change.offset() > zone.to_offset(before);
        let minutes = if forward { 17 } else { -23 };
        let second = change.timestamp().as_second() + minutes * 60 + 11;
        let at = Timestamp::new(second, 0).map_err(|e| e.to_string())?;
        // Going forward, the clock still showing the old offset gives a skipped time.
        let shown = if forward { zone.to_offset(before) } else { zone.to_offset(at) };
        let text = shown.to_datetime(at);
        hours.push((text.date(), text.to_string()));
    }
    Ok(hours)
}

pub fn later(day: Date, days: i32) -> Result<Date, String> {
    let mut date = day;
    for _ in 0..days.abs() {
        let next = if days < 0 { date.yesterday() } else { date.tomorrow() };
        date = next.map_err(|e| e.to_string())?;
    }
    Ok(date)
}

#[cfg(test)]
mod tests {
    use super::odd_hours;
    use crate::slow_checker::moments;
    use jiff::civil::date;

    #[test]
    fn odd_hours_are_skipped_or_repeated() {
        for name in ["Europe/London", "America/St_Johns", "Pacific/Auckland"] {
            let zone = moments::zone(name).unwrap();
            let hours = odd_hours(&zone, date(2027, 1, 1), date(2028, 12, 31)).unwrap();
            assert_eq!(hours.len(), 4, "{name}");
            for (_, text) in hours {
                let local: jiff::civil::DateTime = text.parse().unwrap();
                let ambiguous = zone.to_ambiguous_zoned_datetime(local);
                assert!(ambiguous.is_ambiguous(), "{name} {text}");
            }
        }
        let fixed = moments::zone("<-03>3").unwrap();
        assert!(odd_hours(&fixed, date(2027, 1, 1), date(2028, 12, 31)).unwrap().is_empty());
    }
}
