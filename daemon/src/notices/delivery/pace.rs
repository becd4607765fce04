//! No more mails a second than the relay's keeper likes, however long the queue.

use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use tokio::time::{Instant, sleep_until};

/// The least time between two mails, over all connections.
#[derive(Debug)]
pub struct Pace {
    least: Duration,
    next: Mutex<Option<Instant>>,
}

impl Pace {
    /// At most so many mails a second; nought: as fast as it goes.
    pub fn of(most_per_second: u32) -> Pace {
        let least = Duration::from_secs(1).checked_div(most_per_second).unwrap_or_default();
        Pace { least, next: Mutex::new(None) }
    }

    /// Whether mails may go one right after the other.
    pub fn is_free(&self) -> bool {
        self.least.is_zero()
    }

    /// Waits for the next mail's turn.
    pub async fn turn(&self) {
        if !self.is_free() {
            sleep_until(self.take()).await;
        }
    }

    fn take(&self) -> Instant {
        let mut next = self.next.lock().unwrap_or_else(PoisonError::into_inner);
        // monotonic: spaces mails out, whatever the wall clock does
        let now = Instant::now();
        let turn = next.map_or(now, |next| next.max(now));
        *next = Some(turn + self.least);
        turn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_are_spaced_out_and_none_is_saved_up() {
        let pace = Pace::of(4);
        let turns: Vec<Instant> = (0..9).map(|_| pace.take()).collect();
        let gaps = turns.windows(2).map(|two| two[1] - two[0]);
        assert!(gaps.into_iter().all(|gap| gap == Duration::from_millis(250)));
        assert!(Pace::of(0).is_free() && !pace.is_free());
        let idle = Pace::of(1_000);
        let first = idle.take();
        std::thread::sleep(Duration::from_millis(20));
        let (second, third) = (idle.take(), idle.take());
        assert!(second - first >= Duration::from_millis(20), "an idle while is not made up for");
        assert_eq!(third - second, Duration::from_millis(1));
    }
}
