//! What the daemon watches of itself: its clock, its backups, and that what it told is what it owed.

use std::sync::Arc;

use policies::zone::Instant;
use tokio::sync::watch;

use super::WAKE;
use crate::alarms;
use crate::answers;
use crate::clock::Clock;
use crate::config::{Answers, Backups};
use crate::desk::Desk;
use crate::files::Files;
use crate::heartbeat::{self, Doubt, Watch, since_boot};
use crate::keeping;
use crate::sending::{self, Cause};
use crate::store::{Store, StoreError};
use crate::sweep::Mail;
use crate::verify;

/// How often notices are reckoned again.
const HOUR: i64 = 60 * 60 * 1_000_000;
/// So many differences are named in an alarm; the command names all.
const NAMED: usize = 5;

/// The clock under watch, and the word of it for sweeps and deliveries.
pub(super) struct Clocked {
    watch: Watch,
    doubted: watch::Sender<bool>,
}

impl Clocked {
    /// Looks at the clock for the first time, before anything is done by it.
    pub(super) async fn begin(store: &Store, clock: &dyn Clock) -> Result<Clocked, StoreError> {
        let watch = Watch::begin(clock.now(), since_boot());
        let mut clocked = Clocked { watch, doubted: watch::Sender::new(false) };
        clocked.look(store, clock.now()).await?;
        Ok(clocked)
    }

    /// Whether the clock is in doubt.
    pub(super) fn doubted(&self) -> watch::Receiver<bool> {
        self.doubted.subscribe()
    }

    /// Looks at every wake, until stopped.
    pub(super) async fn watch(
        &mut self,
        store: &Store,
        clock: &dyn Clock,
        mut stopped: watch::Receiver<bool>,
    ) -> anyhow::Result<()> {
        loop {
            tokio::select! {
                () = tokio::time::sleep(WAKE) => {}
                _ = stopped.wait_for(|stop| *stop) => return Ok(()),
            }
            if let Err(error) = self.look(store, clock.now()).await {
                tracing::warn!(%error, "the heartbeat could not be kept");
            }
        }
    }

    async fn look(&mut self, store: &Store, now: Instant) -> Result<(), StoreError> {
        let doubt = heartbeat::beat(store, &mut self.watch, now, since_boot()).await?;
        self.doubted.send_if_modified(|before| std::mem::replace(before, doubt.is_some()) != doubt.is_some());
        tell(store, doubt, now).await
    }
}

async fn tell(store: &Store, doubt: Option<Doubt>, now: Instant) -> Result<(), StoreError> {
    match doubt {
        None => sending::release(store, Cause::Clock).await?,
        Some(doubt) => sending::hold(store, Cause::Clock, &doubt.text(now), now).await?,
    }
    match doubt {
        Some(Doubt::Stepped { .. }) if stands(store, "clock").await? => Ok(()),
        Some(doubt) => alarms::raise(store, "clock", &doubt.text(now), now).await,
        None => alarms::clear(store, "clock", now).await,
    }
}

async fn stands(store: &Store, about: &str) -> Result<bool, StoreError> {
    Ok(alarms::standing(store).await?.iter().any(|alarm| alarm.about == about))
}

/// Takes the backups that are due, and reckons the notices again every hour.
pub(super) async fn keeping(
    desk: Arc<Desk>,
    files: Files,
    backups: Option<Backups>,
    doubted: watch::Receiver<bool>,
    mut stopped: watch::Receiver<bool>,
) -> anyhow::Result<()> {
    let mut checked = desk.now();
    loop {
        tokio::select! {
            () = tokio::time::sleep(WAKE) => {}
            _ = stopped.wait_for(|stop| *stop) => return Ok(()),
        }
        if *doubted.borrow() {
            continue;
        }
        if let Err(error) = keep(&desk, &files, backups.as_ref()).await {
            tracing::error!(error = format!("{error:#}"), "a backup's alarm could not be kept");
        }
        if desk.now().0 - checked.0 >= HOUR {
            checked = desk.now();
            if let Err(error) = check(&desk).await {
                tracing::error!(error = format!("{error:#}"), "the notices could not be reckoned again");
            }
        }
    }
}

async fn keep(desk: &Desk, files: &Files, backups: Option<&Backups>) -> anyhow::Result<()> {
    let Some(backups) = backups else { return Ok(()) };
    let zone = desk.set.service.home_zone.time_zone();
    match keeping::keep(&desk.store, files, backups, zone, desk.now()).await {
        Ok(None) => {}
        Ok(Some(taken)) => {
            tracing::info!(backup = %taken.display(), "backed up");
            alarms::clear(&desk.store, "backup", desk.now()).await?;
        }
        Err(error) => {
            let text = format!("no backup was taken: {error:#}. The earlier ones are kept.");
            alarms::raise(&desk.store, "backup", &text, desk.now()).await?;
        }
    }
    Ok(())
}

/// Every notice that is owed by now and missing is an alarm.
async fn check(desk: &Desk) -> anyhow::Result<()> {
    let differences = verify::notice_differences(desk).await?;
    if differences.is_empty() {
        return Ok(alarms::clear(&desk.store, "notices", desk.now()).await?);
    }
    let named = differences.iter().take(NAMED).cloned().collect::<Vec<_>>().join("; ");
    let text = format!("{} difference(s) in the notices, see tallow verify: {named}", differences.len());
    // Which difference is which changes with its figures: one more of them is news.
    let of = (1..=differences.len()).map(|number| number.to_string()).collect();
    Ok(alarms::raise_of(&desk.store, "notices", &text, of, desk.now()).await?)
}

/// Takes answers in at every wake. A folder that cannot be read is an alarm: silence would look like no answers.
pub(super) async fn answering(
    desk: Arc<Desk>,
    answers: Option<Answers>,
    mail: Mail,
    doubted: watch::Receiver<bool>,
    mut stopped: watch::Receiver<bool>,
) -> anyhow::Result<()> {
    loop {
        tokio::select! {
            () = tokio::time::sleep(WAKE) => {}
            _ = stopped.wait_for(|stop| *stop) => return Ok(()),
        }
        let Some(answers) = answers.as_ref().filter(|_| !*doubted.borrow()) else { continue };
        let told = match answers::take(&desk, &answers.maildir, &mail).await {
            Ok(taken) => {
                if taken != answers::Taken::default() {
                    let answers::Taken { answers, bounces, ignored } = taken;
                    tracing::info!(answers, bounces, ignored, "took mail in");
                }
                alarms::clear(&desk.store, "answers", desk.now()).await
            }
            Err(error) => {
                let text = format!("answers to notices are not read: {error:#}");
                alarms::raise(&desk.store, "answers", &text, desk.now()).await
            }
        };
        if let Err(error) = told {
            tracing::warn!(%error, "an alarm could not be kept");
        }
    }
}
