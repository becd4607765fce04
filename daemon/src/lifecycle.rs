//! The daemon's life: one at a time, ready after its first sweep, and down cleanly.

mod watching;

use std::fs::File;
use std::io::{Read, Write};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use policies::load::PolicySet;
use policies::zone::Instant;
use sd_notify::NotifyState;
use tokio::net::TcpListener;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::{Notify, watch};

use crate::clock::{Clock, SystemClock};
use crate::config::{Config, Smtp};
use crate::desk::Desk;
use crate::in_force;
use crate::notices::delivery::{self, Pace, Post, SmtpCourier, Stop};
use crate::notices::message::sender;
use crate::pulse;
use crate::sending;
use crate::store::leases::Leader;
use crate::store::outbox::StoredOutbox;
use crate::store::{Store, StoreError, address};
use crate::sweep::{Mail, Swept, sweep};
use crate::web::{self, Door, Web};

/// Never sleep until a tick: wake this often and compare the clock with what is stored.
const WAKE: Duration = Duration::from_secs(15);
/// The lease of whoever sweeps.
pub(crate) const SWEEPING: &str = "sweep";
/// So long a daemon that is gone keeps the others of its database from sweeping.
const LEADS_MICROS: i64 = 75 * 1_000_000;
/// So many sweeps or deliveries, ten minutes of them, may fail in a row before the daemon gives up and lets its keeper
/// start it again: a long import holds the store for minutes.
const MOST_FAILURES: u32 = 40;

/// Why one round of serving ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ended {
    Stopped,
    Reload,
}

/// Serves until it is told to stop. A policy set that was taken up goes live on its day; `SIGHUP` looks for it, and
/// at the folder, at once. A broken set never replaces a good one.
///
/// # Errors
/// Another daemon serves the store, the address cannot be bound, or a task of the daemon failed.
pub async fn serve(config: &Config) -> anyhow::Result<()> {
    let store = Store::open(&config.database)
        .await
        .with_context(|| format!("opening {}", address::shown(&config.database)))?;
    let _lock = store.path().map(|path| lock(&path.with_added_extension("lock"))).transpose()?;
    refuse_damaged(&store).await?;
    take_up_place(config, &store).await?;
    let listener = std::net::TcpListener::bind(&config.listen)
        .with_context(|| format!("listening on {}", config.listen))?;
    listener.set_nonblocking(true)?;
    loop {
        let set = in_force::serving(&store, config.policies.as_deref(), SystemClock.now()).await?;
        let listener = TcpListener::from_std(listener.try_clone()?)?;
        match round(config, &store, set, listener).await? {
            Ended::Reload => tracing::info!("looking for the policy set in force again"),
            Ended::Stopped => break,
        }
    }
    let _ = sd_notify::notify(&[NotifyState::Stopping]);
    store.close().await?;
    Ok(())
}

/// Where the store is in service, and what an earlier daemon left in hand: behind the lock there is no other one.
async fn take_up_place(config: &Config, store: &Store) -> anyhow::Result<()> {
    let now = SystemClock.now();
    let place = sending::place(config.place.as_deref(), store).await?;
    sending::settle_place(store, &place, now).await?;
    for held in sending::all_held(store).await? {
        tracing::error!(why = held.why, "sending is held");
    }
    if store.path().is_some() {
        store.end_leases(now).await?;
    }
    Ok(())
}

/// A file that was copied while it was written, or lost a part, is not gone on with: every further record would make it
/// worse.
async fn refuse_damaged(store: &Store) -> anyhow::Result<()> {
    let damage = store.damage().await?;
    anyhow::ensure!(
        damage.is_empty(),
        "this database is damaged, as one is that was copied by other means than tallow backup while it was written: {}. \
         Put the last backup in its place: tallow restore FILE",
        damage.join("; ")
    );
    Ok(())
}

/// A file has one daemon. One that several serve is a server's.
pub(crate) fn lock(path: &Path) -> Result<File, StoreError> {
    let file_error = |source| StoreError::File { doing: "locking", path: path.display().to_string(), source };
    let mut file =
        File::options().read(true).write(true).create(true).truncate(false).open(path).map_err(file_error)?;
    if file.try_lock().is_err() {
        let mut holder = String::new();
        let _ = file.read_to_string(&mut holder);
        return Err(StoreError::Served(holder.trim().to_owned()));
    }
    file.set_len(0).map_err(file_error)?;
    let machine = std::fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    writeln!(file, "process {} on {}", std::process::id(), machine.trim()).map_err(file_error)?;
    Ok(file)
}

/// Serves under one policy set until told to stop, or to read it again.
async fn round(
    config: &Config,
    store: &Store,
    set: PolicySet,
    listener: TcpListener,
) -> anyhow::Result<Ended> {
    let clock: Arc<dyn Clock> = Arc::new(SystemClock);
    let desk = Arc::new(Desk::new(store.clone(), Arc::new(set), clock.clone(), "daemon".to_owned()));
    let post = config.smtp.as_ref().map(|smtp| post(store, smtp, &clock)).transpose()?;
    if post.is_none() {
        tracing::warn!("no smtp settings: notices are kept in the outbox and not sent");
    }
    let (stop, stopped) = watch::channel(false);
    let (nudge, succeeded) = (Arc::new(Notify::new()), Arc::new(Notify::new()));
    let mail = Mail::of(config)?;
    let mut watched = watching::Clocked::begin(store, &*clock).await?;
    let doubted = watched.doubted();
    let mut tasks = tokio::task::JoinSet::new();
    let signals = Signals { nudge: nudge.clone(), succeeded: succeeded.clone(), doubted: doubted.clone() };
    let (answers, answered) = (config.answers.clone(), mail.clone());
    tasks.spawn(watching::answering(desk.clone(), answers, answered, doubted.clone(), stopped.clone()));
    tasks.spawn(sweeping(desk.clone(), mail, signals, stopped.clone()));
    let (watched_store, watched_clock, until) = (store.clone(), clock.clone(), stopped.clone());
    tasks.spawn(async move { watched.watch(&watched_store, &*watched_clock, until).await });
    let (files, backups) = (config.files(), config.backup.clone());
    tasks.spawn(watching::keeping(desk.clone(), files, backups, doubted.clone(), stopped.clone()));
    if let Some(post) = post {
        tasks.spawn(delivering(post, nudge, doubted, stopped.clone()));
    }
    let door = Door::of(config, store);
    let pages = Web { desk: desk.clone(), files: config.files(), caught: None, stated: None, door };
    tasks.spawn(serving(listener, pages, stopped));
    let watched = Watched { store, folder: config.policies.as_deref(), hash: &desk.set.hash };
    let ended = tokio::select! {
        ended = told(&watched) => ended?,
        () = succeeded.notified() => Ended::Reload,
        Some(task) = tasks.join_next() => {
            task.context("a task of the daemon was lost")??;
            anyhow::bail!("a task of the daemon ended by itself");
        }
    };
    stop.send_replace(true);
    while let Some(task) = tasks.join_next().await {
        task.context("a task of the daemon was lost")??;
    }
    Ok(ended)
}

/// What wakes a sweep, ends its round, or holds it.
struct Signals {
    nudge: Arc<Notify>,
    succeeded: Arc<Notify>,
    doubted: watch::Receiver<bool>,
}

struct Watched<'w> {
    store: &'w Store,
    folder: Option<&'w Path>,
    hash: &'w str,
}

impl Watched<'_> {
    async fn state(&self) -> Option<in_force::Folder> {
        let found = in_force::weigh(self.store, self.folder?, self.hash).await;
        found.inspect_err(|error| tracing::error!(%error, "the policy folder could not be looked at")).ok()
    }
}

/// Waits for a signal; meanwhile says when the folder's set is broken, or waits to be taken up.
async fn told(watched: &Watched<'_>) -> anyhow::Result<Ended> {
    let (mut terminate, mut interrupt, mut hangup) = signals()?;
    // What it holds now was said when this round began.
    let mut seen = watched.state().await.map(|found| format!("{found:?}"));
    loop {
        tokio::select! {
            _ = terminate.recv() => return Ok(Ended::Stopped),
            _ = interrupt.recv() => return Ok(Ended::Stopped),
            _ = hangup.recv() => return Ok(Ended::Reload),
            () = tokio::time::sleep(WAKE) => look(watched, &mut seen).await,
        }
    }
}

fn signals() -> std::io::Result<(Signal, Signal, Signal)> {
    Ok((signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?, signal(SignalKind::hangup())?))
}

/// Looks at the folder; each state of it is told once.
async fn look(watched: &Watched<'_>, seen: &mut Option<String>) {
    let Some(found) = watched.state().await else { return };
    let state = Some(format!("{found:?}"));
    if state != *seen {
        found.tell(watched.hash);
        *seen = state;
    }
}

/// Sweeps at every wake, and says so to systemd: a stuck sweep is a stuck daemon. A sweep under a set that has been
/// succeeded is not begun.
async fn sweeping(
    desk: Arc<Desk>,
    mail: Mail,
    signals: Signals,
    mut stopped: watch::Receiver<bool>,
) -> anyhow::Result<()> {
    let Signals { nudge, succeeded, doubted } = signals;
    let mut failures = 0;
    let mut leader = Leader::new(SWEEPING, holder(desk.now()), LEADS_MICROS);
    loop {
        // By a wrong clock everything would be overdue, or nothing.
        let swept = if *doubted.borrow() {
            Ok(Some(Swept::default()))
        } else {
            one_sweep(&desk, &mail, &mut leader).await
        };
        match swept {
            Ok(None) => succeeded.notify_one(),
            Ok(Some(swept)) => {
                failures = 0;
                if swept.rows + swept.notices > 0 {
                    tracing::info!(rows = swept.rows, notices = swept.notices, "swept");
                }
                let _ = sd_notify::notify(&[NotifyState::Ready, NotifyState::Watchdog]);
                nudge.notify_one();
            }
            Err(error) => {
                failures += 1;
                tracing::error!(error = format!("{error:#}"), failures, "a sweep failed");
                anyhow::ensure!(failures < MOST_FAILURES, "sweeps keep failing");
            }
        }
        tokio::select! {
            () = tokio::time::sleep(WAKE) => {}
            _ = stopped.wait_for(|stop| *stop) => break,
        }
    }
    let _ = leader.resign(&desk.store).await;
    Ok(())
}

/// A name that no other daemon has: its machine, its process, and when it began.
fn holder(now: Instant) -> String {
    let machine = std::fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    format!("{} process {} since {}", machine.trim(), std::process::id(), now.timestamp())
}

/// One sweep; none where another set has come into force. Of several daemons on one database one sweeps: two would do
/// the same work twice, and tell nobody twice.
async fn one_sweep(desk: &Desk, mail: &Mail, leader: &mut Leader) -> anyhow::Result<Option<Swept>> {
    if in_force::is_succeeded(&desk.store, &desk.set.hash, desk.now()).await? {
        return Ok(None);
    }
    if !leader.leads(&desk.store, desk.now()).await? {
        pulse::swept(pulse::begin());
        return Ok(Some(Swept::default()));
    }
    let begun = pulse::begin();
    let swept = sweep(desk, mail).await?;
    pulse::swept(begun);
    Ok(Some(swept))
}

/// The post of this daemon, under a name that no other running one has.
fn post(
    store: &Store,
    smtp: &Smtp,
    clock: &Arc<dyn Clock>,
) -> anyhow::Result<Post<StoredOutbox, SmtpCourier>> {
    let relay = delivery::settings(smtp)?;
    let outbox = store.outbox(format!("process {} since {}", std::process::id(), clock.now().0));
    let couriers = SmtpCourier::several(&relay, smtp.connections);
    let from = sender(&smtp.from).1.to_owned();
    Ok(Post::new(outbox, couriers, clock.clone(), from, Pace::of(smtp.most_per_second)))
}

async fn delivering(
    mut post: Post<StoredOutbox, SmtpCourier>,
    nudge: Arc<Notify>,
    doubted: watch::Receiver<bool>,
    mut stopped: watch::Receiver<bool>,
) -> anyhow::Result<()> {
    let (mut failures, mut hindered) = (0, None);
    let stop = Stop::from(stopped.clone());
    loop {
        tokio::select! {
            () = nudge.notified() => {}
            () = tokio::time::sleep(WAKE) => {}
            _ = stopped.wait_for(|stop| *stop) => return Ok(()),
        }
        if *doubted.borrow() {
            continue;
        }
        match post.drain(&stop).await {
            Ok(drained) => {
                failures = 0;
                if hindered != drained.hindered {
                    hindered = drained.hindered;
                    if let Some(why) = &hindered {
                        tracing::warn!(why, "nothing is sent for now");
                    }
                }
            }
            Err(error) => {
                failures += 1;
                tracing::error!(
                    error = format!("{:#}", anyhow::Error::from(error)),
                    failures,
                    "delivery failed"
                );
                anyhow::ensure!(failures < MOST_FAILURES, "delivery keeps failing");
            }
        }
    }
}

async fn serving(
    listener: TcpListener,
    pages: Web,
    mut stopped: watch::Receiver<bool>,
) -> anyhow::Result<()> {
    let until = async move {
        let _ = stopped.wait_for(|stop| *stop).await;
    };
    web::serve(listener, pages, until).await;
    Ok(())
}
