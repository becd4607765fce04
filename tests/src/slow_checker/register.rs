//! The register: items, fittings, use, work and states, as their rows stand.

use super::decimal::Decimal;
use super::dials;
use super::moments::{self, Moment};
use super::policy::Policy;
use super::sheets::{self, Line};
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;

pub type Files = BTreeMap<String, String>;

pub struct Item {
    pub tag: String,
    pub kind: String,
    pub station: Option<String>,
    pub set: Option<String>,
    pub made: Option<Date>,
    pub entered: Option<Date>,
    pub cut_from: Option<String>,
    /// Batch or wire it was taken out of, and when.
    pub taken_from: Option<(String, Moment)>,
    pub opening: Vec<(String, Decimal)>,
    pub attributes: BTreeMap<String, String>,
    pub zone: TimeZone,
}

pub struct Fitting {
    pub item: String,
    pub host: String,
    pub position: String,
    pub from: Timestamp,
    pub to: Option<Timestamp>,
    /// The written dates, where no time of day is known.
    pub from_day: Option<Date>,
    pub to_day: Option<Date>,
    pub zone: TimeZone,
}

pub struct Use {
    pub host: String,
    pub meter: String,
    pub amount: Decimal,
    pub at: Timestamp,
    /// The host's local day from 00:00 to 24:00, where no time of day is known.
    pub whole_day: Option<(Timestamp, Timestamp)>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    PassedOrDone,
    Failed,
}

pub struct Work {
    pub item: String,
    pub rule: String,
    pub at: Timestamp,
    pub outcome: Outcome,
    /// Whether a certificate is named with it.
    pub certified: bool,
    pub readings: Vec<(String, Decimal)>,
}

pub struct State {
    pub item: String,
    pub at: Timestamp,
    pub word: String,
}

pub struct Register {
    pub items: Vec<Item>,
    pub fittings: Vec<Fitting>,
    pub uses: Vec<Use>,
    pub work: Vec<Work>,
    pub states: Vec<State>,
}

impl Register {
    pub fn read(files: &Files, policy: &Policy) -> Result<Register, String> {
        let items = items(files, policy)?;
        Ok(Register {
            fittings: fittings(files, &items)?,
            uses: dials::uses(files, &items, policy)?,
            work: work(files, &items)?,
            states: states(files, &items)?,
            items,
        })
    }

    pub fn item(&self, tag: &str) -> Result<&Item, String> {
        find(&self.items, tag)
    }
}

pub fn find<'a>(items: &'a [Item], tag: &str) -> Result<&'a Item, String> {
    let found = items.iter().find(|item| item.tag == tag);
    found.ok_or_else(|| format!("item {tag:?} is not in the register"))
}

fn zones(files: &Files) -> Result<BTreeMap<String, TimeZone>, String> {
    let mut zones = BTreeMap::new();
    for line in sheets::lines(files, "stations.csv")? {
        let zone = moments::zone(line.need("time_zone")?).map_err(|e| line.wrong("time_zone", e))?;
        if zones.insert(line.need("station")?.to_owned(), zone).is_some() {
            return Err(line.wrong("station", "stands twice"));
        }
    }
    Ok(zones)
}

fn items(files: &Files, policy: &Policy) -> Result<Vec<Item>, String> {
    let zones = zones(files)?;
    let lines = sheets::lines(files, "items.csv")?;
    sheets::no_key_twice(&lines, "item")?;
    let mut items = Vec::new();
    for line in &lines {
        let zone = match line.get("station") {
            None => policy.home.clone(),
            Some(slug) => zones.get(slug).ok_or_else(|| line.wrong("station", slug))?.clone(),
        };
        policy.kind(line.need("kind")?)?;
        items.push(item(line, zone)?);
    }
    Ok(items)
}

fn item(line: &Line, zone: TimeZone) -> Result<Item, String> {
    let taken = line.get("taken_at").map(|cell| moments::read(cell, &zone)).transpose()?;
    Ok(Item {
        tag: line.need("item")?.to_owned(),
        kind: line.need("kind")?.to_owned(),
        station: line.text("station"),
        set: line.text("set"),
        made: line.get("manufactured_on").map(moments::date).transpose()?,
        entered: line.get("entered_service_on").map(moments::date).transpose()?,
        cut_from: line.text("cut_from"),
        taken_from: line.text("taken_from").zip(taken),
        opening: opening(line)?,
        attributes: attributes(line),
        zone,
    })
}

fn attributes(line: &Line) -> BTreeMap<String, String> {
    let filled = line.cells().filter(|(_, cell)| !cell.is_empty());
    filled.map(|(column, cell)| (column.to_owned(), cell.to_owned())).collect()
}

fn opening(line: &Line) -> Result<Vec<(String, Decimal)>, String> {
    let cell = line.get("opening_use").unwrap_or_default();
    let pairs = cell.split(';').filter(|pair| !pair.trim().is_empty());
    let pair = |pair: &str| {
        let wrong = || line.wrong("opening_use", "write meter=value");
        let (meter, value) = pair.split_once('=').ok_or_else(wrong)?;
        Ok((meter.trim().to_owned(), Decimal::parse(value.trim())?))
    };
    pairs.map(pair).collect()
}

fn fittings(files: &Files, items: &[Item]) -> Result<Vec<Fitting>, String> {
    let mut fittings: Vec<Fitting> = Vec::new();
    for line in sheets::live(files, "fittings.csv")? {
        let fitting = fitting(&line, items).map_err(|e| line.wrong("fitted_at", e))?;
        let twin = |f: &Fitting| f.item == fitting.item && f.from == fitting.from;
        if fittings.iter().any(twin) {
            return Err(line.wrong("fitted_at", "stands twice for this item"));
        }
        fittings.push(fitting);
    }
    Ok(fittings)
}

fn fitting(line: &Line, items: &[Item]) -> Result<Fitting, String> {
    let zone = &find(items, line.need("item")?)?.zone;
    let (from, from_day) = match moments::read(line.need("fitted_at")?, zone)? {
        Moment::Exact(instant) => (instant, None),
        Moment::Day(day) => (moments::start_of(day, zone)?, Some(day)),
    };
    let (to, to_day) = match line.get("removed_at") {
        None => (None, None),
        Some(cell) => match moments::read(cell, zone)? {
            Moment::Exact(instant) => (Some(instant), None),
            Moment::Day(day) => (Some(moments::end_of(day, zone)?), Some(day)),
        },
    };
    if to.is_some_and(|to| to <= from) {
        return Err("removed before it was fitted".to_owned());
    }
    Ok(Fitting {
        item: line.need("item")?.to_owned(),
        host: find(items, line.need("host")?)?.tag.clone(),
        position: line.need("position")?.to_owned(),
        from,
        to,
        from_day,
        to_day,
        zone: zone.clone(),
    })
}

/// Work and states of which only the date is known stand at 00:00.
fn from_midnight(line: &Line, column: &str, items: &[Item]) -> Result<Timestamp, String> {
    let zone = &find(items, line.need("item")?)?.zone;
    match moments::read(line.need(column)?, zone).map_err(|e| line.wrong(column, e))? {
        Moment::Exact(instant) => Ok(instant),
        Moment::Day(day) => moments::start_of(day, zone),
    }
}

fn work(files: &Files, items: &[Item]) -> Result<Vec<Work>, String> {
    sheets::no_key_twice(&sheets::lines(files, "work.csv")?, "key")?;
    let mut work = Vec::new();
    for line in sheets::live(files, "work.csv")? {
        let outcome = match line.need("outcome")? {
            "passed" | "done" => Outcome::PassedOrDone,
            "failed" => Outcome::Failed,
            other => return Err(line.wrong("outcome", other)),
        };
        work.push(Work {
            item: line.need("item")?.to_owned(),
            rule: line.need("rule")?.to_owned(),
            at: from_midnight(&line, "done_at", items)?,
            outcome,
            certified: line.get("certificate").is_some_and(|cell| !cell.is_empty()),
            readings: readings(&line)?,
        });
    }
    Ok(work)
}

/// A measurement in words is no reading: no bound could be held against it.
fn readings(line: &Line) -> Result<Vec<(String, Decimal)>, String> {
    let mut readings = Vec::new();
    for pair in line.get("measurements").into_iter().flat_map(|cell| cell.split(';')) {
        let pair = pair.split_once('=').ok_or_else(|| line.wrong("measurements", "write name=value"))?;
        if let Ok(value) = Decimal::parse(pair.1.trim()) {
            readings.push((pair.0.trim().to_owned(), value));
        }
    }
    Ok(readings)
}

fn states(files: &Files, items: &[Item]) -> Result<Vec<State>, String> {
    const WORDS: [&str; 5] = ["quarantined", "released", "withdrawn", "laid up", "returned"];
    sheets::no_key_twice(&sheets::lines(files, "states.csv")?, "key")?;
    let mut states = Vec::new();
    for line in sheets::live(files, "states.csv")? {
        let at = from_midnight(&line, "at", items)?;
        let word = line.need("state")?.to_owned();
        if !WORDS.contains(&word.as_str()) {
            return Err(line.wrong("state", word));
        }
        states.push(State { item: line.need("item")?.to_owned(), at, word });
    }
    Ok(states)
}
