//! `tallow policy compare`.

use std::path::PathBuf;
use std::sync::Arc;

use anyhow::Context;
use clap::Args;
use policies::load::PolicySet;
use policies::loosened::loosened;

use super::super::say::say;
use super::super::setting::Replay;
use super::super::{Answer, Format, Settings};
use crate::clock::SystemClock;
use crate::compare::{Beside, Compared, Move, Side, compare};
use crate::desk::Desk;
use crate::policy_set;
use crate::register::{Faults, read_folder};
use crate::store::Store;
use crate::take_up::{loosened_word, wants_second};

#[derive(Debug, Args)]
pub(in crate::cli) struct Compare {
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

impl Compare {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let old = policy_set::read(Some(&self.old))
            .with_context(|| format!("the old set {}", self.old.display()))?;
        let new = policy_set::read(Some(&self.new))
            .with_context(|| format!("the new set {}", self.new.display()))?;
        let old = Arc::new(old);
        let desk = self.desk(settings, &old).await?;
        let (as_of, known_before) = self.replay.at_home(&desk);
        let before = desk.store.fleet(&old, known_before).await?.fleet;
        let after = desk.store.fleet(&new, known_before).await?.fleet;
        let sides = [Side { set: &old, fleet: &before }, Side { set: &new, fleet: &after }];
        let in_force = new.service.effective_from.unwrap_or(as_of);
        let beside = Beside::known(&desk.store, known_before).await?;
        let found = compare(&sides[0], &sides[1], &beside, as_of, in_force);
        self.tell(&found, &old, &new)?;
        Ok(if found.moves.is_empty() { Answer::Done } else { Answer::No })
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

    fn tell(&self, found: &Compared, old: &PolicySet, new: &PolicySet) -> anyhow::Result<()> {
        match self.format {
            Format::Csv => say(format_args!("{}", csv(&found.moves)?))?,
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&found.moves)?))?,
            Format::Table => {
                tell_moves(found, old, new)?;
                if let Some(why) = wants_second(found) {
                    say(format_args!("to take it up: {why}\n"))?;
                }
                let limits = loosened(&old.service, &new.service);
                if !limits.is_empty() {
                    say(format_args!("to take it up: {}\n", loosened_word(&limits)))?;
                }
            }
        }
        Ok(())
    }
}

/// Every move in words.
pub(super) fn tell_moves(found: &Compared, old: &PolicySet, new: &PolicySet) -> anyhow::Result<()> {
    for one in &found.moves {
        say(format_args!("{}\n", text(one)))?;
    }
    let count = found.moves.len();
    say(format_args!("{count} move(s) from set {} to set {}\n", &old.hash[..12], &new.hash[..12]))
}

fn text(one: &Move) -> String {
    let station = if one.station.is_empty() { "stores" } else { &one.station };
    let names = [station, &one.item, &one.rule].into_iter().filter(|name| !name.is_empty());
    let names = names.collect::<Vec<_>>().join(" ");
    let mark = match (one.later, one.law_later) {
        (_, true) => "  LATER (law)",
        (true, false) => "  LATER",
        (false, false) => "",
    };
    format!("{} {names}: {} {} -> {}{mark}", one.effect_on, one.what, one.old, one.new)
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
        "law_later",
    ])?;
    let yes = |flag: bool| if flag { "yes" } else { "" };
    for one in found {
        csv.write_record([
            &one.effect_on,
            one.what,
            &one.station,
            &one.item,
            &one.rule,
            &one.old,
            &one.new,
            one.overdue_effect,
            yes(one.later),
            yes(one.law_later),
        ])?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}
