//! Work on the rules of the second drawing, with readings around their bounds, and on the days
//! on which a clause turns.

use super::super::busy::Busy;
use super::super::clock::{Cell, later};
use super::super::dice::Dice;
use super::super::sheet::Sheet;
use super::edges;
use super::rules::{is_of_second, readings_of};
use crate::slow_checker::applies::applies;
use crate::slow_checker::policy::Policy;
use crate::slow_checker::register::Item;
use crate::slow_checker::rules::Rule;
use jiff::civil::Date;
use jiff::tz::TimeZone;

const HEADER: [&str; 10] =
    ["key", "item", "rule", "done_at", "outcome", "by", "certificate", "note", "measurements", "void"];

struct Works<'a> {
    dice: &'a mut Dice,
    busy: &'a Busy,
    sheet: Sheet,
}

pub fn csv(dice: &mut Dice, items: &[Item], policy: &Policy, busy: &Busy) -> Result<String, String> {
    let mut works = Works { dice, busy, sheet: Sheet::new(&HEADER) };
    for item in items {
        let kind = policy.kind(&item.kind)?;
        let rules = policy.rules.iter().filter(|rule| is_of_second(&rule.id));
        for rule in rules.filter(|rule| applies(rule, item, kind)) {
            works.series(item, rule)?;
        }
    }
    let Works { dice, sheet, .. } = works;
    sheet.write(dice)
}

impl Works<'_> {
    fn series(&mut self, item: &Item, rule: &Rule) -> Result<(), String> {
        let (percent, most) = if rule.records.is_empty() { (60, 4) } else { (90, 7) };
        if !self.dice.chance(percent) {
            return Ok(());
        }
        for _ in 0..self.dice.between(1, most) {
            let day = self.day(rule)?;
            let cell = self.cell(day, &item.zone)?;
            let outcome = *self.dice.pick(&["passed", "passed", "done", "done", "failed"]);
            self.one(item, rule, &cell, outcome);
            // Twice at one instant, with another reading; both good, since of a failed and a passed
            // one the order is only told for quarantine.
            if !rule.records.is_empty() && outcome != "failed" && self.dice.chance(25) {
                self.one(item, rule, &cell, "done");
            }
        }
        Ok(())
    }

    fn day(&mut self, rule: &Rule) -> Result<Date, String> {
        let openings = edges::openings(rule, self.busy)?;
        let lately = edges::lately(self.dice, rule, self.busy)?;
        let day = match self.dice.between(1, 4) {
            1 | 2 if !openings.is_empty() => *self.dice.pick(&openings),
            1 | 2 => lately.map_or_else(|| self.busy.day(self.dice), Ok)?,
            _ => self.busy.day(self.dice)?,
        };
        later(day, *self.dice.pick(&[0, 0, 0, -1, 1]))
    }

    /// A date, a time, or the very instant at which something else happened.
    fn cell(&mut self, day: Date, zone: &TimeZone) -> Result<Cell, String> {
        match self.dice.between(1, 20) {
            1 if !self.busy.instants.is_empty() => {
                let instant = *self.dice.pick(&self.busy.instants);
                Ok(Cell::exact(self.dice, instant, zone))
            }
            2..=11 => Ok(Cell::day(day)),
            _ => Cell::timed(self.dice, day, zone),
        }
    }

    fn one(&mut self, item: &Item, rule: &Rule, cell: &Cell, outcome: &str) {
        let measured = readings_of(self.dice, &rule.records);
        let void = if self.dice.chance(6) { "yes" } else { "" };
        let key = self.sheet.next_key('m');
        let named = self.dice.chance(if rule.certificate { 60 } else { 20 });
        let certificate = if named { "TR-2" } else { "" };
        self.sheet.push(&[
            &key,
            &item.tag,
            &rule.id,
            &cell.text,
            outcome,
            "",
            certificate,
            "",
            &measured,
            void,
        ]);
    }
}
