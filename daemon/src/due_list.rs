//! The due table as the contract gives it out: sorted, as table, CSV or JSON.

use comfy_table::{Table, presets};
use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::{Because, DueRow, Evaluator};
use policies::facts::Fleet;
use policies::load::PolicySet;
use serde::Serialize;

/// Which rows are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Owner.
    pub station: Option<String>,
    /// Tag.
    pub item: Option<String>,
    /// Rule.
    pub rule: Option<String>,
}

/// One row in words. Empty text = does not apply.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// Owner's slug.
    pub station: String,
    /// Tag.
    pub item: String,
    /// Kind.
    pub kind: String,
    /// Rule.
    pub rule: String,
    /// Standing.
    pub standing: &'static str,
    /// Due date.
    pub due_on: String,
    /// Clause that gives it.
    pub because: &'static str,
    /// Calendar date.
    pub calendar_due: String,
    /// Date a limit was reached.
    pub usage_due: String,
    /// 10 % date.
    pub usage_p10: String,
    /// 50 % date.
    pub usage_p50: String,
    /// 90 % date.
    pub usage_p90: String,
    /// Date of an open after clause.
    pub after_due: String,
    /// Meter.
    pub meter: String,
    /// Used.
    pub used: String,
    /// Limit.
    pub limit: String,
    /// What being overdue does.
    pub overdue_effect: &'static str,
}

fn text(date: Option<Date>) -> String {
    date.map(|date| date.to_string()).unwrap_or_default()
}

impl Line {
    /// A row in words.
    pub fn of(set: &PolicySet, fleet: &Fleet, row: &DueRow) -> Line {
        let item = fleet.item(row.item);
        let rule = set.rule(row.rule);
        let usage =
            row.meter.map(|meter| (set.kinds.meter_name(meter), row.used.to_string(), row.limit.to_string()));
        let (meter, used, limit) = usage.unwrap_or(("", String::new(), String::new()));
        let [p10, p50, p90] = row.forecast.map(text);
        Line {
            station: fleet.station_of(item).map(|station| station.slug.to_string()).unwrap_or_default(),
            item: item.tag.to_string(),
            kind: set.kinds.kind(item.kind).name.clone(),
            rule: rule.id.clone(),
            standing: row.standing.word(),
            due_on: text(row.due_on),
            because: row.because.map_or("", Because::word),
            calendar_due: text(row.calendar_due),
            usage_due: text(row.usage_due),
            usage_p10: p10,
            usage_p50: p50,
            usage_p90: p90,
            after_due: text(row.after_due),
            meter: meter.to_owned(),
            used,
            limit,
            overdue_effect: rule.overdue.word(),
        }
    }

    fn cells(&self) -> [&str; 17] {
        [
            &self.station,
            &self.item,
            &self.kind,
            &self.rule,
            self.standing,
            &self.due_on,
            self.because,
            &self.calendar_due,
            &self.usage_due,
            &self.usage_p10,
            &self.usage_p50,
            &self.usage_p90,
            &self.after_due,
            &self.meter,
            &self.used,
            &self.limit,
            self.overdue_effect,
        ]
    }

    /// No base first, then by date with empty last, station, item, rule, bytewise.
    fn order(&self) -> (bool, bool, &str, &str, &str, &str) {
        let based = self.because != Because::NoBase.word();
        (based, self.due_on.is_empty(), &self.due_on, &self.station, &self.item, &self.rule)
    }
}

/// The wanted rows, sorted.
pub fn lines(set: &PolicySet, fleet: &Fleet, as_of: impl Into<AsOf>, wanted: &Wanted) -> Vec<Line> {
    let evaluator = Evaluator::new(set, fleet, as_of);
    let mut rows = Vec::new();
    for id in fleet.ids() {
        let item = fleet.item(id);
        let station = fleet.station_of(item).map(|station| &*station.slug);
        let here = wanted.station.as_deref().is_none_or(|slug| station == Some(slug));
        if here && wanted.item.as_deref().is_none_or(|tag| *item.tag == *tag) {
            evaluator.rows_of(id, &mut rows);
        }
    }
    let rule = wanted.rule.as_deref().map(|id| set.find_rule(id));
    rows.retain(|row| rule.is_none_or(|rule| Some(row.rule) == rule));
    let mut lines: Vec<Line> = rows.iter().map(|row| Line::of(set, fleet, row)).collect();
    lines.sort_by(|a, b| a.order().cmp(&b.order()));
    lines
}

/// The columns, in their order.
pub(crate) const COLUMNS: [&str; 17] = [
    "station",
    "item",
    "kind",
    "rule",
    "standing",
    "due_on",
    "because",
    "calendar_due",
    "usage_due",
    "usage_p10",
    "usage_p50",
    "usage_p90",
    "after_due",
    "meter",
    "used",
    "limit",
    "overdue_effect",
];

/// As CSV.
///
/// # Errors
/// Only if memory cannot be written to.
pub fn csv(lines: &[Line]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(COLUMNS)?;
    for line in lines {
        csv.write_record(line.cells())?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}

/// As JSON.
///
/// # Errors
/// Never for these types; serde's own.
pub fn json(lines: &[Line]) -> anyhow::Result<String> {
    Ok(serde_json::to_string_pretty(lines)? + "\n")
}

/// As a table for people.
pub fn table(lines: &[Line]) -> String {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_header(["due", "standing", "item", "kind", "station", "rule", "because", "used"]);
    for line in lines {
        let due = if line.due_on.is_empty() { line.because } else { &line.due_on };
        let used = if line.meter.is_empty() {
            String::new()
        } else {
            format!("{} of {} {}", line.used, line.limit, line.meter)
        };
        let station = if line.station.is_empty() { "stores" } else { &line.station };
        table.add_row([due, line.standing, &line.item, &line.kind, station, &line.rule, line.because, &used]);
    }
    format!("{}\n", table.trim_fmt())
}
