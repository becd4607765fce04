//! Whether the server still answers. Its sockets alone would not tell: a network that swallows everything looks like a
//! slow statement for a quarter of an hour. A connection of its own is asked every second; when none of its questions
//! was answered for five, whatever waits for the server fails, and connections of that time are never used again.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use sea_orm::sqlx::pool::PoolConnectionMetadata;
use sea_orm::sqlx::postgres::{PgConnectOptions, PgConnection, PgPoolOptions};
use sea_orm::sqlx::{self, Connection, Executor};
use tokio::sync::watch;
use tokio::time::timeout;

/// Between two questions.
const EVERY: Duration = Duration::from_secs(1);
/// An answer that takes longer is none.
const ANSWER: Duration = Duration::from_secs(2);
/// Silence that is taken for more than a hiccup, such as a server that starts again.
const SILENT_AFTER: Duration = Duration::from_secs(5);

/// Feels whether the server is there.
#[derive(Clone)]
pub(super) struct Pulse {
    pub(super) silence: watch::Receiver<bool>,
    fell: Fell,
}

/// When it last fell silent.
type Fell = Arc<Mutex<Option<Instant>>>;

impl Pulse {
    /// Begins to feel; ends with the last that listens.
    pub(super) fn feel(options: PgConnectOptions) -> Pulse {
        let (told, silence) = watch::channel(false);
        let fell = Fell::default();
        tokio::spawn(feeling(options, told, fell.clone()));
        Pulse { silence, fell }
    }

    /// A pool that hands out no connection that stands in a transaction: one whose `BEGIN` was given up on in flight
    /// may be in one without knowing, and would swallow what is written through it.
    pub(super) fn guarded(&self, pool: PgPoolOptions) -> PgPoolOptions {
        let (taken, given_back) = (self.fell.clone(), self.fell.clone());
        let pool = pool.before_acquire(move |connection, met| {
            let stale = is_stale(&taken, &met);
            Box::pin(async move { if stale { Err(gone()) } else { cleared(connection).await } })
        });
        pool.after_release(move |connection, met| {
            let stale = is_stale(&given_back, &met);
            Box::pin(async move { if stale { Err(gone()) } else { cleared(connection).await } })
        })
    }
}

/// Whether a connection is as old as the last silence.
fn is_stale(fell: &Fell, met: &PoolConnectionMetadata) -> bool {
    let fell = fell.lock().map_or(None, |fell| *fell);
    fell.is_some_and(|fell| met.age >= fell.elapsed())
}

fn gone() -> sqlx::Error {
    sqlx::Error::Io(std::io::Error::new(std::io::ErrorKind::TimedOut, "of a time when the server was silent"))
}

/// Rolls back whatever a connection stands in; it answers, or it is not used.
async fn cleared(connection: &mut PgConnection) -> Result<bool, sqlx::Error> {
    match timeout(ANSWER, connection.execute("ROLLBACK")).await {
        Ok(done) => done.map(|_| true),
        Err(_) => Err(gone()),
    }
}

async fn feeling(options: PgConnectOptions, told: watch::Sender<bool>, fell: Fell) {
    let mut connection = None;
    // monotonic: how long the server has been silent
    let mut answered = Instant::now();
    loop {
        tokio::select! {
            () = told.closed() => return,
            () = tokio::time::sleep(EVERY) => {}
        }
        if asked(&mut connection, &options).await {
            // monotonic: how long the server has been silent
            answered = Instant::now();
            if told.send_replace(false) {
                tracing::info!("the database answers again");
            }
        } else if answered.elapsed() >= SILENT_AFTER {
            if !told.send_replace(true) {
                tracing::error!("the database does not answer");
            }
            if let Ok(mut fell) = fell.lock() {
                // monotonic: connections as old as this are not used again
                *fell = Some(Instant::now());
            }
        }
    }
}

/// One question, over a new connection where the old one is broken.
async fn asked(kept: &mut Option<PgConnection>, options: &PgConnectOptions) -> bool {
    if let Some(mut connection) = kept.take()
        && matches!(timeout(ANSWER, connection.ping()).await, Ok(Ok(())))
    {
        *kept = Some(connection);
        return true;
    }
    match timeout(ANSWER, PgConnection::connect_with(options)).await {
        Ok(Ok(connection)) => *kept = Some(connection),
        _ => return false,
    }
    true
}
