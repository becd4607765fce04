//! What a policy set says of rules.

use super::civil::Length;
use super::decimal::Decimal;
use super::toml_cells as cells;
use jiff::civil::Date;
use toml::{Table, Value};

pub struct Rule {
    pub id: String,
    /// What the item must be: each name with its wanted value or comparison.
    pub applies_to: Vec<(String, String)>,
    pub work: String,
    pub calendars: Vec<Calendar>,
    pub usages: Vec<Usage>,
    pub afters: Vec<After>,
    pub early: Length,
    pub late: Length,
    pub lead: Length,
    pub law: bool,
    pub covers: Vec<String>,
}

pub struct Calendar {
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
}

pub struct After {
    pub event: String,
    pub within: Length,
}

impl Rule {
    pub fn read(table: &Table) -> Result<Rule, String> {
        let window = table.get("window").and_then(Value::as_table);
        let notice = table.get("notice").and_then(Value::as_table);
        Ok(Rule {
            id: cells::need(table, "id")?,
            applies_to: wanted(table),
            work: cells::need(table, "work")?,
            calendars: read_all(table, "calendar", Calendar::read)?,
            usages: read_all(table, "usage", Usage::read)?,
            afters: read_all(table, "after", After::read)?,
            early: cells::length(window, "early")?,
            late: cells::length(window, "late")?,
            lead: cells::length(notice, "lead")?,
            law: cells::is(table, "authority", "law"),
            covers: cells::texts(table, "covers"),
        })
    }

    /// A rule of `before_use` alone has no due row.
    pub fn has_rows(&self) -> bool {
        !(self.calendars.is_empty() && self.usages.is_empty() && self.afters.is_empty())
    }
}

fn wanted(table: &Table) -> Vec<(String, String)> {
    let wanted = table.get("applies_to").and_then(Value::as_table);
    let wanted = wanted.into_iter().flatten();
    wanted.map(|(name, value)| (name.clone(), cells::plain(value))).collect()
}

fn read_all<T>(table: &Table, key: &str, read: fn(&Table) -> Result<T, String>) -> Result<Vec<T>, String> {
    cells::tables(table, key).into_iter().map(read).collect()
}

impl Calendar {
    fn read(table: &Table) -> Result<Calendar, String> {
        let from = match cells::text(table, "from").as_deref() {
            None | Some("last done") => From::LastDone,
            Some("entry into service") => From::Entry,
            Some("manufacture") => From::Manufacture,
            Some(other) => return Err(format!("from = {other:?} is not known")),
        };
        let pauses = cells::is(table, "store", "pauses");
        Ok(Calendar {
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
        })
    }
}

impl After {
    fn read(table: &Table) -> Result<After, String> {
        let within = cells::length(Some(table), "within")?;
        Ok(After { event: cells::need(table, "event")?, within })
    }
}
