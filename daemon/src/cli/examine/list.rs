//! Drafts and open defects, as lists.

use std::fmt::{Display, Write};

use clap::Args;
use serde::Serialize;

use super::super::say::say;
use super::super::setting::Replay;
use super::super::{Answer, Format, Settings};
use crate::examine::defects::{self, Line};
use crate::records::{Defect, ExaminationDraft};

#[derive(Debug, Args)]
pub(super) struct Drafts {
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Debug, Args)]
pub(super) struct Defects {
    /// Only gear that this station owns
    #[arg(long)]
    station: Option<String>,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// A draft of the list.
#[derive(Debug, Serialize)]
struct Waiting {
    number: String,
    item: String,
    faults: String,
}

impl Drafts {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let drafts = desk.store.newest::<ExaminationDraft>().await?;
        let waiting =
            drafts.into_values().filter(|draft| !draft.void && !draft.signed).map(|draft| Waiting {
                number: draft.key,
                item: draft.item.unwrap_or_default(),
                faults: draft.faults.unwrap_or_default(),
            });
        let mut waiting: Vec<Waiting> = waiting.collect();
        waiting.sort_by(|a, b| a.number.cmp(&b.number));
        let text = |draft: &Waiting| {
            let faults = listed("  ", draft.faults.lines());
            format!("{} ({})\n{faults}", draft.number, draft.item)
        };
        written(self.format, &waiting, &["number", "item", "faults"], "no draft waits\n", text)
    }
}

const COLUMNS: [&str; 10] = [
    "defect",
    "station",
    "item",
    "report",
    "found_on",
    "what",
    "danger",
    "by_date",
    "stops_launch",
    "remedy",
];

impl Defects {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk_of(&self.replay).await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        let station = self.station.as_deref();
        if let Some(slug) = station.filter(|slug| !fleet.stations.iter().any(|here| *here.slug == **slug)) {
            anyhow::bail!("no station is called \"{slug}\"");
        }
        let rows = desk.store.newest_known::<Defect>(known_before).await?;
        let found = defects::of_fleet(&fleet, rows.values());
        let lines = defects::open(&desk.set, &fleet, as_of, &found, station);
        written(self.format, &lines, &COLUMNS, "no open defect\n", told)
    }
}

fn told(line: &Line) -> String {
    let station = if line.station.is_empty() { "central stores" } else { &line.station };
    let danger = match line.danger {
        "now" => "danger now".to_owned(),
        "by" => format!("danger by {}", line.by_date),
        _ => "no danger".to_owned(),
    };
    let stops = if line.stops_launch { ", stops launch" } else { "" };
    let mut text = format!("{} {} ({station}): {danger}{stops}\n", line.defect, line.item);
    text = text + "  " + &line.gear + ": " + &line.what + "\n";
    text = text + "  found " + &line.found_on + ", report " + &line.report;
    if line.remedy.is_empty() { text + "\n" } else { text + "; remedy: " + &line.remedy + "\n" }
}

/// Each on a line of its own, behind the same words.
pub(super) fn listed(before: &str, lines: impl IntoIterator<Item = impl Display>) -> String {
    lines.into_iter().fold(String::new(), |mut text, line| {
        let _ = writeln!(text, "{before}{line}");
        text
    })
}

fn written<T: Serialize>(
    format: Format,
    rows: &[T],
    columns: &[&str],
    none: &str,
    text: impl Fn(&T) -> String,
) -> anyhow::Result<Answer> {
    match format {
        Format::Table if rows.is_empty() => say(format_args!("{none}"))?,
        Format::Table => rows.iter().try_for_each(|row| say(format_args!("{}", text(row))))?,
        Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(rows)?))?,
        Format::Csv => {
            let mut csv = csv::Writer::from_writer(Vec::new());
            if rows.is_empty() {
                csv.write_record(columns)?;
            }
            rows.iter().try_for_each(|row| csv.serialize(row))?;
            say(format_args!("{}", String::from_utf8(csv.into_inner()?)?))?;
        }
    }
    Ok(Answer::Done)
}
