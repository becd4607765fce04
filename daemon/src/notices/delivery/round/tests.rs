//! Connections side by side, over an outbox in memory.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use policies::zone::Instant;
use tokio::sync::Notify;

use crate::clock::StandingClock;
use crate::notices::delivery::{Begin, BoxFuture, Courier, Outbox, Pace, Post, Stop};
use crate::notices::message::Envelope;
use crate::notices::smtp::{Delivery, Fault, Reply};
use crate::sending::{Held, RelayTrouble};
use crate::store::StoreError;
use crate::store::outbox::{InHand, Settled, Shorter, Which};

#[derive(Default)]
struct InMemory {
    waits: Mutex<Vec<InHand>>,
    claims: AtomicUsize,
    sent: AtomicUsize,
    /// Somebody asked, and nothing waited.
    empty: Notify,
}

impl Outbox for &InMemory {
    async fn held(&self) -> Result<Option<Held>, StoreError> {
        Ok(None)
    }

    async fn waiting(&self, _: Instant) -> Result<u64, StoreError> {
        // More than there are, as where another daemon takes the rest: every connection starts.
        let waits = self.waits.lock().unwrap().len() as u64;
        Ok(if waits > 0 { 8 } else { 0 })
    }

    async fn claim(&self, which: Which, most: u64, _: Instant) -> Result<Vec<InHand>, StoreError> {
        assert_eq!(which, Which::Sound);
        self.claims.fetch_add(1, Ordering::SeqCst);
        let mut waits = self.waits.lock().unwrap();
        let most = waits.len().min(usize::try_from(most).unwrap());
        if most == 0 {
            self.empty.notify_one();
        }
        Ok(waits.drain(..most).collect())
    }

    async fn begin_data(&self, _: &InHand) -> Result<bool, StoreError> {
        Ok(true)
    }

    async fn sent(&self, _: &InHand, _: &str, _: Instant) -> Result<bool, StoreError> {
        self.sent.fetch_add(1, Ordering::SeqCst);
        Ok(true)
    }

    async fn settle(&self, notice: &InHand, end: Settled) -> Result<bool, StoreError> {
        panic!("{}: {end:?}", notice.number);
    }

    async fn shorten(&self, notice: &InHand, _: Shorter, _: Instant) -> Result<bool, StoreError> {
        panic!("{} is too large", notice.number);
    }

    async fn renew(&self, in_hand: &[(i64, i64)], _: Instant) -> Result<u64, StoreError> {
        Ok(in_hand.len() as u64)
    }

    async fn relay_trouble(&self, _: Option<&RelayTrouble>) -> Result<(), StoreError> {
        Ok(())
    }
}

/// Has its mail under way until another connection found nothing more to do.
struct Slow<'o>(&'o InMemory);

impl Courier for Slow<'_> {
    async fn ready(&mut self) -> Result<(), Fault> {
        Ok(())
    }

    fn carry<'c>(&'c mut self, _: &'c Envelope, _: &'c [u8], _: Begin<'c>) -> BoxFuture<'c, Delivery> {
        Box::pin(async {
            self.0.empty.notified().await;
            tokio::task::yield_now().await;
            Delivery::Sent { reply: Reply { code: 250, text: "2.0.0 Ok".to_owned() } }
        })
    }

    async fn rest(&mut self) {}
}

fn notice() -> InHand {
    InHand {
        id: 1,
        number: "N-2026-0001".to_owned(),
        recipient: "mechanic@bay.example".to_owned(),
        urgent: false,
        message_id: "<1@service.example>".to_owned(),
        bytes: b"bytes".to_vec(),
        attempt: 1,
        doubts: 0,
        crashes: 0,
        due_at: Instant(0),
    }
}

/// A connection that found nothing waits for those at work, and does not look again once they are done: it would keep
/// the round open for that long.
#[tokio::test]
async fn a_round_is_over_when_the_last_connection_is_done() {
    let outbox = InMemory { waits: Mutex::new(vec![notice()]), ..InMemory::default() };
    let couriers = vec![Slow(&outbox), Slow(&outbox)];
    let clock = std::sync::Arc::new(StandingClock(Instant(0)));
    let mut post = Post::new(&outbox, couriers, clock, "tallow@service.example".to_owned(), Pace::of(0));
    assert_eq!(post.drain(&Stop::never()).await.unwrap().sent, 1);
    assert_eq!(outbox.sent.load(Ordering::SeqCst), 1);
    // The mail; nothing, by the one that waits; nothing, by the one that sent it.
    assert_eq!(outbox.claims.load(Ordering::SeqCst), 3);
}
