//! `tallow policy`.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::Answer;
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
    /// JSON Schema for editors
    Schema,
}

impl Policy {
    pub(super) fn run(self) -> anyhow::Result<Answer> {
        match self.what {
            What::Check { dir } => match policy_set::read(Some(&dir)) {
                Ok(set) => {
                    println!(
                        "{} kinds, {} rules, no fault; set {}",
                        set.kinds.kinds.len(),
                        set.rules.len(),
                        set.hash
                    );
                    Ok(Answer::Done)
                }
                Err(PolicyError::Faults { faults, rendered }) => {
                    println!("{rendered}\n\n{} fault(s)", faults.len());
                    Ok(Answer::No)
                }
                Err(other) => Err(other.into()),
            },
            What::Schema => {
                println!("{}", serde_json::to_string_pretty(&policies::schema::schema())?);
                Ok(Answer::Done)
            }
        }
    }
}
