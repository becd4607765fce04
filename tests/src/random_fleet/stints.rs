//! Fittings: where each item was, with moves in mid-day and swaps known only by date.

use super::clock::{self, Cell, later};
use super::dice::Dice;
use super::sheet::Sheet;
use crate::slow_checker::moments::{self, Moment};
use crate::slow_checker::overlaps;
use crate::slow_checker::policy::Policy;
use crate::slow_checker::register::{Fitting, Item};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

const HEADER: [&str; 6] = ["item", "fitted_at", "host", "position", "removed_at", "void"];

pub struct Stints<'a> {
    dice: &'a mut Dice,
    items: &'a [Item],
    policy: &'a Policy,
    start: Date,
    end: Date,
    held: Vec<Fitting>,
    /// Every `fitted_at` used so far, void ones too: it is half of the row's key.
    keys: Vec<(String, Timestamp)>,
    sheet: Sheet,
}

/// A place on a host.
#[derive(Clone)]
struct Place {
    host: String,
    position: String,
}

pub struct Drawn {
    pub fittings: Vec<Fitting>,
    pub csv: String,
}

pub fn draw(
    dice: &mut Dice,
    items: &[Item],
    policy: &Policy,
    (start, end): (Date, Date),
) -> Result<Drawn, String> {
    let sheet = Sheet::new(&HEADER);
    let (held, keys) = (Vec::new(), Vec::new());
    let mut stints = Stints { dice, items, policy, start, end, held, keys, sheet };
    for item in items.iter().filter(|item| item.kind != "carriage") {
        stints.life_of(item)?;
    }
    stints.successors()?;
    let Stints { dice, held, sheet, .. } = stints;
    Ok(Drawn { fittings: held, csv: sheet.write(dice)? })
}

/// Strops come and go often, and lie in store for hours, a night or a month between.
pub fn of_strops(
    dice: &mut Dice,
    items: &[Item],
    policy: &Policy,
    (start, end): (Date, Date),
) -> Result<Drawn, String> {
    let sheet = Sheet::new(&HEADER);
    let (held, keys) = (Vec::new(), Vec::new());
    let mut stints = Stints { dice, items, policy, start, end, held, keys, sheet };
    for item in items.iter().filter(|item| item.kind == "strop") {
        stints.busy_life_of(item)?;
    }
    let Stints { dice, held, sheet, .. } = stints;
    Ok(Drawn { fittings: held, csv: sheet.write(dice)? })
}

impl Stints<'_> {
    fn life_of(&mut self, item: &Item) -> Result<(), String> {
        let days = self.dice.between(-20, 120);
        let day = later(self.start, days)?;
        let mut from = self.cell(day, &item.zone)?;
        for n in 0..self.dice.between(1, 6) {
            let places = self.places(item);
            if places.is_empty() || day_of(&from, &item.zone) > self.end {
                break;
            }
            let place = self.dice.pick(&places).clone();
            let days = self.dice.between(1, 150);
            let out = later(day_of(&from, &item.zone), days)?;
            let to = if self.dice.chance(12 + 6 * n) { None } else { Some(self.cell(out, &item.zone)?) };
            self.propose(item, &from, &place, to.as_ref())?;
            let Some(to) = to else { break };
            from = self.next_from(&to, &item.zone)?;
        }
        Ok(())
    }

    fn busy_life_of(&mut self, item: &Item) -> Result<(), String> {
        let day = later(self.start, self.dice.between(-20, 200))?;
        let mut from = self.cell(day, &item.zone)?;
        let places = self.places(item);
        let beside: Vec<Place> =
            places.iter().filter(|place| place.host == places[0].host).cloned().collect();
        for _ in 0..self.dice.between(3, 9) {
            // Most of them to one carriage, so that they have fellows there.
            let crowd = if self.dice.chance(65) { &beside } else { &places };
            let place = self.dice.pick(crowd).clone();
            let out = later(day_of(&from, &item.zone), self.dice.between(0, 160))?;
            let to = self.cell(out, &item.zone)?;
            let last = self.dice.chance(10) || out > self.end;
            self.propose(item, &from, &place, (!last).then_some(&to))?;
            if last {
                break;
            }
            from = self.out_again(&to, &item.zone)?;
        }
        Ok(())
    }

    /// At the midnight of the removal, on the next day, or as any other item does.
    fn out_again(&mut self, to: &Cell, zone: &TimeZone) -> Result<Cell, String> {
        let next = later(day_of(to, zone), 1)?;
        match self.dice.between(1, 5) {
            1 => Ok(Cell::day(next)),
            2 => Cell::timed(self.dice, next, zone),
            3 => Cell::timed(self.dice, day_of(to, zone), zone),
            _ => self.next_from(to, zone),
        }
    }

    /// Often the same day again: from the same date, at the same instant, or hours later.
    fn next_from(&mut self, to: &Cell, zone: &TimeZone) -> Result<Cell, String> {
        match to.moment {
            _ if self.dice.chance(40) => {
                let day = later(day_of(to, zone), self.dice.between(1, 60))?;
                self.cell(day, zone)
            }
            Moment::Day(day) => Ok(Cell::day(day)),
            Moment::Exact(instant) => {
                let later = if self.dice.chance(30) { 0 } else { self.dice.between(60, 20_000) };
                let second = instant.as_second() + i64::from(later);
                let instant = Timestamp::new(second, 0).map_err(|e| e.to_string())?;
                Ok(Cell::exact(self.dice, instant, zone))
            }
        }
    }

    /// After a removal known by date only, another item of that zone takes the place.
    fn successors(&mut self) -> Result<(), String> {
        let left: Vec<(Place, Date, TimeZone)> = self.held.iter().filter_map(leaves).collect();
        for (place, day, zone) in left {
            let items: Vec<&Item> = self.items.iter().filter(|item| item.zone == zone).collect();
            if items.is_empty() || self.dice.chance(40) {
                continue;
            }
            let item = *self.dice.pick(&items);
            if self.places(item).iter().any(|p| p.host == place.host && p.position == place.position) {
                let out = later(day, self.dice.between(1, 60))?;
                let to = self.cell(out, &zone)?;
                self.propose(item, &Cell::day(day), &place, Some(&to))?;
            }
        }
        Ok(())
    }

    fn places(&self, item: &Item) -> Vec<Place> {
        let mut places = Vec::new();
        for host in self.items {
            let kind = self.policy.kinds.iter().find(|kind| kind.name == host.kind);
            let positions = kind.into_iter().flat_map(|kind| &kind.positions);
            for position in positions.filter(|position| position.takes == item.kind) {
                places.push(Place { host: host.tag.clone(), position: position.name.clone() });
            }
        }
        places
    }

    fn cell(&mut self, day: Date, zone: &TimeZone) -> Result<Cell, String> {
        if self.dice.chance(30)
            && let Some(odd) = clock::odd_hour_near(day, zone)?
        {
            return Ok(odd);
        }
        if self.dice.chance(45) { Ok(Cell::day(day)) } else { Cell::timed(self.dice, day, zone) }
    }

    /// Keeps the fitting where the contract allows it; now and then writes one as void.
    fn propose(&mut self, item: &Item, from: &Cell, place: &Place, to: Option<&Cell>) -> Result<(), String> {
        let fitting = fitting(item, from, place, to)?;
        if fitting.to.is_some_and(|to| to <= fitting.from) {
            return Ok(());
        }
        let key = (fitting.item.clone(), fitting.from);
        if self.keys.contains(&key) {
            return Ok(());
        }
        let void = self.dice.chance(6);
        if !void {
            self.held.push(fitting);
            if overlaps::refuse(&self.held, self.items, self.policy).is_err() {
                self.held.pop();
                return Ok(());
            }
        }
        self.keys.push(key);
        let to = to.map_or("", |to| to.text.as_str());
        let void = if void { "yes" } else { "" };
        self.sheet.push(&[&item.tag, &from.text, &place.host, &place.position, to, void]);
        Ok(())
    }
}

fn leaves(fitting: &Fitting) -> Option<(Place, Date, TimeZone)> {
    let place = Place { host: fitting.host.clone(), position: fitting.position.clone() };
    Some((place, fitting.to_day?, fitting.zone.clone()))
}

fn day_of(cell: &Cell, zone: &TimeZone) -> Date {
    match cell.moment {
        Moment::Day(day) => day,
        Moment::Exact(instant) => moments::date_at(instant, zone),
    }
}

fn fitting(item: &Item, from: &Cell, place: &Place, to: Option<&Cell>) -> Result<Fitting, String> {
    let zone = &item.zone;
    let (from, from_day) = match from.moment {
        Moment::Exact(instant) => (instant, None),
        Moment::Day(day) => (moments::start_of(day, zone)?, Some(day)),
    };
    let (to, to_day) = match to.map(|to| to.moment) {
        None => (None, None),
        Some(Moment::Exact(instant)) => (Some(instant), None),
        Some(Moment::Day(day)) => (Some(moments::end_of(day, zone)?), Some(day)),
    };
    let (host, position) = (place.host.clone(), place.position.clone());
    let (item, zone) = (item.tag.clone(), zone.clone());
    Ok(Fitting { item, host, position, from, to, from_day, to_day, zone })
}
