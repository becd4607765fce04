//! What a policy set says of rules.

use super::civil::Length;
use super::decimal::Decimal;
use super::toml_cells as cells;
use super::when::When;
use jiff::civil::Date;
use toml::{Table, Value};

pub struct Rule {
    pub id: String,
    /// What the item must be: each name with its wanted value or comparison.
    pub applies_to: Vec<(String, String)>,
    /// Where the item must be: fitted to nothing or not, laid up or not.
    pub in_store: Option<bool>,
    pub laid_up: Option<bool>,
    pub work: String,
    pub calendars: Vec<Calendar>,
    pub usages: Vec<Usage>,
    pub afters: Vec<After>,
    pub alikes: Vec<Alike>,
    pub early: Length,
    pub late: Length,
    pub lead: Length,
    pub law: bool,
    /// Work counts once its certificate is in.
    pub certificate: bool,
    pub covers: Vec<String>,
    /// Names of the measurements that its work may carry.
    pub records: Vec<String>,
}

pub struct Calendar {
    pub turn: Turn,
    pub when: Option<When>,
}

pub enum Turn {
    Every(Interval),
    /// A latest day of every year.
    By {
        month: i8,
        day: i8,
    },
    Once(Date),
}

pub struct Interval {
    pub every: Length,
    pub from: From,
    pub fixed: bool,
    pub anchor: Option<Date>,
    pub pauses: bool,
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum From {
    LastDone,
    Entry,
    Manufacture,
}

pub struct Usage {
    pub meter: String,
    pub every: Decimal,
    pub early: Decimal,
    pub late: Decimal,
    pub when: Option<When>,
}

pub struct After {
    pub event: String,
    pub within: Length,
    pub when: Option<When>,
    pub unless_done_within: Option<Length>,
    pub once_used: Option<OnceUsed>,
}

/// So much use since the event opens the work, and not the event itself.
pub struct OnceUsed {
    pub meter: String,
    pub count: Decimal,
}

pub struct Alike {
    pub attribute: String,
    pub within: Decimal,
}

impl Rule {
    pub fn read(table: &Table) -> Result<Rule, String> {
        let window = table.get("window").and_then(Value::as_table);
        let notice = table.get("notice").and_then(Value::as_table);
        Ok(Rule {
            id: cells::need(table, "id")?,
            applies_to: wanted(table),
            in_store: whether(table, "in_store"),
            laid_up: whether(table, "laid_up"),
            work: cells::need(table, "work")?,
            calendars: read_all(table, "calendar", Calendar::read)?,
            usages: read_all(table, "usage", Usage::read)?,
            afters: read_all(table, "after", After::read)?,
            alikes: read_all(table, "alike", Alike::read)?,
            early: cells::length(window, "early")?,
            late: cells::length(window, "late")?,
            lead: cells::length(notice, "lead")?,
            law: cells::is(table, "authority", "law"),
            certificate: table.get("certificate").and_then(Value::as_bool).unwrap_or(false),
            covers: cells::texts(table, "covers"),
            records: read_all(table, "records", |reading| cells::need(reading, "name"))?,
        })
    }

    pub fn kind(&self) -> Option<&str> {
        let mut wanted = self.applies_to.iter();
        wanted.find(|(name, _)| name == "kind").map(|(_, kind)| kind.as_str())
    }

    pub fn conditions(&self) -> impl Iterator<Item = &When> {
        let calendars = self.calendars.iter().map(|clause| &clause.when);
        let usages = self.usages.iter().map(|clause| &clause.when);
        let afters = self.afters.iter().map(|clause| &clause.when);
        calendars.chain(usages).chain(afters).flatten()
    }

    /// A rule of `before_use` alone has no due row.
    pub fn has_rows(&self) -> bool {
        let dated = self.calendars.is_empty() && self.usages.is_empty();
        !(dated && self.afters.is_empty() && self.alikes.is_empty())
    }
}

fn wanted(table: &Table) -> Vec<(String, String)> {
    let wanted = table.get("applies_to").and_then(Value::as_table);
    let wanted = wanted.into_iter().flatten().filter(|(_, value)| value.as_bool().is_none());
    wanted.map(|(name, value)| (name.clone(), cells::plain(value))).collect()
}

fn whether(table: &Table, name: &str) -> Option<bool> {
    table.get("applies_to").and_then(Value::as_table)?.get(name)?.as_bool()
}

fn read_all<T>(table: &Table, key: &str, read: fn(&Table) -> Result<T, String>) -> Result<Vec<T>, String> {
    cells::tables(table, key).into_iter().map(read).collect()
}

impl Calendar {
    fn read(table: &Table) -> Result<Calendar, String> {
        Ok(Calendar { turn: Turn::read(table)?, when: When::read(table)? })
    }
}

impl Turn {
    fn read(table: &Table) -> Result<Turn, String> {
        let alone = table.keys().filter(|key| *key != "when").count() == 1;
        match (cells::text(table, "by"), cells::date(table, "on")?) {
            (None, None) => Interval::read(table).map(Turn::Every),
            (Some(day), None) if alone => Turn::yearly(&day),
            (None, Some(day)) if alone => Ok(Turn::Once(day)),
            _ => Err(format!("by and on stand alone: {table}")),
        }
    }

    /// A day that every year has: one of the year 2023, which is no leap year.
    fn yearly(day: &str) -> Result<Turn, String> {
        let day: Date =
            format!("2023-{day}").parse().map_err(|_| format!("{day:?} is no day of every year"))?;
        Ok(Turn::By { month: day.month(), day: day.day() })
    }
}

impl Interval {
    fn read(table: &Table) -> Result<Interval, String> {
        let from = match cells::text(table, "from").as_deref() {
            None | Some("last done") => From::LastDone,
            Some("entry into service") => From::Entry,
            Some("manufacture") => From::Manufacture,
            Some(other) => return Err(format!("from = {other:?} is not known")),
        };
        let pauses = cells::is(table, "store", "pauses");
        Ok(Interval {
            every: Length::parse(&cells::need(table, "every")?)?,
            from,
            fixed: cells::is(table, "grid", "fixed"),
            anchor: cells::date(table, "anchor")?,
            pauses,
        })
    }
}

impl Usage {
    fn read(table: &Table) -> Result<Usage, String> {
        Ok(Usage {
            meter: cells::need(table, "meter")?,
            every: cells::decimal(table, "every")?.ok_or("usage without every")?,
            early: cells::decimal(table, "early")?.unwrap_or_default(),
            late: cells::decimal(table, "late")?.unwrap_or_default(),
            when: When::read(table)?,
        })
    }
}

impl After {
    fn read(table: &Table) -> Result<After, String> {
        let unless = "unless_done_within";
        let lately = table.contains_key(unless).then(|| cells::length(Some(table), unless));
        Ok(After {
            event: cells::need(table, "event")?,
            within: cells::length(Some(table), "within")?,
            when: When::read(table)?,
            unless_done_within: lately.transpose()?,
            once_used: OnceUsed::read(table)?,
        })
    }
}

impl OnceUsed {
    fn read(table: &Table) -> Result<Option<OnceUsed>, String> {
        let Some(table) = table.get("once_used").and_then(Value::as_table) else {
            return Ok(None);
        };
        let count = cells::decimal(table, "count")?.ok_or("once_used without count")?;
        if count <= Decimal::ZERO {
            return Err(format!("nothing is used by {count}"));
        }
        Ok(Some(OnceUsed { meter: cells::need(table, "meter")?, count }))
    }
}

impl Alike {
    fn read(table: &Table) -> Result<Alike, String> {
        let within = cells::decimal(table, "within")?.unwrap_or_default();
        Ok(Alike { attribute: cells::need(table, "attribute")?, within })
    }
}
