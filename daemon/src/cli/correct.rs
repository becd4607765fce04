//! `tallow correct`: records put right, and the later dates that wait for an engineer.

use clap::{Args, Subcommand};

use super::register::tell_import;
use super::say::say;
use super::setting::Replay;
use super::waits::Waits;
use super::{Answer, Format, Settings};
use crate::desk::Correction;
use crate::kept_dates::{self, Acknowledgement, Waiting};

#[derive(Debug, Args)]
pub(super) struct Correct {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Put a record right: the old version stays on record
    Record {
        /// usage, work, states, items, fittings …
        file: String,
        /// Its key; an item's tag; a fitting's item and moment as "TAG 2026-10-01T12:00:00+01:00"
        key: String,
        /// New values, as column=value
        #[arg(value_name = "COLUMN=VALUE")]
        values: Vec<String>,
        /// It never happened
        #[arg(long)]
        void: bool,
        /// Who corrects it, by address
        #[arg(long)]
        by: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Dates that a correction would make later, and that wait for an engineer
    Waiting {
        #[command(flatten)]
        replay: Replay,
        /// How to write it
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
    /// Let a later date stand
    Acknowledge {
        /// Tag
        item: String,
        /// Rule
        rule: String,
        /// Address of the engineer or the head
        #[arg(long)]
        by: String,
        /// Why the later date is right
        #[arg(long)]
        reason: String,
    },
}

impl Correct {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Record { file, key, values, void, by, reason } => {
                record(settings, (&file, &key), &values, void, (&by, &reason)).await
            }
            What::Waiting { replay, format } => waiting(settings, replay, format).await,
            What::Acknowledge { item, rule, by, reason } => {
                let word = Acknowledgement { item, rule, by, reason };
                settings.desk().await?.acknowledge(&word).await?;
                say(format_args!("acknowledged: {} {}; the later date stands\n", word.item, word.rule))?;
                Ok(Answer::Done)
            }
        }
    }
}

async fn record(
    settings: &Settings,
    (file, key): (&str, &str),
    values: &[String],
    void: bool,
    (by, reason): (&str, &str),
) -> anyhow::Result<Answer> {
    let mut cells: Vec<(&str, &str)> = Vec::new();
    for value in values {
        let Some(pair) = value.split_once('=') else {
            anyhow::bail!("\"{value}\" is no new value; write column=value");
        };
        cells.push(pair);
    }
    cells.extend(void.then_some(("void", "yes")));
    if cells.is_empty() {
        anyhow::bail!("nothing to correct; give column=value, or --void");
    }
    let asked = Correction { file, key, cells: &cells, by, reason };
    let desk = settings.desk().await?;
    let waits = Waits::before(&desk).await?;
    tell_import(desk.correct(&asked).await, "took")?;
    waits.tell(&desk).await
}

async fn waiting(settings: &Settings, replay: Replay, format: Format) -> anyhow::Result<Answer> {
    let desk = settings.desk().await?;
    let (as_of, known_before) = replay.of(&desk);
    let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
    let rows = kept_dates::waiting(&desk.store, &desk.set, &fleet, as_of).await?;
    match format {
        Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&rows)?))?,
        Format::Csv => {
            let mut csv = csv::Writer::from_writer(Vec::new());
            if rows.is_empty() {
                csv.write_record(["station", "item", "rule", "corrected", "stands", "cause"])?;
            }
            rows.iter().try_for_each(|row| csv.serialize(row))?;
            say(format_args!("{}", String::from_utf8(csv.into_inner()?)?))?;
        }
        Format::Table if rows.is_empty() => {
            say(format_args!("{}", replay.nothing("no date waits for an engineer")))?;
        }
        Format::Table => table(&rows)?,
    }
    Ok(Answer::Done)
}

fn table(rows: &[Waiting]) -> anyhow::Result<()> {
    for row in rows {
        say(format_args!("{} {} ({})\n", row.item, row.rule, row.station))?;
        say(format_args!("  stands:    {}\n", row.stands))?;
        say(format_args!("  corrected: {}, by {}\n", row.corrected, row.cause))?;
    }
    Ok(())
}
