//! Stations and items of a random fleet.

use super::clock::later;
use super::dice::Dice;
use super::sheet::Sheet;
use jiff::civil::Date;

const ZONES: [(&str, &str); 5] = [
    ("north-ness", "Europe/London"),
    ("far-cay", "America/St_Johns"),
    ("dawn-bay", "Pacific/Auckland"),
    ("low-strand", "<-03>3"),
    ("sand-gap", "TVT0TVST,M3.5.0/1,M10.5.0/2"),
];

/// Some of the zones, each with a station.
pub fn stations(dice: &mut Dice) -> Vec<(&'static str, &'static str)> {
    let mut all = ZONES.to_vec();
    dice.shuffle(&mut all);
    let count = usize::try_from(dice.between(2, 4)).unwrap_or(2);
    all.truncate(count);
    all
}

pub fn stations_csv(dice: &mut Dice, stations: &[(&str, &str)]) -> Result<String, String> {
    let mut sheet = Sheet::new(&["station", "name", "time_zone", "flanks"]);
    for (slug, zone) in stations {
        sheet.push(&[slug, &slug.replace('-', " "), zone, ""]);
    }
    sheet.write(dice)
}

pub fn home_zone(dice: &mut Dice) -> Option<&'static str> {
    dice.chance(70).then(|| dice.pick(&ZONES).1)
}

pub struct Gear<'a> {
    dice: &'a mut Dice,
    start: Date,
    slugs: &'a [&'a str],
    sheet: Sheet,
}

const HEADER: [&str; 12] = [
    "item",
    "kind",
    "station",
    "set",
    "manufactured_on",
    "entered_service_on",
    "cut_from",
    "quantity",
    "opening_use",
    "grade",
    "taken_from",
    "taken_at",
];

/// 2 to 4 carriages and 6 to 15 pieces of gear for them.
pub fn items_csv(dice: &mut Dice, start: Date, slugs: &[&str]) -> Result<String, String> {
    let mut gear = Gear { dice, start, slugs, sheet: Sheet::new(&HEADER) };
    let plan = [
        ("CA", "carriage", 2, 4),
        ("LF", "launching fall", 2, 5),
        ("SC", "stopper chain", 2, 5),
        ("SH", "shackle", 2, 5),
    ];
    for (letters, kind, low, high) in plan {
        for n in 0..gear.dice.between(low, high) {
            gear.item(letters, kind, n)?;
        }
    }
    let Gear { dice, sheet, .. } = gear;
    sheet.write(dice)
}

impl Gear<'_> {
    fn item(&mut self, letters: &str, kind: &str, n: i32) -> Result<(), String> {
        let tag = format!("{letters}-{n}");
        let parent = if kind == "launching fall" && n > 0 && self.dice.chance(35) {
            format!("{letters}-{}", self.dice.between(0, n - 1))
        } else {
            String::new()
        };
        let stores = kind != "carriage" && self.dice.chance(12);
        let station = if stores { "" } else { *self.dice.pick(self.slugs) };
        let set = self.set(kind);
        let (made, entered) = self.dates(kind, (!parent.is_empty()).then_some(n))?;
        let opening = self.opening(kind);
        let grade = if self.dice.chance(85) { self.dice.between(1, 12).to_string() } else { String::new() };
        let (batch, left) = self.origin(letters, kind, n)?;
        let cells = [&tag, kind, station, set, &made, &entered, &parent, "", &opening, &grade, &batch, &left];
        self.sheet.push(&cells);
        Ok(())
    }

    /// A shackle may have been taken out of an earlier one, on a day or at a moment of it.
    fn origin(&self, letters: &str, kind: &str, n: i32) -> Result<(String, String), String> {
        let mut dice = self.dice.aside();
        if kind != "shackle" || n == 0 || !dice.chance(40) {
            return Ok((String::new(), String::new()));
        }
        let batch = format!("{letters}-{}", dice.between(0, n - 1));
        let day = later(self.start, dice.between(10, 300))?;
        let left = match dice.between(1, 2) {
            1 => day.to_string(),
            _ => format!("{day}T{:02}:{:02}", dice.between(0, 23), dice.between(0, 59)),
        };
        Ok((batch, left))
    }

    fn set(&mut self, kind: &str) -> &'static str {
        match kind {
            "stopper chain" if self.dice.chance(80) => "set-1",
            "launching fall" if self.dice.chance(60) => "pair-1",
            _ => "",
        }
    }

    /// A cut piece enters service inside the records, before every as-of date and after
    /// any piece that it may itself be cut from; only shackles may have no date at all.
    fn dates(&mut self, kind: &str, cut: Option<i32>) -> Result<(String, String), String> {
        let made = self.base(-420, -20)?.to_string();
        let entered = match cut {
            Some(n) => later(self.start, 20 + 35 * n + self.dice.between(0, 30))?,
            None => self.base(-400, 250)?,
        };
        let entered = entered.to_string();
        Ok(match self.dice.between(1, 10) {
            1 if cut.is_none() => (made, String::new()),
            2 => (String::new(), entered),
            3 if kind == "shackle" => (String::new(), String::new()),
            _ => (made, entered),
        })
    }

    /// Month ends and leap days as often as any other day.
    fn base(&mut self, low: i32, high: i32) -> Result<Date, String> {
        let day = later(self.start, self.dice.between(low, high))?;
        let leap = Date::new(self.start.year() + 1, 2, 29).ok();
        Ok(match (self.dice.between(1, 4), leap) {
            (1, _) => day.last_of_month(),
            (2, Some(leap)) => leap,
            _ => day,
        })
    }

    fn opening(&mut self, kind: &str) -> String {
        if !self.dice.chance(25) {
            return String::new();
        }
        let launches = format!("launches={}", self.dice.between(1, 40));
        let second = if kind == "carriage" { "engine hours" } else { "recoveries" };
        let part = *self.dice.pick(&["", ".5", ".125"]);
        match self.dice.between(1, 2) {
            1 => launches,
            _ => format!("{launches};{second}={}{part}", self.dice.between(1, 30)),
        }
    }
}
