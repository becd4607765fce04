//! `tallow policy take-up`.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;

use super::super::say::say;
use super::super::{Answer, Settings};
use super::compare::tell_moves;
use crate::clock::{Clock, SystemClock};
use crate::desk::Desk;
use crate::policy_set;
use crate::store::Store;
use crate::take_up::{Rehearsed, Request, keep, rehearse};

#[derive(Debug, Args)]
pub(in crate::cli) struct TakeUp {
    /// Folder of the set, whose service.toml says from when it is in force
    dir: PathBuf,
    /// Who takes it up: an engineer or the head of engineering, by address
    #[arg(long, value_name = "EMAIL")]
    by: String,
    /// Who else agrees: needed where many dates that stop a launch move later
    #[arg(long, value_name = "EMAIL")]
    second: Option<String>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    reason: Option<String>,
    /// A matter of safety: rows may be overdue at once, without 14 days of run-in
    #[arg(long)]
    safety: bool,
}

impl TakeUp {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let request = Request {
            files: policy_set::files(Some(&self.dir))?,
            by: self.by,
            second: self.second,
            reason: self.reason,
            safety: self.safety,
            ..Request::default()
        };
        let store = settings.store().await?;
        let now = SystemClock.now();
        let found = rehearse(&store, &request, now).await?;
        tell(&found)?;
        if !found.objections.is_empty() {
            for objection in &found.objections {
                say(format_args!("not taken up: {objection}\n"))?;
            }
            return Ok(Answer::No);
        }
        keep(&store, &request, &found, now).await?;
        say(format_args!("taken up: set {} is in force from {}\n", found.new.hash, found.effective_from))?;
        settle(store, found).await?;
        Ok(Answer::Done)
    }
}

fn tell(found: &Rehearsed) -> anyhow::Result<()> {
    tell_moves(&found.compared, &found.old, &found.new)?;
    for (station, item, rule) in &found.overdue_at_once {
        let station = if station.is_empty() { "stores" } else { station };
        say(format_args!("overdue at once on {}: {station} {item} {rule}\n", found.effective_from))?;
    }
    Ok(())
}

/// A set in force from today on moves the due table today.
async fn settle(store: Store, found: Rehearsed) -> anyhow::Result<()> {
    let desk = Desk::new(store, Arc::new(found.new), Arc::new(SystemClock), "policy take-up".to_owned());
    if found.effective_from <= desk.today() {
        desk.refresh().await?;
    }
    Ok(())
}
