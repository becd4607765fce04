//! Whether the machine's clock can be believed. A heartbeat is kept with the store; a clock that falls behind it, runs
//! far ahead of it, or steps while the daemon runs is doubted: nothing is told and nothing recorded by it until it is
//! right again, or a person says that it is.

use std::time::Duration;

use policies::zone::Instant;

use crate::store::write::Deed;
use crate::store::{Store, StoreError, Writer};

const MINUTE: i64 = 60 * 1_000_000;
/// A clock is set back a little by its time server.
const BACK: i64 = 5 * MINUTE;
/// A service that was down for longer than a year and a month is asked about.
const AHEAD: i64 = 400 * 24 * 60 * MINUTE;
/// How far the clock may step while the daemon runs.
const STEP: i64 = 10 * MINUTE;
/// A silence that is told in the next notices.
const SILENCE: i64 = 60 * MINUTE;

/// The setting that keeps the newest heartbeat.
pub(crate) const BEAT: &str = "heartbeat";
const CONFIRMED: &str = "clock confirmed";
/// From when until when the service was last down.
pub const DOWN: &str = "down";

/// What is wrong with the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// It lies before the last heartbeat.
    Behind {
        /// The last heartbeat.
        last: Instant,
    },
    /// It lies far beyond the last heartbeat.
    Ahead {
        /// The last heartbeat.
        last: Instant,
    },
    /// It jumped by so many microseconds while the daemon ran.
    Stepped {
        /// Forward, or back where below nought.
        by: i64,
    },
}

impl Doubt {
    /// What is wrong and what would be right, in a sentence.
    pub fn text(self, now: Instant) -> String {
        let said = |at: Instant| at.timestamp().strftime("%Y-%m-%d %H:%M UTC").to_string();
        let wrong = match self {
            Doubt::Behind { last } => format!("it was {} when Tallow last looked", said(last)),
            Doubt::Ahead { last } => {
                format!("it was {} when Tallow last looked, more than 400 days ago", said(last))
            }
            Doubt::Stepped { by } => {
                let way = if by < 0 { "back" } else { "forward" };
                format!("it jumped {way} by {} minutes at once", by.abs() / MINUTE)
            }
        };
        format!(
            "this machine's clock says {}, but {wrong}. Nothing is sent or recorded until the clock is right; if it is right now, say so with: tallow adopt --clock",
            said(now)
        )
    }
}

/// Judges a moment by the last heartbeat.
pub fn judge(now: Instant, last: Option<Instant>) -> Result<(), Doubt> {
    match last {
        Some(last) if now.0 < last.0 - BACK => Err(Doubt::Behind { last }),
        Some(last) if now.0 > last.0 + AHEAD => Err(Doubt::Ahead { last }),
        _ => Ok(()),
    }
}

/// The clock as one running daemon watches it, against the time since the machine started, which no setting of the
/// clock moves and which goes on in suspend.
#[derive(Clone, Copy, Debug)]
pub struct Watch {
    /// What the clock said when the machine started, in microseconds.
    started: Option<i64>,
    confirmed: Option<Instant>,
}

impl Watch {
    /// Begins to watch.
    pub fn begin(now: Instant, since_boot: Option<Duration>) -> Watch {
        Watch { started: since_boot.map(|since| now.0 - micros(since)), confirmed: None }
    }

    /// Judges a moment by this daemon's own run. Small drifts are followed, a step is not.
    pub fn judge(&mut self, now: Instant, since_boot: Option<Duration>) -> Result<(), Doubt> {
        let Some((started, since)) = self.started.zip(since_boot) else { return Ok(()) };
        let by = now.0 - micros(since) - started;
        if by.abs() > STEP {
            return Err(Doubt::Stepped { by });
        }
        self.started = Some(started + by);
        Ok(())
    }

    /// A person said that the clock is right: what it says now is where watching begins again.
    fn take_confirmed(&mut self, said: Option<Instant>, now: Instant, since_boot: Option<Duration>) {
        if said != self.confirmed {
            *self = Watch { confirmed: said, ..Watch::begin(now, since_boot) };
        }
    }
}

fn micros(span: Duration) -> i64 {
    i64::try_from(span.as_micros()).unwrap_or(i64::MAX)
}

/// Time since the machine started, suspend included; none where the system does not say.
pub fn since_boot() -> Option<Duration> {
    let text = std::fs::read_to_string("/proc/uptime").ok()?;
    Duration::try_from_secs_f64(text.split_whitespace().next()?.parse().ok()?).ok()
}

/// Looks at the clock once: a good one is kept as the newest heartbeat, a doubtful one is told.
///
/// # Errors
/// The store's failure.
pub async fn beat(
    store: &Store,
    watch: &mut Watch,
    now: Instant,
    since_boot: Option<Duration>,
) -> Result<Option<Doubt>, StoreError> {
    let confirmed = read(store, CONFIRMED).await?;
    watch.take_confirmed(confirmed, now, since_boot);
    let last = last(store).await?;
    if let Err(doubt) = judge(now, last).and_then(|()| watch.judge(now, since_boot)) {
        return Ok(Some(doubt));
    }
    let silent = last.filter(|last| now.0 - last.0 > SILENCE);
    let due = last.is_none_or(|last| now.0 - last.0 >= MINUTE);
    if due {
        store
            .write(deed(now), async |tx: &mut Writer| {
                if let Some(last) = silent {
                    tx.remember(DOWN, &format!("{} {}", last.timestamp(), now.timestamp())).await?;
                }
                tx.remember(BEAT, &now.timestamp().to_string()).await
            })
            .await?;
    }
    Ok(None)
}

/// The newest heartbeat.
///
/// # Errors
/// The store's failure.
pub async fn last(store: &Store) -> Result<Option<Instant>, StoreError> {
    read(store, BEAT).await
}

/// A person says that the clock is right as it is.
///
/// # Errors
/// The store's failure.
pub async fn confirm(store: &Store, now: Instant) -> Result<(), StoreError> {
    store
        .write(deed(now), async |tx: &mut Writer| {
            tx.remember(BEAT, &now.timestamp().to_string()).await?;
            tx.remember(CONFIRMED, &now.timestamp().to_string()).await
        })
        .await
}

async fn read(store: &Store, name: &str) -> Result<Option<Instant>, StoreError> {
    Ok(store.remembered(name).await?.and_then(|kept| moment(&kept)))
}

/// A moment as it is kept.
pub(crate) fn moment(kept: &str) -> Option<Instant> {
    kept.parse::<jiff::Timestamp>().ok().map(Instant::from)
}

fn deed(at: Instant) -> Deed {
    Deed { actor: "daemon".to_owned(), action: "heartbeat".to_owned(), at }
}

#[cfg(test)]
mod tests;
