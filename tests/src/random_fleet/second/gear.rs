//! Strops, and on every item what fellows may have to agree in.

use super::super::RandomFleet;
use super::super::clock::later;
use super::super::dice::Dice;
use super::super::sheet::Sheet;
use super::reopened::Reopened;
use jiff::civil::Date;

const HEADER: [&str; 7] =
    ["item", "kind", "station", "manufactured_on", "entered_service_on", "opening_use", "grade"];

pub fn draw(dice: &mut Dice, fleet: &mut RandomFleet, start: Date, slugs: &[&str]) -> Result<(), String> {
    let mut items = Reopened::of(&fleet.files["items.csv"])?;
    items.join(&Reopened::of(&strops(dice, start, slugs)?)?);
    items.fill("mark", || mark(dice).to_owned());
    items.fill("length_m", || length(dice).to_owned());
    fleet.files.insert("items.csv".to_owned(), items.write(dice)?);
    Ok(())
}

fn strops(dice: &mut Dice, start: Date, slugs: &[&str]) -> Result<String, String> {
    let mut sheet = Sheet::new(&HEADER);
    for n in 0..dice.between(4, 7) {
        let station = if dice.chance(10) { "" } else { *dice.pick(slugs) };
        let made = later(start, dice.between(-420, 60))?;
        let entered = later(start, dice.between(-400, 250))?;
        let made = if dice.chance(70) { made.to_string() } else { String::new() };
        let entered = if dice.chance(70) { entered.to_string() } else { String::new() };
        let opening = if dice.chance(20) { "launches=7.5" } else { "" };
        let grade = dice.between(1, 12).to_string();
        sheet.push(&[&format!("ST-{n}"), "strop", station, &made, &entered, opening, &grade]);
    }
    sheet.write(dice)
}

/// A text that looks like a number is still a text.
fn mark(dice: &mut Dice) -> &'static str {
    dice.pick::<&str>(&["7", "7", "7", "7", "7", "7", "7.0", "B", "", ""])
}

/// Most lie within five hundredths of each other, some just beyond.
fn length(dice: &mut Dice) -> &'static str {
    dice.pick::<&str>(&["20", "20.00", "20.0", "20.02", "20.05", "20.05", "20.051", "20.1", "19.9", "", ""])
}
