//! Gear laid up and returned, in pairs and out of turn, and strops withdrawn.

use super::super::busy::Busy;
use super::super::clock::{Cell, later};
use super::super::dice::Dice;
use super::super::sheet::Sheet;
use crate::slow_checker::moments::Moment;
use crate::slow_checker::register::Item;

const HEADER: [&str; 7] = ["key", "item", "at", "state", "by", "reason", "void"];

pub fn csv(dice: &mut Dice, items: &[Item], busy: &mut Busy) -> Result<String, String> {
    let mut sheet = Sheet::new(&HEADER);
    for item in items {
        if dice.chance(65) {
            lay_ups(dice, item, busy, &mut sheet)?;
        }
        if item.kind == "strop" && dice.chance(25) {
            let cell = busy.cell(dice, &item.zone)?;
            push(dice, item, &cell, "withdrawn", busy, &mut sheet)?;
        }
    }
    sheet.write(dice)
}

fn lay_ups(dice: &mut Dice, item: &Item, busy: &mut Busy, sheet: &mut Sheet) -> Result<(), String> {
    let mut day = later(busy.start, dice.between(0, 300))?;
    for _ in 0..dice.between(1, 4) {
        if day > busy.end {
            break;
        }
        for state in ["laid up", "returned"] {
            let cell = if dice.chance(55) { Cell::day(day) } else { Cell::timed(dice, day, &item.zone)? };
            // Now and then one of the pair was never written down.
            if dice.chance(88) {
                push(dice, item, &cell, state, busy, sheet)?;
            }
            // Laid up and returned on one day: known by date alone, at the same instant.
            let days = if dice.chance(15) { 0 } else { dice.between(2, 150) };
            day = later(day, days)?;
        }
    }
    Ok(())
}

fn push(
    dice: &mut Dice,
    item: &Item,
    cell: &Cell,
    state: &str,
    busy: &mut Busy,
    sheet: &mut Sheet,
) -> Result<(), String> {
    let void = if dice.chance(7) { "yes" } else { "" };
    match cell.moment {
        Moment::Day(day) => {
            busy.days.push(day);
            busy.eves.push(later(day, -1)?);
        }
        Moment::Exact(instant) => busy.note(instant, None, &item.zone),
    }
    let key = sheet.next_key('l');
    sheet.push(&[&key, &item.tag, &cell.text, state, "", "drawn", void]);
    Ok(())
}
