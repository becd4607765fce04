//! `tallow adopt`: a copy of a store, or one that was put back from a backup, is taken into service.

use clap::Args;
use policies::zone::Instant;

use super::say::say;
use super::{Answer, Settings};
use crate::clock::{Clock, SystemClock};
use crate::heartbeat;
use crate::sending::{self, Cause, Held};
use crate::store::Store;
use crate::store::outbox::Waiting;

#[derive(Debug, Args)]
pub(super) struct Adopt {
    /// Send everything that waits
    #[arg(long, conflicts_with_all = ["drop", "drop_all"])]
    send_all: bool,
    /// Do not send these: they count as told. Everything else that waits is sent
    #[arg(long, value_name = "NUMBER", num_args = 1.., conflicts_with = "drop_all")]
    drop: Vec<String>,
    /// Send nothing that waits now: all of it counts as told
    #[arg(long)]
    drop_all: bool,
    /// The machine's clock is right as it stands: what is sent and recorded by it is believed again
    #[arg(long)]
    clock: bool,
}

impl Adopt {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let store = settings.store().await?;
        if self.clock {
            let now = SystemClock.now();
            heartbeat::confirm(&store, now).await?;
            say(format_args!("the clock is believed: it is {}\n", moment(now)))?;
            return Ok(Answer::Done);
        }
        let place = sending::place(settings.config.place.as_deref(), &store).await?;
        let held = held(&store).await?;
        let adopted = sending::adopted(&store).await?;
        if let Some(adopted) = adopted.filter(|adopted| adopted.place == place && held.is_empty()) {
            let since = moment(Instant(adopted.at));
            say(format_args!("in service at {place} since {since}; there is nothing to adopt\n"))?;
            return Ok(Answer::Done);
        }
        let waiting = store.unsent().await?;
        if !waiting.is_empty() && !self.send_all && !self.drop_all && self.drop.is_empty() {
            return ask(&waiting, &held).map(|()| Answer::No);
        }
        let dropped = self.drop_from(&store, &waiting).await?;
        say_held(&held)?;
        sending::adopt(&store, &place, SystemClock.now()).await?;
        let sent = waiting.len() - dropped;
        say(format_args!("in service at {place}; {sent} notice(s) will be sent, {dropped} count as told\n"))?;
        for held in sending::all_held(&store).await? {
            say(format_args!("yet sending is held since {}: {}\n", moment(held.since), held.why))?;
        }
        Ok(Answer::Done)
    }

    /// Drops what was named; a number that does not wait ends the command before anything is dropped.
    async fn drop_from(&self, store: &Store, waiting: &[Waiting]) -> anyhow::Result<usize> {
        let all = || waiting.iter().map(|notice| notice.number.as_str()).collect();
        let chosen: Vec<&str> =
            if self.drop_all { all() } else { self.drop.iter().map(String::as_str).collect() };
        for number in &chosen {
            let waits = waiting.iter().any(|notice| notice.number == *number);
            anyhow::ensure!(waits, "no notice {number} waits to be sent; tallow adopt lists those that do");
        }
        for number in &chosen {
            store.drop_unsent(number, SystemClock.now()).await?;
        }
        Ok(chosen.len())
    }
}

/// What being a copy holds up.
async fn held(store: &Store) -> anyhow::Result<Vec<Held>> {
    let mut held = sending::all_held(store).await?;
    held.retain(|held| [Cause::Copied, Cause::Restored].contains(&held.cause));
    Ok(held)
}

fn say_held(held: &[Held]) -> anyhow::Result<()> {
    let mut held = held.iter();
    held.try_for_each(|held| {
        say(format_args!("sending is held since {}: {}\n", moment(held.since), held.why))
    })
}

/// What waits, and what can be said of it.
fn ask(waiting: &[Waiting], held: &[Held]) -> anyhow::Result<()> {
    let since = held.iter().map(|held| held.since).min();
    say_held(held)?;
    say(format_args!("{} notice(s) wait; some may have gone out before, from elsewhere:\n", waiting.len()))?;
    for notice in waiting {
        let older = since.is_some_and(|since| notice.composed_at < since);
        say(format_args!(
            "{} to {}: {}, composed {}{}\n    {}\n",
            notice.number,
            notice.recipient,
            notice.state,
            moment(notice.composed_at),
            if older { ", before sending was held" } else { "" },
            notice.subject
        ))?;
    }
    say(format_args!(
        "nothing is sent yet; say tallow adopt --send-all, --drop NUMBER … (the rest is sent), or --drop-all\n"
    ))
}

fn moment(at: Instant) -> String {
    at.timestamp().strftime("%Y-%m-%d %H:%M UTC").to_string()
}
