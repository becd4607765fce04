//! A clock that the simulation moves, and that can bring whoever reads it down at a chosen reading.

use std::panic::resume_unwind;
use std::sync::atomic::{AtomicI64, Ordering::SeqCst};

use daemon::clock::Clock;
use policies::zone::Instant;

const NEVER: i64 = i64::MAX / 2;

/// The simulated machine's clock.
pub struct SimulatedClock {
    now: AtomicI64,
    /// Readings left until the reader goes down.
    fuse: AtomicI64,
}

/// What unwinds where a daemon goes down in the middle of a sweep.
pub struct WentDown;

impl SimulatedClock {
    pub fn at(now: Instant) -> SimulatedClock {
        SimulatedClock { now: AtomicI64::new(now.0), fuse: AtomicI64::new(NEVER) }
    }

    pub fn set(&self, now: i64) {
        self.now.store(now, SeqCst);
    }

    /// Now, without danger.
    pub fn reads(&self) -> i64 {
        self.now.load(SeqCst)
    }

    pub fn arm(&self, readings: i64) {
        self.fuse.store(readings, SeqCst);
    }

    pub fn disarm(&self) {
        self.fuse.store(NEVER, SeqCst);
    }
}

impl Clock for SimulatedClock {
    fn now(&self) -> Instant {
        if self.fuse.fetch_sub(1, SeqCst) == 1 {
            self.disarm();
            resume_unwind(Box::new(WentDown));
        }
        Instant(self.reads())
    }
}
