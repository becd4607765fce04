//! One round of sending: connections side by side, none of which waits for another.

#[cfg(test)]
mod tests;
mod worker;

use std::collections::{BTreeMap, VecDeque};
use std::future::pending;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use futures_util::future::join_all;
use tokio::sync::watch;
use tokio::time::sleep;

use super::{BoxFuture, Courier, Outbox, Pace, Stop};
use crate::clock::Clock;
use crate::notices::smtp::{Delivery, Fault};
use crate::store::StoreError;
use crate::store::outbox::{InHand, Settled, State, Which};
use worker::Worker;

/// The first connection finds out whether the relay is there; the others wait for it, but not for ever: it may have
/// met a server that keeps it waiting.
const HEAD_START: Duration = Duration::from_secs(3);
/// A quarter of a lease, so that one renewal may fail.
const RENEW_EVERY: Duration = Duration::from_secs(15);
/// How often a connection with nothing to do looks again while another one is still busy.
const LOOK_AGAIN: Duration = Duration::from_secs(2);
/// So many conversations in a row that broke, each with another notice: the relay is at fault.
const MOST_BROKEN: usize = 3;
/// Where mails may go one right after the other, so many a connection are claimed in one commit.
const AT_ONCE: usize = 4;

/// What a round runs on.
pub(super) struct Round<'r, O> {
    pub(super) outbox: &'r O,
    pub(super) clock: &'r dyn Clock,
    pub(super) from: &'r str,
    pub(super) pace: &'r Pace,
    pub(super) stop: &'r Stop,
    pub(super) which: Which,
}

/// How the relay was found.
#[derive(Clone, Debug)]
pub(super) enum Line {
    Unknown,
    Up,
    Down(Fault),
}

/// What a round did.
pub(super) struct Ended {
    pub(super) sent: usize,
    pub(super) line: Line,
}

/// What its connections share.
struct Shared<'r, O> {
    round: &'r Round<'r, O>,
    /// Claimed together, and not yet in anybody's hand.
    tray: tokio::sync::Mutex<VecDeque<InHand>>,
    batch: u64,
    in_hand: Mutex<BTreeMap<i64, i64>>,
    line: watch::Sender<Line>,
    /// Connections with something to do.
    busy: watch::Sender<usize>,
    /// Conversations in a row that broke.
    broken: AtomicUsize,
    sent: AtomicUsize,
}

impl<'r, O: Outbox> Round<'r, O> {
    /// Sends until nothing waits, over these couriers; where the relay was in trouble, the first one tries it alone.
    pub(super) async fn run<'c, C: Courier + 'c>(
        &'r self,
        couriers: impl ExactSizeIterator<Item = &'c mut C>,
        probing: bool,
    ) -> Result<Ended, StoreError> {
        let shared = Shared::new(self, couriers.len());
        let mut work: Vec<BoxFuture<'_, Result<(), StoreError>>> = Vec::new();
        for (index, courier) in couriers.enumerate() {
            let shared = &shared;
            work.push(Box::pin(async move {
                if index == 0 || shared.may_start(probing).await {
                    Worker::new(shared, courier).run().await
                } else {
                    Ok(())
                }
            }));
        }
        let ended = tokio::select! {
            ended = join_all(work) => ended.into_iter().collect::<Result<Vec<()>, _>>(),
            () = shared.renew() => Ok(Vec::new()),
        };
        shared.let_go().await?;
        ended?;
        Ok(Ended { sent: shared.sent.load(Ordering::Relaxed), line: shared.line.borrow().clone() })
    }
}

impl<'r, O: Outbox> Shared<'r, O> {
    fn new(round: &'r Round<'r, O>, couriers: usize) -> Self {
        let free = round.pace.is_free() && round.which == Which::Sound;
        let batch = if free { AT_ONCE * couriers } else { 1 };
        Self {
            round,
            tray: tokio::sync::Mutex::default(),
            batch: u64::try_from(batch).unwrap_or(1),
            in_hand: Mutex::default(),
            line: watch::Sender::new(Line::Unknown),
            busy: watch::Sender::new(0),
            broken: AtomicUsize::new(0),
            sent: AtomicUsize::new(0),
        }
    }

    /// Waits for the first connection's word.
    async fn may_start(&self, probing: bool) -> bool {
        let mut line = self.line.subscribe();
        let known = async { line.wait_for(|line| !matches!(line, Line::Unknown)).await.is_ok() };
        let head_start = async { if probing { pending().await } else { sleep(HEAD_START).await } };
        tokio::select! {
            known = known => known && !self.is_down(),
            () = head_start => true,
            () = self.round.stop.told() => false,
        }
    }

    /// The next notice, claimed now or with others before.
    async fn take(&self) -> Result<Option<InHand>, StoreError> {
        let mut tray = self.tray.lock().await;
        if tray.is_empty() && self.round.outbox.held().await?.is_none() {
            let claimed =
                self.round.outbox.claim(self.round.which, self.batch, self.round.clock.now()).await?;
            self.in_hand().extend(claimed.iter().map(|notice| (notice.id, notice.attempt)));
            tray.extend(claimed);
        }
        Ok(tray.pop_front())
    }

    /// Nothing of its body has gone out: it is as if it had not been taken.
    async fn put_back(&self, notice: &InHand) -> Result<(), StoreError> {
        let error = "the daemon was told to stop".to_owned();
        let end = Settled { state: State::Deferred, next: Some(self.round.clock.now()), error };
        self.round.outbox.settle(notice, end).await.map(drop)
    }

    /// Puts back what was claimed with others and never sent.
    async fn let_go(&self) -> Result<(), StoreError> {
        let left = std::mem::take(&mut *self.tray.lock().await);
        for notice in &left {
            self.put_back(notice).await?;
        }
        Ok(())
    }

    /// Whether to look again: another connection is still at work, and may be for long. Once none is, nothing waits.
    async fn another_is_busy(&self) -> bool {
        let (mut busy, stop) = (self.busy.subscribe(), self.round.stop);
        if stop.is_told() || self.is_down() {
            return false;
        }
        tokio::select! {
            biased;
            _ = busy.wait_for(|busy| *busy == 0) => false,
            () = stop.told() => false,
            () = sleep(LOOK_AGAIN) => true,
        }
    }

    /// Says again and again what is in hand. Never ends.
    async fn renew(&self) {
        loop {
            sleep(RENEW_EVERY).await;
            let in_hand: Vec<_> = self.in_hand().iter().map(|(id, attempt)| (*id, *attempt)).collect();
            if let Err(error) = self.round.outbox.renew(&in_hand, self.round.clock.now()).await {
                tracing::warn!(%error, "leases of notices in hand cannot be renewed");
            }
        }
    }

    fn is_down(&self) -> bool {
        matches!(*self.line.borrow(), Line::Down(_))
    }

    /// The first word stands: a relay that another connection reaches is not down.
    fn found(&self, found: Line) {
        self.line.send_if_modified(|line| {
            let news = matches!(line, Line::Unknown);
            if news {
                *line = found;
            }
            news
        });
    }

    /// A relay that breaks off with one notice after another is at fault, not the notices.
    fn judge_line(&self, delivery: &Delivery) {
        let Some(fault) = delivery.broken_off() else {
            self.broken.store(0, Ordering::Relaxed);
            return;
        };
        if self.broken.fetch_add(1, Ordering::Relaxed) + 1 >= MOST_BROKEN {
            self.line.send_replace(Line::Down(fault));
        }
    }

    fn in_hand(&self) -> MutexGuard<'_, BTreeMap<i64, i64>> {
        self.in_hand.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
