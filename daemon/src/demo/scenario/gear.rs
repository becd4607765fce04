//! Gear as the scenario keeps it before it is written out: items, and where each was fitted from when to when.

use jiff::civil::{Date, time};
use jiff::{Span, Timestamp};

use super::chance::Chance;
use super::coast::{Station, by_code, home_zone, instant};
use jiff::tz::TimeZone;

#[derive(Clone, Debug, Default)]
pub struct Item {
    pub tag: String,
    pub kind: &'static str,
    /// The code of the owning station; none is the central stores.
    pub owner: Option<&'static str>,
    pub set: Option<String>,
    pub made: Option<Date>,
    pub entered: Option<Date>,
    pub serial: Option<String>,
    pub certificate: Option<String>,
    pub part: Option<&'static str>,
    pub cut_from: Option<&'static str>,
    pub quantity: Option<u32>,
    pub opening: Option<(&'static str, u32)>,
    pub attributes: Vec<(&'static str, String)>,
    pub withdrawn: Option<Timestamp>,
}

impl Item {
    pub fn new(tag: impl Into<String>, kind: &'static str, owner: Option<&'static str>) -> Self {
        Self { tag: tag.into(), kind, owner, ..Self::default() }
    }

    pub fn dated(mut self, made: Date, entered: Date) -> Self {
        self.made = Some(made);
        self.entered = Some(entered);
        self
    }

    /// Entered into service on some day between two years' starts, made a few months before.
    pub fn aged(self, from: Date, to: Date) -> Self {
        let mut chance = Chance::of(&self.tag);
        let days = (to - from).get_days();
        let entered = super::coast::days_after(from, chance.between(0, i64::from(days)));
        let made = months_before(entered, chance.between(3, 14));
        self.dated(made, entered)
    }

    pub fn in_set(mut self, set: impl Into<String>) -> Self {
        self.set = Some(set.into());
        self
    }

    pub fn of_part(mut self, part: &'static str) -> Self {
        self.part = Some(part);
        self
    }

    pub fn used_before(mut self, meter: &'static str, count: u32) -> Self {
        self.opening = (count > 0).then_some((meter, count));
        self
    }

    pub fn with(mut self, attributes: &[(&'static str, &str)]) -> Self {
        self.attributes.extend(attributes.iter().map(|(name, value)| (*name, (*value).to_owned())));
        self
    }

    pub fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(own, _)| *own == name).map(|(_, value)| value.as_str())
    }

    pub fn station(&self) -> Option<&'static Station> {
        self.owner.map(by_code)
    }

    pub fn zone(&self) -> TimeZone {
        self.station().map_or_else(home_zone, Station::zone)
    }

    /// The day from which calendars run while no work is on record.
    pub fn first_day(&self) -> Option<Date> {
        self.entered.or(self.made)
    }
}

pub fn months_before(day: Date, months: i64) -> Date {
    day.checked_sub(Span::new().months(months)).unwrap_or(day)
}

#[derive(Clone, Debug)]
pub struct Fitting {
    pub item: String,
    pub host: String,
    pub position: &'static str,
    pub from: Timestamp,
    pub to: Option<Timestamp>,
}

#[derive(Default)]
pub struct Fleet {
    pub items: Vec<Item>,
    pub fittings: Vec<Fitting>,
}

impl Fleet {
    pub fn add(&mut self, item: Item) {
        self.items.push(item);
    }

    /// Adds an item that has sat in its place since it entered service.
    pub fn add_fitted(&mut self, item: Item, host: &str, position: &'static str) {
        let day = item.entered.unwrap_or(super::coast::FIRST_DAY);
        let from = instant(&item.zone(), day.to_datetime(time(9, 0, 0, 0)));
        self.fit(&item.tag, host, position, from, None);
        self.add(item);
    }

    pub fn fit(
        &mut self,
        item: &str,
        host: &str,
        position: &'static str,
        from: Timestamp,
        to: Option<Timestamp>,
    ) {
        let (item, host) = (item.to_owned(), host.to_owned());
        self.fittings.push(Fitting { item, host, position, from, to });
    }

    /// Takes an item off and puts it back where it was: for work at the loft or the test house.
    pub fn refit(&mut self, item: &str, off: Timestamp, on: Timestamp) {
        let Some(fitting) =
            self.fittings.iter_mut().find(|fitting| fitting.item == item && fitting.to.is_none())
        else {
            return;
        };
        fitting.to = Some(off);
        let again = Fitting { from: on, to: None, ..fitting.clone() };
        self.fittings.push(again);
    }

    pub fn item(&self, tag: &str) -> Option<&Item> {
        self.items.iter().find(|item| item.tag == tag)
    }

    pub fn item_mut(&mut self, tag: &str) -> Option<&mut Item> {
        self.items.iter_mut().find(|item| item.tag == tag)
    }
}
