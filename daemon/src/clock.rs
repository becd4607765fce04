//! The one place time comes from.

use jiff::Timestamp;
use policies::zone::Instant;

/// A source of the present moment.
pub trait Clock: Send + Sync {
    /// Now, to the microsecond.
    fn now(&self) -> Instant;
}

/// The machine's clock.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "this is the clock everything else is given")]
    fn now(&self) -> Instant {
        Timestamp::now().into()
    }
}

/// A clock that stands still, for the demo's stated date and for tests.
#[derive(Clone, Copy, Debug)]
pub struct StandingClock(pub Instant);

impl Clock for StandingClock {
    fn now(&self) -> Instant {
        self.0
    }
}
