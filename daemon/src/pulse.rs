//! How this process fares: how long it has run, and when it last swept. It is this process's own and is not kept.

use std::sync::{Mutex, OnceLock, PoisonError};
use std::time::{Duration, Instant};

static STARTED: OnceLock<Instant> = OnceLock::new();
static SWEPT: Mutex<Option<(Instant, Duration)>> = Mutex::new(None);

/// The moment now, for durations; the first is taken as the start.
pub fn begin() -> Instant {
    // monotonic: how long the process runs, and how long a sweep takes
    let now = Instant::now();
    STARTED.get_or_init(|| now);
    now
}

/// Notes that a sweep begun then has ended.
pub fn swept(begun: Instant) {
    let now = begin();
    *SWEPT.lock().unwrap_or_else(PoisonError::into_inner) = Some((now, now - begun));
}

/// How long ago the last sweep ended, and how long it took; none where there was none yet.
pub fn last_sweep() -> Option<(Duration, Duration)> {
    let last = *SWEPT.lock().unwrap_or_else(PoisonError::into_inner);
    last.map(|(at, took)| (begin() - at, took))
}

/// How long the process has run.
pub fn uptime() -> Duration {
    let now = begin();
    STARTED.get().map_or(Duration::ZERO, |started| now - *started)
}
