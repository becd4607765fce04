//! Work on every rule that applies, and states.

use super::busy::Busy;
use super::clock::{self, Cell, later};
use super::dice::Dice;
use super::sheet::Sheet;
use crate::slow_checker::applies::applies;
use crate::slow_checker::moments::{self, Moment};
use crate::slow_checker::policy::Policy;
use crate::slow_checker::register::Item;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};

const WORK: [&str; 9] = ["key", "item", "rule", "done_at", "outcome", "by", "certificate", "note", "void"];
const STATES: [&str; 7] = ["key", "item", "at", "state", "by", "reason", "void"];

pub struct Works<'a> {
    pub dice: &'a mut Dice,
    pub policy: &'a Policy,
    pub pace: &'a BTreeMap<String, i32>,
    pub busy: &'a mut Busy,
}

impl Works<'_> {
    pub fn csv(mut self, items: &[Item]) -> Result<String, String> {
        let mut sheet = Sheet::new(&WORK);
        for item in items {
            let kind = self.policy.kind(&item.kind)?;
            let mut taken = BTreeSet::new();
            for rule in self.policy.rules.iter().filter(|rule| applies(rule, item, kind)) {
                if self.dice.chance(75) {
                    self.series(item, &rule.id, &mut taken, &mut sheet)?;
                }
            }
        }
        sheet.write(self.dice)
    }

    /// Work at about the rule's pace, now early, now late, at times twice in a day.
    fn series(
        &mut self,
        item: &Item,
        rule: &str,
        taken: &mut BTreeSet<Date>,
        sheet: &mut Sheet,
    ) -> Result<(), String> {
        let pace = self.pace.get(rule).copied().unwrap_or(90).min(200);
        let mut day = later(self.busy.start, self.dice.between(-40, pace + 60))?;
        for _ in 0..self.dice.between(1, 14) {
            if day > self.busy.end {
                break;
            }
            let day_done = self.about(day, &item.zone)?;
            // Work of which the instants are equal is left out: whether a failed load
            // comes before or after a passed one is only said for quarantine.
            if taken.insert(day_done) {
                self.one(item, rule, day_done, sheet)?;
            }
            day = later(day, (pace + self.dice.between(-pace / 3, pace / 3)).max(1))?;
        }
        Ok(())
    }

    fn about(&mut self, day: Date, zone: &TimeZone) -> Result<Date, String> {
        let odd = clock::odd_hours(zone, day, later(day, 25)?)?;
        Ok(match self.dice.between(1, 6) {
            _ if !odd.is_empty() && self.dice.chance(30) => odd[0].0,
            1 => day.last_of_month(),
            2 => *self.dice.pick(&self.busy.days),
            _ => later(day, self.dice.between(-3, 3))?,
        })
    }

    fn one(&mut self, item: &Item, rule: &str, day: Date, sheet: &mut Sheet) -> Result<(), String> {
        let odd = clock::odd_hours(&item.zone, day, day)?;
        let cell = match odd.first() {
            Some((on, text)) if *on == day => {
                Cell { text: text.clone(), moment: moments::read(text, &item.zone)? }
            }
            _ if self.dice.chance(40) => Cell::day(day),
            _ => Cell::timed(self.dice, day, &item.zone)?,
        };
        let outcome = *self.dice.pick(&["passed", "passed", "passed", "done", "done", "failed"]);
        let void = if self.dice.chance(5) { "yes" } else { "" };
        let key = sheet.next_key('w');
        let certificate = self.certificate(rule);
        sheet.push(&[&key, &item.tag, rule, &cell.text, outcome, "", certificate, "", void]);
        if let Moment::Exact(instant) = cell.moment {
            self.busy.note(instant, None, &item.zone);
        }
        if self.dice.chance(8) {
            let again = Cell::timed(self.dice, day, &item.zone)?;
            let key = sheet.next_key('w');
            let certificate = self.certificate(rule);
            sheet.push(&[&key, &item.tag, rule, &again.text, "done", "", certificate, "", ""]);
        }
        Ok(())
    }

    /// Named more often than not where the rule asks for it, and now and then where it does not.
    fn certificate(&mut self, rule: &str) -> &'static str {
        let asked = self.policy.rule(rule).is_some_and(|rule| rule.certificate);
        if self.dice.chance(if asked { 60 } else { 20 }) { "TR-1" } else { "" }
    }
}

/// Holds move no date; a withdrawn item loses its rows from that instant.
pub fn states_csv(dice: &mut Dice, items: &[Item], busy: &mut Busy) -> Result<String, String> {
    let mut sheet = Sheet::new(&STATES);
    for item in items {
        if dice.chance(20) {
            let held = busy.day(dice)?;
            let days = dice.between(1, 20);
            for (day, state) in [(held, "quarantined"), (later(held, days)?, "released")] {
                let key = sheet.next_key('s');
                sheet.push(&[&key, &item.tag, &day.to_string(), state, "", "drawn", ""]);
            }
        } else if dice.chance(12) {
            let cell = busy.cell(dice, &item.zone)?;
            let void = if dice.chance(30) { "yes" } else { "" };
            if let Moment::Day(day) = cell.moment {
                busy.eves.push(later(day, -1)?);
            }
            let key = sheet.next_key('s');
            sheet.push(&[&key, &item.tag, &cell.text, "withdrawn", "", "drawn", void]);
        }
    }
    sheet.write(dice)
}

/// As-of dates: ends of months, a leap day, a change of the clocks, days full of records.
pub fn as_of(dice: &mut Dice, items: &[Item], busy: &Busy) -> Result<Vec<Date>, String> {
    let earliest = later(busy.start, 200)?;
    let zone = items.first().map(|item| &item.zone).ok_or("no items")?;
    let mut days: Vec<Date> = Vec::new();
    days.extend(Date::new(busy.start.year() + 1, 2, 29));
    days.push(later(earliest, dice.between(0, 500))?.last_of_month());
    days.push(busy.day(dice)?);
    days.push(busy.day(dice)?);
    days.extend(busy.eves.first());
    days.push(later(busy.end, dice.between(0, 300))?);
    let changes = clock::odd_hours(zone, earliest, busy.end)?;
    days.extend(changes.first().map(|(day, _)| *day));
    days.retain(|day| *day >= earliest);
    days.sort();
    days.dedup();
    Ok(days)
}
