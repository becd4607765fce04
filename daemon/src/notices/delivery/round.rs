//! One round of sending: connections side by side, none of which waits for another.

use std::collections::{BTreeMap, VecDeque};
use std::future::pending;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use futures_util::future::join_all;
use tokio::sync::watch;
use tokio::time::sleep;

use super::record::record;
use super::{BoxFuture, Courier, Outbox, Pace, Stop};
use crate::clock::Clock;
use crate::notices::message::Envelope;
use crate::notices::smtp::{Delivery, Fault};
use crate::store::StoreError;
use crate::store::outbox::{InHand, Settled, State, Which};

/// The first connection finds out whether the relay is there; the others wait for it, but not for ever: it may have
/// met a server that keeps it waiting.
const HEAD_START: Duration = Duration::from_secs(3);
/// A quarter of a lease, so that one renewal may fail.
const RENEW_EVERY: Duration = Duration::from_secs(15);
/// How often a connection with nothing to do looks again while another one is still busy.
const LOOK_AGAIN: Duration = Duration::from_secs(2);
/// So many conversations in a row that broke, each with another notice: the relay is at fault.
const MOST_BROKEN: usize = 3;

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
    busy: AtomicUsize,
    broken: AtomicUsize,
    sent: AtomicUsize,
}

impl<O: Outbox> Round<'_, O> {
    /// Sends until nothing waits, over these couriers; where the relay was in trouble, the first one tries it alone.
    pub(super) async fn run<'c, C: Courier + 'c>(
        &self,
        couriers: impl ExactSizeIterator<Item = &'c mut C>,
        probing: bool,
    ) -> Result<Ended, StoreError> {
        let batch = if self.pace.is_free() && self.which == Which::Sound { 4 * couriers.len() } else { 1 };
        let shared = Shared {
            round: self,
            tray: tokio::sync::Mutex::default(),
            batch: u64::try_from(batch).unwrap_or(1),
            in_hand: Mutex::default(),
            line: watch::Sender::new(Line::Unknown),
            busy: AtomicUsize::new(0),
            broken: AtomicUsize::new(0),
            sent: AtomicUsize::new(0),
        };
        let mut work: Vec<BoxFuture<'_, Result<(), StoreError>>> = Vec::new();
        for (index, courier) in couriers.enumerate() {
            work.push(Box::pin(shared.work(courier, index, probing)));
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

impl<O: Outbox> Shared<'_, O> {
    async fn work<C: Courier>(&self, courier: &mut C, index: usize, probing: bool) -> Result<(), StoreError> {
        if index > 0 && !self.may_start(probing).await {
            return Ok(());
        }
        while !self.round.stop.is_told() && !self.is_down() {
            self.busy.fetch_add(1, Ordering::Relaxed);
            let more = self.send_next(courier).await;
            self.busy.fetch_sub(1, Ordering::Relaxed);
            if !more? && !self.another_is_busy().await {
                break;
            }
        }
        Ok(())
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

    /// One notice; false when there is none, or no relay for it.
    async fn send_next<C: Courier>(&self, courier: &mut C) -> Result<bool, StoreError> {
        let ready = tokio::select! {
            ready = courier.ready() => ready,
            () = self.round.stop.told() => return Ok(false),
        };
        if let Err(fault) = ready {
            self.found_down(fault);
            return Ok(false);
        }
        self.found_up();
        tokio::select! {
            () = self.round.pace.turn() => {}
            () = self.round.stop.told() => return Ok(false),
        }
        let Some(notice) = self.take().await? else { return Ok(false) };
        self.in_hand().insert(notice.id, notice.attempt);
        let sent = self.send(courier, &notice).await;
        self.in_hand().remove(&notice.id);
        self.sent.fetch_add(usize::from(sent?), Ordering::Relaxed);
        Ok(true)
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

    async fn send<C: Courier>(&self, courier: &mut C, notice: &InHand) -> Result<bool, StoreError> {
        let outbox = self.round.outbox;
        let envelope = match Envelope::new(self.round.from, &notice.recipient) {
            Ok(envelope) => envelope,
            Err(error) => {
                let error = error.to_string();
                tracing::error!(notice = %notice.number, error, "a notice cannot be addressed; it is set aside");
                outbox.settle(notice, Settled { state: State::Parked, next: None, error }).await?;
                return Ok(false);
            }
        };
        let begun = AtomicBool::new(false);
        let begin = || -> BoxFuture<'_, Result<(), String>> { Box::pin(self.begin(notice, &begun)) };
        let delivery = tokio::select! {
            biased;
            delivery = courier.carry(&envelope, &notice.bytes, &begin) => delivery,
            () = told_before(self.round.stop, &begun) => return self.put_back(notice).await.map(|()| false),
        };
        let unbegun = matches!(delivery, Delivery::Deferred { .. }) && !begun.load(Ordering::Relaxed);
        if unbegun && self.round.stop.is_told() {
            return self.put_back(notice).await.map(|()| false);
        }
        self.judge_line(&delivery);
        record(outbox, self.round.clock.now(), notice, delivery).await
    }

    /// Just before the body.
    async fn begin(&self, notice: &InHand, begun: &AtomicBool) -> Result<(), String> {
        if self.round.stop.is_told() {
            return Err("the daemon was told to stop".to_owned());
        }
        begun.store(true, Ordering::Relaxed);
        match self.round.outbox.begin_data(notice).await {
            Ok(true) => Ok(()),
            Ok(false) => Err("it is in other hands by now".to_owned()),
            Err(error) => Err(error.to_string()),
        }
    }

    /// Nothing of its body has gone out: it is as if it had not been taken.
    async fn put_back(&self, notice: &InHand) -> Result<(), StoreError> {
        let state = if notice.doubts > 0 { State::Uncertain } else { State::Deferred };
        let error = "the daemon was told to stop".to_owned();
        let end = Settled { state, next: Some(self.round.clock.now()), error };
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

    /// Whether to look again: another connection is still at work, and may be for long.
    async fn another_is_busy(&self) -> bool {
        if self.busy.load(Ordering::Relaxed) == 0 || self.round.stop.is_told() || self.is_down() {
            return false;
        }
        tokio::select! {
            () = sleep(LOOK_AGAIN) => true,
            () = self.round.stop.told() => false,
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

    fn found_up(&self) {
        self.line.send_if_modified(|line| {
            let news = matches!(line, Line::Unknown);
            if news {
                *line = Line::Up;
            }
            news
        });
    }

    /// A relay that another connection reaches is not down.
    fn found_down(&self, fault: Fault) {
        self.line.send_if_modified(|line| {
            let news = matches!(line, Line::Unknown);
            if news {
                *line = Line::Down(fault);
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

/// Told to stop while nothing of the body has gone out; after that the mail is seen through.
async fn told_before(stop: &Stop, begun: &AtomicBool) {
    stop.told().await;
    if begun.load(Ordering::Relaxed) {
        pending::<()>().await;
    }
}
