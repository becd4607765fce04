//! A store with finished mail in its outbox, a clock that a test moves, and the daemon's own post over it.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use daemon::clock::Clock;
use daemon::notices::delivery::{Drained, Pace, Post, SmtpCourier, Stop};
use daemon::notices::smtp::SmtpSettings;
use daemon::store::Store;
use daemon::store::outbox::{Fresh, Listed, StoredOutbox};
use policies::zone::Instant;

use crate::outbox_room::{FROM, NOW, OutboxRoom};
pub use crate::outbox_room::{fresh, relay};

/// A clock that stands until a test moves it on.
pub struct SetClock(AtomicI64);

impl Clock for SetClock {
    fn now(&self) -> Instant {
        Instant(self.0.load(Ordering::SeqCst))
    }
}

impl SetClock {
    pub fn pass_seconds(&self, seconds: i64) {
        self.0.fetch_add(seconds * 1_000_000, Ordering::SeqCst);
    }

    pub fn pass(&self, minutes: i64) {
        self.pass_seconds(minutes * 60);
    }
}

pub struct PostRoom {
    pub outbox: OutboxRoom,
    pub store: Store,
    pub clock: Arc<SetClock>,
}

impl PostRoom {
    /// One notice for each of these, in their order, due now.
    pub async fn with(recipients: &[&str]) -> PostRoom {
        let outbox = OutboxRoom::open(tempfile::tempdir().unwrap()).await;
        let notices: Vec<Fresh> =
            recipients.iter().enumerate().map(|(n, to)| fresh(n + 1, to, 500)).collect();
        outbox.enqueue(&notices).await;
        let store = outbox.store.clone();
        PostRoom { outbox, store, clock: Arc::new(SetClock(AtomicI64::new(NOW.0))) }
    }

    pub fn post(&self, relay: &SmtpSettings, connections: usize) -> Post<StoredOutbox, SmtpCourier> {
        self.paced(relay, connections, 0)
    }

    pub fn paced(
        &self,
        relay: &SmtpSettings,
        connections: usize,
        most_per_second: u32,
    ) -> Post<StoredOutbox, SmtpCourier> {
        let outbox = self.store.outbox("test".into());
        let couriers = SmtpCourier::several(relay, connections);
        Post::new(outbox, couriers, self.clock.clone(), FROM.into(), Pace::of(most_per_second))
    }

    /// Sends what is due now, by a post that knows nothing yet.
    pub async fn drain(&self, relay: &SmtpSettings, connections: usize) -> Drained {
        self.post(relay, connections).drain(&Stop::never()).await.unwrap()
    }

    /// Every notice, oldest first.
    pub async fn notices(&self) -> Vec<Listed> {
        let mut notices = self.store.notices(None, 10_000).await.unwrap();
        notices.reverse();
        notices
    }

    pub async fn states(&self) -> Vec<String> {
        self.notices().await.into_iter().map(|notice| notice.state).collect()
    }

    /// The frozen bytes of the notice to one recipient.
    pub async fn frozen(&self, recipient: &str) -> Vec<u8> {
        let all = self.store.frozen_notices().await.unwrap();
        all.into_iter().find(|(_, to, _)| to == recipient).unwrap().2
    }
}

/// Message-ID and Date of a mail.
pub fn id_and_date(mail: &[u8]) -> (String, String) {
    let parsed = mail_parser::MessageParser::new().parse(mail).unwrap();
    let raw = |name: &str| parsed.header_raw(name.to_owned()).unwrap().trim().to_owned();
    (raw("Message-ID"), raw("Date"))
}
