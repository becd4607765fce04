//! Told to stop.

use std::future::pending;

use tokio::sync::watch;

/// Whether to stop, and the moment it is told.
#[derive(Clone, Debug)]
pub struct Stop(Option<watch::Receiver<bool>>);

impl Stop {
    /// Nobody will tell.
    pub const fn never() -> Stop {
        Stop(None)
    }

    /// Whether it was told to stop.
    pub fn is_told(&self) -> bool {
        self.0.as_ref().is_some_and(|told| *told.borrow())
    }

    /// Waits until it is told to stop.
    pub async fn told(&self) {
        let Some(told) = &self.0 else { return pending().await };
        if told.clone().wait_for(|told| *told).await.is_err() {
            // Whoever could have told is gone without a word.
            pending::<()>().await;
        }
    }
}

impl From<watch::Receiver<bool>> for Stop {
    fn from(told: watch::Receiver<bool>) -> Stop {
        Stop(Some(told))
    }
}
