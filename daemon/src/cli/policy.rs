//! `tallow policy`.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;
use clap::{Args, Subcommand};
use policies::load::PolicySet;

use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings};
use crate::clock::SystemClock;
use crate::compare::{Move, Side, moves};
use crate::desk::Desk;
use crate::fitness::papers;
use crate::policy_set::{self, PolicyError};
use crate::register::{Faults, read_folder};
use crate::store::Store;

#[derive(Debug, Args)]
pub(super) struct Policy {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Every fault of a policy set, with its source line
    Check {
        /// Folder of the set
        dir: PathBuf,
    },
    /// What would move if a set replaced another: dates, standings, readiness
    Compare(Compare),
    /// JSON Schema for editors
    Schema,
}

#[derive(Debug, Args)]
struct Compare {
    /// Folder of the set in force
    old: PathBuf,
    /// Folder of the set that would replace it
    new: PathBuf,
    /// Over this register instead of the store's
    #[arg(long, value_name = "DIR")]
    register: Option<PathBuf>,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Policy {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Check { dir } => check(&dir),
            What::Compare(compare) => compare.run(settings).await,
            What::Schema => {
                say(format_args!("{}\n", serde_json::to_string_pretty(&policies::schema::schema())?))?;
                Ok(Answer::Done)
            }
        }
    }
}

fn check(dir: &Path) -> anyhow::Result<Answer> {
    match policy_set::read(Some(dir)) {
        Ok(set) => {
            say(format_args!(
                "{} kinds, {} rules, no fault; set {}\n",
                set.kinds.kinds.len(),
                set.rules.len(),
                set.hash
            ))?;
            Ok(Answer::Done)
        }
        Err(PolicyError::Faults { faults, rendered }) => {
            say(format_args!("{rendered}\n\n{} fault(s)\n", faults.len()))?;
            Ok(Answer::No)
        }
        Err(other) => Err(other.into()),
    }
}

impl Compare {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let old = policy_set::read(Some(&self.old))
            .with_context(|| format!("the old set {}", self.old.display()))?;
        let new = policy_set::read(Some(&self.new))
            .with_context(|| format!("the new set {}", self.new.display()))?;
        let old = Arc::new(old);
        let desk = self.desk(settings, &old).await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let before = desk.store.fleet(&old, known_before).await?.fleet;
        let after = desk.store.fleet(&new, known_before).await?.fleet;
        let papers = papers(&desk.store).await?;
        let sides = [Side { set: &old, fleet: &before }, Side { set: &new, fleet: &after }];
        let found = moves(&sides[0], &sides[1], &papers, as_of);
        self.tell(&found, &old, &new)?;
        Ok(if found.is_empty() { Answer::Done } else { Answer::No })
    }

    /// The store's own register, or one read into memory for this comparison.
    async fn desk(&self, settings: &Settings, set: &Arc<PolicySet>) -> anyhow::Result<Desk> {
        let clock = Arc::new(SystemClock);
        let Some(folder) = &self.register else {
            return Ok(Desk::new(settings.store().await?, set.clone(), clock, "compare".to_owned()));
        };
        let desk = Desk::new(Store::in_memory().await?, set.clone(), clock, "compare".to_owned());
        let faults = Faults::default();
        let sheets = read_folder(folder, &faults)?;
        desk.import(&sheets, &faults, false).await?;
        Ok(desk)
    }

    fn tell(&self, found: &[Move], old: &PolicySet, new: &PolicySet) -> anyhow::Result<()> {
        match self.format {
            Format::Csv => say(format_args!("{}", csv(found)?))?,
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(found)?))?,
            Format::Table => {
                for one in found {
                    say(format_args!("{}\n", text(one)))?;
                }
                let later = found.iter().filter(|one| one.later).count();
                say(format_args!(
                    "{} move(s) from set {} to set {}\n",
                    found.len(),
                    &old.hash[..12],
                    &new.hash[..12]
                ))?;
                if later > 0 {
                    say(format_args!(
                        "{later} date(s) that stop a launch move later: a second person must agree before it is taken up\n"
                    ))?;
                }
            }
        }
        Ok(())
    }
}

fn text(one: &Move) -> String {
    let gear = if one.item.is_empty() { String::new() } else { format!(" {} {}", one.item, one.rule) };
    let station = if one.station.is_empty() { "stores" } else { &one.station };
    let mark = if one.later { "  LATER" } else { "" };
    format!("{} {station}{gear}: {} {} -> {}{mark}", one.effect_on, one.what, one.old, one.new)
}

fn csv(found: &[Move]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record([
        "effect_on",
        "what",
        "station",
        "item",
        "rule",
        "old",
        "new",
        "overdue_effect",
        "later",
    ])?;
    for one in found {
        let later = if one.later { "yes" } else { "" };
        csv.write_record([
            &one.effect_on,
            one.what,
            &one.station,
            &one.item,
            &one.rule,
            &one.old,
            &one.new,
            one.overdue_effect,
            later,
        ])?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}
