//! Settings as the command line sees them, and the desk they open.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;
use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::load::PolicySet;
use policies::zone::Instant;

use crate::clock::{Clock, SystemClock};
use crate::config::Config;
use crate::desk::Desk;
use crate::in_force::{self, When};
use crate::policy_set;
use crate::store::{Store, address};

/// Settings after file, environment and command line were laid over each other.
#[derive(Debug)]
pub struct Settings {
    /// The settings file's own.
    pub config: Config,
    /// The policy folder named on the command line: it decides, whatever set is in force.
    named: Option<PathBuf>,
}

/// A date that can be replayed: what the world was then, and what was known of it.
#[derive(Clone, Copy, Debug, clap::Args)]
pub(super) struct Replay {
    /// The world at 24:00 of that day
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub(super) as_of: Option<Date>,
    /// Without what became known after that day
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub(super) known_on: Option<Date>,
}

pub(super) fn date(text: &str) -> Result<Date, String> {
    text.parse().map_err(|_| format!("\"{text}\" is no date; write it like 2026-10-12"))
}

impl Settings {
    pub(super) fn read(
        file: Option<&Path>,
        database: Option<String>,
        policies: Option<PathBuf>,
    ) -> anyhow::Result<Settings> {
        let mut config = Config::read(file)?;
        config.database = database.unwrap_or(config.database);
        config.policies = policies.clone().or(config.policies);
        Ok(Settings { config, named: policies })
    }

    /// The store that is there: only an import, a daemon or a demo makes one, so that a mistyped name is no empty
    /// store in which nothing is due.
    pub(super) async fn store(&self) -> anyhow::Result<Store> {
        if let Some(path) = address::file(&self.config.database).filter(|path| !path.exists()) {
            anyhow::bail!("{} does not exist; tallow import makes it, or correct --database", path.display());
        }
        self.new_store().await
    }

    async fn new_store(&self) -> anyhow::Result<Store> {
        let address = &self.config.database;
        Store::open(address).await.with_context(|| format!("opening {}", address::shown(address)))
    }

    pub(super) async fn desk(&self) -> anyhow::Result<Desk> {
        self.desk_over(self.store().await?, When::At(SystemClock.now())).await
    }

    /// A desk over a store that is made if it is not there.
    pub(super) async fn new_desk(&self) -> anyhow::Result<Desk> {
        self.desk_over(self.new_store().await?, When::At(SystemClock.now())).await
    }

    /// A desk to try something on that writes nothing: where there is no store yet, an empty one in memory.
    pub(super) async fn trial_desk(&self) -> anyhow::Result<Desk> {
        match address::file(&self.config.database).filter(|path| !path.exists()) {
            Some(_) => self.desk_over(Store::in_memory().await?, When::At(SystemClock.now())).await,
            None => self.new_desk().await,
        }
    }

    /// A desk under the set that was in force, and known, as a replay asks.
    pub(super) async fn desk_of(&self, replay: &Replay) -> anyhow::Result<Desk> {
        if self.named.is_some() {
            return self.desk().await;
        }
        let (store, folder) = (self.store().await?, self.config.policies.as_deref());
        let set = in_force::replayed(&store, folder, replay.as_of, replay.known_on, SystemClock.now());
        let set = set.await?;
        Ok(under(store, set))
    }

    /// A desk under the set in force then.
    pub(super) async fn desk_over(&self, store: Store, when: When) -> anyhow::Result<Desk> {
        let set = match &self.named {
            Some(named) => policy_set::read(Some(named))?,
            None => in_force::chosen(&store, self.config.policies.as_deref(), when).await?,
        };
        Ok(under(store, set))
    }
}

fn under(store: Store, set: PolicySet) -> Desk {
    Desk::new(store, Arc::new(set), Arc::new(SystemClock), "command line".to_owned())
}

impl Replay {
    /// What an empty answer means where the days that are asked about lie before the records.
    pub(super) fn nothing(self, otherwise: &str) -> String {
        match self.known_on {
            None => format!("{otherwise}\n"),
            Some(day) => format!("{otherwise}, by what was known on {}\n", crate::why::day(day)),
        }
    }

    /// The day that is judged, each item's own today where none is named; and the moment before which records count
    /// as known.
    pub(super) fn of(self, desk: &Desk) -> (AsOf, Option<Instant>) {
        (self.as_of.map_or_else(|| desk.as_of(), AsOf::Day), self.known_on.map(|day| desk.known_by(day)))
    }

    /// The same where one day is told of the whole service: home's.
    pub(super) fn at_home(self, desk: &Desk) -> (Date, Option<Instant>) {
        let (as_of, known_before) = self.of(desk);
        (as_of.day_in(&desk.set.service.home_zone), known_before)
    }
}
