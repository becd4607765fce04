//! `tallow state`: gear set aside, released, laid up and withdrawn.

use clap::{Args, Subcommand, ValueEnum};
use policies::facts::State as Word;

use super::item::{By, write_down};
use super::{Answer, Settings};
use crate::items::state::SetState;

#[derive(Debug, Args)]
pub(super) struct State {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Set it aside, lay it up, or bring it back from being laid up
    Set {
        /// Tag
        tag: String,
        /// What it is from then on
        #[arg(value_enum)]
        state: Settable,
        #[command(flatten)]
        why: Why,
    },
    /// Let it be used again: by an engineer or the head
    Release {
        /// Tag
        tag: String,
        #[command(flatten)]
        why: Why,
        /// Another engineer or the head, after a failed proof load or a reading beyond its criterion
        #[arg(long, value_name = "EMAIL")]
        second: Option<String>,
    },
    /// Take it out of service for good
    Withdraw {
        /// Tag
        tag: String,
        #[command(flatten)]
        why: Why,
    },
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Settable {
    /// Not to be used
    Quarantined,
    /// Put away, to be used again
    LaidUp,
    /// Back from being laid up
    Returned,
}

#[derive(Debug, Args)]
struct Why {
    /// Why
    #[arg(long)]
    reason: String,
    /// When: RFC 3339, a local time or a local date; now where left out
    #[arg(long)]
    at: Option<String>,
    #[command(flatten)]
    by: By,
}

impl State {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let (tag, state, why, second) = match self.what {
            What::Set { tag, state, why } => (tag, Word::from(state), why, None),
            What::Release { tag, why, second } => (tag, Word::Released, why, second),
            What::Withdraw { tag, why } => (tag, Word::Withdrawn, why, None),
        };
        let by = why.by;
        let asked = SetState { tag, state, reason: why.reason, at: why.at, by: by.by.clone(), second };
        write_down(settings, &format!("state {state}"), &by, |look| asked.rows(look)).await
    }
}

impl From<Settable> for Word {
    fn from(state: Settable) -> Word {
        match state {
            Settable::Quarantined => Word::Quarantined,
            Settable::LaidUp => Word::LaidUp,
            Settable::Returned => Word::Returned,
        }
    }
}
