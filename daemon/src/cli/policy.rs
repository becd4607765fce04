//! `tallow policy`.

mod compare;
mod list;
mod take_up;

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};

use super::say::say;
use super::{Answer, Settings};
use crate::policy_set::{self, PolicyError};

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
    /// What would move if a set replaced another: dates, standings, readiness, notices, spares
    Compare(compare::Compare),
    /// Rehearse a set against the one in force, and take it up by name from its own day on
    TakeUp(take_up::TakeUp),
    /// The sets kept with the store, by the day each is in force from
    List(list::List),
    /// JSON Schema for editors
    Schema,
}

impl Policy {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Check { dir } => check(&dir),
            What::Compare(compare) => compare.run(settings).await,
            What::TakeUp(take_up) => take_up.run(settings).await,
            What::List(list) => list.run(settings).await,
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
