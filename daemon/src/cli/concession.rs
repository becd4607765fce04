//! `tallow concession`: a rule waived for an item, for a time and under conditions.

use clap::{Args, Subcommand};
use jiff::civil::Date;
use serde::Serialize;

use super::item::{By, write_down};
use super::say::say;
use super::setting::{Replay, date};
use super::{Answer, Format, Settings};
use crate::items::concession::Concede;
use crate::records;
use crate::store::current::Newest;

#[derive(Debug, Args)]
pub(super) struct Concession {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Give one; never for what the law asks, and renewed once at most
    Add(Add),
    /// Concessions that are live or to come
    List(List),
}

#[derive(Debug, Args)]
struct Add {
    /// Tag
    item: String,
    /// Rule that is waived
    rule: String,
    /// First day; today where left out
    #[arg(long, value_name = "DATE", value_parser = date)]
    from: Option<Date>,
    /// Last day
    #[arg(long, value_name = "DATE", value_parser = date)]
    until: Date,
    /// Under what conditions the gear may be used
    #[arg(long, value_name = "TEXT")]
    conditions: String,
    /// Another engineer or the head, for a rule that stops a launch
    #[arg(long, value_name = "EMAIL")]
    second: Option<String>,
    /// Number; the next one where left out
    #[arg(long)]
    number: Option<String>,
    #[command(flatten)]
    by: By,
}

#[derive(Debug, Args)]
struct List {
    /// Only this item's
    #[arg(long)]
    item: Option<String>,
    /// Only those of gear that this station owns
    #[arg(long)]
    station: Option<String>,
    /// Those that have ended too
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// A concession as it is listed.
#[derive(Debug, Serialize)]
struct Line {
    number: String,
    station: String,
    item: String,
    rule: String,
    from: String,
    until: String,
    standing: &'static str,
    conditions: String,
    by: String,
    second: String,
}

const COLUMNS: [&str; 10] =
    ["number", "station", "item", "rule", "from", "until", "standing", "conditions", "by", "second"];

impl Concession {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Add(add) => add.run(settings).await,
            What::List(list) => list.run(settings).await,
        }
    }
}

impl Add {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let asked = Concede {
            tag: self.item,
            rule: self.rule,
            from: self.from.map(|day| day.to_string()),
            until: self.until.to_string(),
            conditions: self.conditions,
            number: self.number,
            by: self.by.by.clone(),
            second: self.second,
        };
        write_down(settings, "concession add", &self.by, |look| asked.rows(look)).await
    }
}

impl List {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk_of(&self.replay).await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let items: Newest<records::Item> = desk.store.newest_known(known_before).await?;
        let rows: Newest<records::Concession> = desk.store.newest_known(known_before).await?;
        let day = as_of.day_in(&desk.set.service.home_zone);
        let lines = self.lines(&items, &rows, &day.to_string());
        match self.format {
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&lines)?))?,
            Format::Csv => say(format_args!("{}", csv(&lines)?))?,
            Format::Table if lines.is_empty() => say(format_args!("no concession\n"))?,
            Format::Table => lines.iter().try_for_each(|line| say(format_args!("{}\n", text(line))))?,
        }
        Ok(Answer::Done)
    }

    fn lines(
        &self,
        items: &Newest<records::Item>,
        rows: &Newest<records::Concession>,
        day: &str,
    ) -> Vec<Line> {
        let station =
            |row: &records::Concession| items.get(&row.item).and_then(|item| item.station.as_deref());
        let wanted = |row: &&records::Concession| {
            !row.void
                && (self.all || row.until_date.as_str() >= day)
                && self.item.as_ref().is_none_or(|tag| *tag == row.item)
                && self.station.as_deref().is_none_or(|slug| station(row) == Some(slug))
        };
        let mut found: Vec<&records::Concession> = rows.values().filter(wanted).collect();
        found.sort_by_key(|row| (&row.until_date, &row.key));
        found.into_iter().map(|row| line(row, station(row).unwrap_or_default(), day)).collect()
    }
}

fn line(row: &records::Concession, station: &str, day: &str) -> Line {
    Line {
        number: row.key.clone(),
        station: station.to_owned(),
        item: row.item.clone(),
        rule: row.rule.clone(),
        from: row.from_date.clone(),
        until: row.until_date.clone(),
        standing: match (row.from_date.as_str() > day, row.until_date.as_str() < day) {
            (true, _) => "to come",
            (_, true) => "ended",
            _ => "live",
        },
        conditions: row.conditions.clone(),
        by: row.by.clone(),
        second: row.second.clone().unwrap_or_default(),
    }
}

fn text(line: &Line) -> String {
    let second = if line.second.is_empty() { String::new() } else { format!(" and {}", line.second) };
    format!(
        "{} ({}): {} {} from {} to {}: {}; by {}{second}",
        line.number, line.standing, line.item, line.rule, line.from, line.until, line.conditions, line.by
    )
}

fn csv(lines: &[Line]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    if lines.is_empty() {
        csv.write_record(COLUMNS)?;
    }
    lines.iter().try_for_each(|line| csv.serialize(line))?;
    Ok(String::from_utf8(csv.into_inner()?)?)
}
