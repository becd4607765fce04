//! Reading values out of policy files.

use super::civil::Length;
use super::decimal::Decimal;
use super::moments;
use jiff::civil::Date;
use toml::{Table, Value};

pub fn text(table: &Table, key: &str) -> Option<String> {
    table.get(key).and_then(Value::as_str).map(str::to_owned)
}

pub fn need(table: &Table, key: &str) -> Result<String, String> {
    text(table, key).ok_or_else(|| format!("{key} is missing in {table}"))
}

pub fn is(table: &Table, key: &str, value: &str) -> bool {
    table.get(key).and_then(Value::as_str) == Some(value)
}

/// Left out, a span is no days.
pub fn length(table: Option<&Table>, key: &str) -> Result<Length, String> {
    match table.and_then(|table| table.get(key)) {
        None => Ok(Length::NONE),
        Some(value) => Length::parse(value.as_str().unwrap_or_default()),
    }
}

pub fn decimal(table: &Table, key: &str) -> Result<Option<Decimal>, String> {
    table.get(key).map(|value| Decimal::parse(&plain(value))).transpose()
}

pub fn date(table: &Table, key: &str) -> Result<Option<Date>, String> {
    table.get(key).map(|value| moments::date(&plain(value))).transpose()
}

/// A number, date or word as it would stand in a cell.
pub fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// One table, or a list of such.
pub fn tables<'a>(table: &'a Table, key: &str) -> Vec<&'a Table> {
    match table.get(key) {
        Some(Value::Table(one)) => vec![one],
        Some(Value::Array(list)) => list.iter().filter_map(Value::as_table).collect(),
        _ => Vec::new(),
    }
}

pub fn texts(table: &Table, key: &str) -> Vec<String> {
    let list = table.get(key).and_then(Value::as_array);
    list.into_iter().flatten().filter_map(Value::as_str).map(str::to_owned).collect()
}
