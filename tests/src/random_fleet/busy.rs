//! The days and instants on which something happens, so that more can happen on them.

use super::clock::{self, Cell};
use super::dice::Dice;
use crate::slow_checker::moments;
use crate::slow_checker::register::Fitting;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

pub struct Busy {
    pub start: Date,
    pub end: Date,
    pub days: Vec<Date>,
    pub instants: Vec<Timestamp>,
    /// Days that end at the very instant of a record.
    pub eves: Vec<Date>,
}

impl Busy {
    pub fn of(fittings: &[Fitting], start: Date, end: Date) -> Busy {
        let mut busy = Busy { start, end, days: vec![start], instants: Vec::new(), eves: Vec::new() };
        for fitting in fittings {
            busy.note(fitting.from, fitting.from_day, &fitting.zone);
            if let Some(to) = fitting.to {
                busy.note(to, fitting.to_day, &fitting.zone);
            }
        }
        busy
    }

    pub fn note(&mut self, instant: Timestamp, day: Option<Date>, zone: &TimeZone) {
        self.days.push(day.unwrap_or_else(|| moments::date_at(instant, zone)));
        // Of a date alone no instant is shared: at 00:00 a cut would meet the use.
        if day.is_none() {
            self.instants.push(instant);
        }
    }

    /// Any day, or one on which something else happens, or the end of a month.
    pub fn day(&self, dice: &mut Dice) -> Result<Date, String> {
        let length = self.start.until(self.end).map_err(|e| e.to_string())?.get_days();
        let any = clock::later(self.start, dice.between(0, length))?;
        Ok(match dice.between(1, 10) {
            1..=4 => *dice.pick(&self.days),
            5 => any.last_of_month(),
            _ => any,
        })
    }

    /// A date, a time, a skipped or repeated hour, or the instant of something else or near it.
    pub fn cell(&self, dice: &mut Dice, zone: &TimeZone) -> Result<Cell, String> {
        let day = self.day(dice)?;
        match dice.between(1, 20) {
            1..=7 => Ok(Cell::day(day)),
            8 => self.odd_hour(dice, day, zone),
            9..=11 if !self.instants.is_empty() => self.close_to_another(dice, zone),
            _ => Cell::timed(dice, day, zone),
        }
    }

    fn close_to_another(&self, dice: &mut Dice, zone: &TimeZone) -> Result<Cell, String> {
        let second = dice.pick(&self.instants).as_second();
        let apart = if dice.chance(40) { 0 } else { dice.between(-3000, 3000) };
        let instant = Timestamp::new(second + i64::from(apart), 0).map_err(|e| e.to_string())?;
        // A full midnight would meet the edge of a day.
        if zone.to_datetime(instant).minute() == 0 && apart != 0 {
            return Ok(Cell::day(moments::date_at(instant, zone)));
        }
        Ok(Cell::exact(dice, instant, zone))
    }

    fn odd_hour(&self, dice: &mut Dice, day: Date, zone: &TimeZone) -> Result<Cell, String> {
        let hours = clock::odd_hours(zone, self.start, self.end)?;
        if hours.is_empty() {
            return Cell::timed(dice, day, zone);
        }
        let (_, text) = dice.pick(&hours).clone();
        let moment = moments::read(&text, zone)?;
        Ok(Cell { text, moment })
    }
}
