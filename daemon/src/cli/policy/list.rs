//! `tallow policy list`.

use clap::Args;
use comfy_table::{Table, presets};
use policies::zone::{Instant, Zone};
use serde::Serialize;

use super::super::say::say;
use super::super::{Answer, Format, Settings};
use crate::clock::{Clock, SystemClock};
use crate::in_force::{self, When};
use crate::store::policy_sets::Approval;

#[derive(Debug, Args)]
pub(in crate::cli) struct List {
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// A kept set in words. Empty text = does not apply.
#[derive(Debug, Default, Serialize)]
struct Line {
    hash: String,
    effective_from: String,
    in_force: bool,
    by: String,
    second: String,
    reason: String,
    safety: bool,
    known_since: String,
}

const COLUMNS: [&str; 8] =
    ["hash", "effective_from", "in_force", "by", "second", "reason", "safety", "known_since"];

impl List {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let store = settings.store().await?;
        let present = in_force::chosen(&store, None, When::At(SystemClock.now())).await?;
        let (home, approvals) = (&present.service.home_zone, store.approvals(None).await?);
        let first = in_force::first(&store).await?.map(|set| Line { hash: set.hash, ..Line::default() });
        let mut lines: Vec<Line> =
            first.into_iter().chain(approvals.into_iter().map(|row| line(row, home))).collect();
        // Of the same set taken up twice, the later approval holds.
        let today = home.date_of(SystemClock.now()).to_string();
        let holds = |line: &&mut Line| line.hash == present.hash && line.effective_from <= today;
        if let Some(line) = lines.iter_mut().rev().find(holds) {
            line.in_force = true;
        }
        match self.format {
            Format::Csv => say(format_args!("{}", csv(&lines)?))?,
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&lines)?))?,
            Format::Table => say(format_args!("{}", table(&lines)))?,
        }
        Ok(Answer::Done)
    }
}

fn line(row: Approval, home: &Zone) -> Line {
    let known = Instant(row.known_at).timestamp().to_zoned_datetime(home.time_zone().clone());
    Line {
        hash: row.hash,
        effective_from: row.effective_from,
        in_force: false,
        by: row.by,
        second: row.second.unwrap_or_default(),
        reason: row.reason.unwrap_or_default(),
        safety: row.safety,
        known_since: known.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string(),
    }
}

impl Line {
    fn cells(&self) -> [&str; 8] {
        let yes = |flag: bool| if flag { "yes" } else { "" };
        [
            &self.hash,
            &self.effective_from,
            yes(self.in_force),
            &self.by,
            &self.second,
            &self.reason,
            yes(self.safety),
            &self.known_since,
        ]
    }
}

fn csv(lines: &[Line]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(COLUMNS)?;
    for line in lines {
        csv.write_record(line.cells())?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}

fn table(lines: &[Line]) -> String {
    if lines.is_empty() {
        return "no set is kept: the shipped one is in force\n".to_owned();
    }
    let mut table = Table::new();
    table.load_style(presets::NOTHING).set_header([
        "in force from",
        "set",
        "",
        "by",
        "second",
        "safety",
        "known since",
        "reason",
    ]);
    for line in lines {
        let [hash, from, in_force, by, second, reason, safety, known] = line.cells();
        let from = if from.is_empty() { "the first" } else { from };
        let in_force = if in_force.is_empty() { "" } else { "in force" };
        table.add_row([from, &hash[..12], in_force, by, second, safety, known, reason]);
    }
    format!("{}\n", table.trim_fmt())
}
