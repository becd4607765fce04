//! The stored outbox with a fault at one of its calls: it fails, before or after it did what it was asked, or the daemon
//! goes down there.

use std::future::{Future, pending};
use std::sync::atomic::{AtomicU32, Ordering::SeqCst};
use std::sync::{Arc, Mutex};

use daemon::notices::delivery::Outbox;
use daemon::sending::{Held, RelayTrouble};
use daemon::store::StoreError;
use daemon::store::outbox::{InHand, Settled, Shorter, StoredOutbox, Which};
use policies::zone::Instant;
use tokio::sync::Notify;

use crate::world::Ground;

#[derive(Clone, Copy, Debug)]
pub enum Trouble {
    Fails,
    /// It is done, and the answer is lost.
    AnswerLost,
    DownBefore,
    DownAfter,
}

/// Where the next drain meets trouble.
#[derive(Default)]
pub struct Plan {
    /// Calls left, and what happens then.
    next: Mutex<Option<(u32, Trouble)>>,
    in_flight: AtomicU32,
    down: Notify,
}

impl Plan {
    pub fn arm(&self, trouble: Option<(u32, Trouble)>) {
        *self.next.lock().unwrap() = trouble;
    }

    fn strike(&self) -> Option<Trouble> {
        let mut next = self.next.lock().unwrap();
        let (left, trouble) = (*next)?;
        *next = (left > 0).then(|| (left - 1, trouble));
        (left == 0).then_some(trouble)
    }

    /// The daemon goes down here: this never goes on, and whoever drives it drops it.
    pub async fn go_down<T>(&self) -> T {
        self.settled().await;
        self.down.notify_one();
        pending().await
    }

    pub async fn went_down(&self) {
        self.down.notified().await;
    }

    /// Waits for calls that are on their way, so that the same seed finds the same store whatever the threads do.
    pub async fn settled(&self) {
        while self.in_flight.load(SeqCst) > 0 {
            tokio::task::yield_now().await;
        }
    }
}

pub struct FaultyOutbox {
    pub inner: StoredOutbox,
    pub plan: Arc<Plan>,
    pub ground: Arc<Ground>,
}

impl FaultyOutbox {
    async fn through<T>(
        &self,
        trouble: Option<Trouble>,
        call: impl Future<Output = Result<T, StoreError>>,
    ) -> Result<T, StoreError> {
        match trouble {
            None => call.await,
            Some(Trouble::Fails) => Err(broken()),
            Some(Trouble::AnswerLost) => call.await.and(Err(broken())),
            Some(Trouble::DownBefore) => self.plan.go_down().await,
            Some(Trouble::DownAfter) => {
                let _ = call.await;
                self.plan.go_down().await
            }
        }
    }
}

fn broken() -> StoreError {
    let source = sea_orm::DbErr::Custom("simulated".to_owned());
    StoreError::Database { doing: "a simulated failure", source }
}

impl Outbox for FaultyOutbox {
    async fn held(&self) -> Result<Option<Held>, StoreError> {
        self.through(self.plan.strike(), Outbox::held(&self.inner)).await
    }

    async fn waiting(&self, now: Instant) -> Result<u64, StoreError> {
        self.through(self.plan.strike(), self.inner.waiting(now)).await
    }

    async fn claim(&self, which: Which, most: u64, now: Instant) -> Result<Vec<InHand>, StoreError> {
        self.through(self.plan.strike(), self.inner.claim(which, most, now)).await
    }

    async fn begin_data(&self, notice: &InHand) -> Result<bool, StoreError> {
        self.through(self.plan.strike(), self.inner.begin_data(notice)).await
    }

    /// A failure here is asked again after seconds of real time, so the daemon goes down instead.
    async fn sent(&self, notice: &InHand, reply: &str, at: Instant) -> Result<bool, StoreError> {
        let trouble = self.plan.strike().map(|trouble| match trouble {
            Trouble::Fails => Trouble::DownBefore,
            Trouble::AnswerLost => Trouble::DownAfter,
            other => other,
        });
        // A task of its own: it goes on where nobody waits for it, as the store's own writer does.
        let (inner, ground, notice) = (self.inner.clone(), Arc::clone(&self.ground), notice.clone());
        let (plan, reply) = (Arc::clone(&self.plan), reply.to_owned());
        let recorded = async move {
            plan.in_flight.fetch_add(1, SeqCst);
            let record = tokio::spawn(async move {
                let kept = inner.sent(&notice, &reply, at).await;
                if kept.is_ok() {
                    ground.relay.lock().unwrap().unrecorded.remove(&notice.bytes);
                }
                plan.in_flight.fetch_sub(1, SeqCst);
                kept
            });
            record.await.unwrap()
        };
        self.through(trouble, recorded).await
    }

    async fn settle(&self, notice: &InHand, end: Settled) -> Result<bool, StoreError> {
        self.through(self.plan.strike(), self.inner.settle(notice, end)).await
    }

    async fn shorten(&self, notice: &InHand, shorter: Shorter, now: Instant) -> Result<bool, StoreError> {
        self.through(self.plan.strike(), self.inner.shorten(notice, shorter, now)).await
    }

    async fn renew(&self, in_hand: &[(i64, i64)], now: Instant) -> Result<u64, StoreError> {
        self.inner.renew(in_hand, now).await
    }

    async fn relay_trouble(&self, trouble: Option<&RelayTrouble>) -> Result<(), StoreError> {
        self.through(self.plan.strike(), Outbox::relay_trouble(&self.inner, trouble)).await
    }
}
