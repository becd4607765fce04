//! `tallow import` and `tallow export`.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::say::say;
use super::{Answer, Settings};
use crate::desk::{DeskError, Imported};
use crate::in_force;
use crate::register::{self, Faults, RowFault, read_folder};

/// Notes beyond this many are counted, not told.
const MOST_NOTES: usize = 20;

#[derive(Debug, Args)]
pub(super) struct Import {
    /// Folder with stations.csv, items.csv …, or with one .xlsx workbook
    dir: PathBuf,
    /// Report and change nothing
    #[arg(long)]
    dry_run: bool,
}

impl Import {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = if self.dry_run { settings.trial_desk().await? } else { settings.new_desk().await? };
        let faults = Faults::default();
        let sheets = read_folder(&self.dir, &faults)?;
        let done = desk.import(&sheets, &faults, self.dry_run).await;
        if let Some(folder) = settings.config.policies.as_deref().filter(|_| done.is_ok() && !self.dry_run) {
            in_force::keep_first(&desk.store, folder, desk.now()).await?;
        }
        tell_import(done, if self.dry_run { "would take" } else { "took" })?;
        Ok(Answer::Done)
    }
}

/// What was taken in, or every bad row.
pub(super) fn tell_import(done: Result<Imported, DeskError>, verb: &str) -> anyhow::Result<()> {
    let done = done.inspect_err(|error| {
        if let DeskError::BadRows { told, .. } = error {
            for fault in told {
                eprintln!("{fault}");
            }
        }
    })?;
    tell_notes(&done.notes);
    if done.counts.is_empty() {
        say(format_args!("nothing new\n"))?;
    }
    for (file, new, corrected) in &done.counts {
        say(format_args!("{verb} {file}: {new} new, {corrected} corrected\n"))?;
    }
    Ok(())
}

fn tell_notes(notes: &[RowFault]) {
    for note in notes.iter().take(MOST_NOTES) {
        eprintln!("note: {note}");
    }
    if notes.len() > MOST_NOTES {
        eprintln!("note: and {} more notes", notes.len() - MOST_NOTES);
    }
}

#[derive(Debug, Args)]
pub(super) struct Export {
    /// Folder to write into
    dir: PathBuf,
    /// A CSV file each, or one workbook
    #[arg(long, value_enum, default_value_t = Files::Csv)]
    format: Files,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Files {
    Csv,
    Xlsx,
}

impl Export {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let format = match self.format {
            Files::Csv => register::Format::Csv,
            Files::Xlsx => register::Format::Xlsx,
        };
        register::export(&desk.set, &desk.store.register(None).await?, &self.dir, format)?;
        Ok(Answer::Done)
    }
}
