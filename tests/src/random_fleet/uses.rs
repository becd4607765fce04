//! Use: counted rows, and dials that roll over and are replaced.

use super::busy::Busy;
use super::clock::{Cell, later};
use super::dice::Dice;
use super::sheet::Sheet;
use crate::slow_checker::register::Item;

const HEADER: [&str; 8] = ["key", "host", "at", "meter", "count", "reading", "note", "void"];
const MODULUS: i32 = 1000;

pub fn csv(dice: &mut Dice, items: &[Item], busy: &Busy) -> Result<String, String> {
    let mut sheet = Sheet::new(&HEADER);
    for item in items {
        match item.kind.as_str() {
            "carriage" => {
                for _ in 0..dice.between(30, 110) {
                    let meter = *dice.pick(&[
                        "launches",
                        "launches",
                        "launches",
                        "launches",
                        "recoveries",
                        "recoveries",
                        "recoveries",
                        "recoveries",
                        "shock loads",
                    ]);
                    // Shock loads stay rare: otherwise one is always open.
                    if meter != "shock loads" || dice.chance(40) {
                        count(dice, item, meter, busy, &mut sheet)?;
                    }
                }
                if dice.chance(70) {
                    dial(dice, item, busy, &mut sheet)?;
                }
            }
            "launching fall" => {
                for _ in 0..dice.between(0, 12) {
                    count(dice, item, "proof loads", busy, &mut sheet)?;
                }
            }
            _ => {}
        }
    }
    sheet.write(dice)
}

fn count(dice: &mut Dice, item: &Item, meter: &str, busy: &Busy, sheet: &mut Sheet) -> Result<(), String> {
    let at = busy.cell(dice, &item.zone)?;
    let count = *dice.pick(&["1", "1", "1", "2", "3", "0.5", "1.250"]);
    let void = if dice.chance(5) { "yes" } else { "" };
    let key = sheet.next_key('u');
    sheet.push(&[&key, &item.tag, &at.text, meter, count, "", "", void]);
    Ok(())
}

/// Readings lie two days or more apart, so that their order never hangs on an offset, and
/// rise by no more than a day can hold. All values are in half hours.
fn dial(dice: &mut Dice, item: &Item, busy: &Busy, sheet: &mut Sheet) -> Result<(), String> {
    let mut day = later(busy.start, dice.between(0, 60))?;
    let mut value = dice.between(2 * MODULUS - 500, 2 * MODULUS - 100);
    let mut note = "";
    while day < busy.end {
        let void = dice.chance(6);
        let shown = if void { dice.between(0, 2 * MODULUS - 1) } else { value };
        let at = if dice.chance(40) { Cell::day(day) } else { Cell::timed(dice, day, &item.zone)? };
        let reading = format!("{}{}", shown / 2, if shown % 2 == 1 { ".5" } else { "" });
        let key = sheet.next_key('u');
        let (void_cell, written) = if void { ("yes", "") } else { ("", note) };
        sheet.push(&[&key, &item.tag, &at.text, "engine hours", "", &reading, written, void_cell]);
        if !void {
            note = "";
        }
        let days = dice.between(2, 45);
        day = later(day, days)?;
        value = (value + dice.between(0, days * 6)) % (2 * MODULUS);
        if dice.chance(6) {
            note = "meter replaced";
            value = dice.between(0, 40);
        }
    }
    Ok(())
}
