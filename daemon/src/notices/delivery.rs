//! From the outbox to the relay: claim, send, record, over one or more connections at once.

mod courier;
mod pace;
mod pause;
mod record;
mod round;
mod settings;
mod stop;

use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

use policies::zone::Instant;

use super::message::Envelope;
use super::smtp::{Delivery, Fault};
use crate::clock::Clock;
use crate::sending::{self, Held, RelayTrouble};
use crate::store::StoreError;
use crate::store::outbox::{InHand, Settled, Shorter, StoredOutbox, Which};

pub use courier::SmtpCourier;
pub use pace::Pace;
use pause::Pause;
use round::Round;
pub use settings::{quick_steps, settings};
pub use stop::Stop;

/// A minute in microseconds.
const MINUTE: i64 = 60 * 1_000_000;

/// What delivery asks of the store.
pub trait Outbox: Send + Sync {
    /// Why nothing may be sent now; none: sending goes on.
    fn held(&self) -> impl Future<Output = Result<Option<Held>, StoreError>> + Send;
    /// How many notices wait to be taken in hand.
    fn waiting(&self, now: Instant) -> impl Future<Output = Result<u64, StoreError>> + Send;
    /// Takes notices in hand whose time has come, urgent ones first, then the oldest, and counts the attempt.
    fn claim(
        &self,
        which: Which,
        most: u64,
        now: Instant,
    ) -> impl Future<Output = Result<Vec<InHand>, StoreError>> + Send;
    /// Notes that the body is about to go out; false when the notice is in other hands by now.
    fn begin_data(&self, notice: &InHand) -> impl Future<Output = Result<bool, StoreError>> + Send;
    /// Notes that the relay took it; false when it is in other hands by now.
    fn sent(
        &self,
        notice: &InHand,
        reply: &str,
        at: Instant,
    ) -> impl Future<Output = Result<bool, StoreError>> + Send;
    /// Notes how an attempt ended that the relay did not answer for; false when it is in other hands by now.
    fn settle(&self, notice: &InHand, end: Settled) -> impl Future<Output = Result<bool, StoreError>> + Send;
    /// Puts a shorter message in its place; false when it is in other hands by now.
    fn shorten(
        &self,
        notice: &InHand,
        shorter: Shorter,
        now: Instant,
    ) -> impl Future<Output = Result<bool, StoreError>> + Send;
    /// Says that these are still in hand, by row and attempt; how many were.
    fn renew(
        &self,
        in_hand: &[(i64, i64)],
        now: Instant,
    ) -> impl Future<Output = Result<u64, StoreError>> + Send;
    /// Remembers, for people to read, that the relay takes nothing; or that it does again.
    fn relay_trouble(
        &self,
        trouble: Option<&RelayTrouble>,
    ) -> impl Future<Output = Result<(), StoreError>> + Send;
}

/// Something yet to come, on whichever thread.
pub type BoxFuture<'f, T> = Pin<Box<dyn Future<Output = T> + Send + 'f>>;
/// What is done just before the body goes out; why it must not, otherwise.
pub type Begin<'b> = &'b (dyn Fn() -> BoxFuture<'b, Result<(), String>> + Send + Sync);

/// One connection to the relay.
pub trait Courier: Send {
    /// Sees to it that a mail can be handed over. A fault is the relay's: no notice is touched by it.
    fn ready(&mut self) -> impl Future<Output = Result<(), Fault>> + Send;
    /// Hands one mail over, and tells how far it got. `begin` is awaited when the relay waits for the body and nothing
    /// of it has gone out; if it fails, nothing does.
    fn carry<'c>(
        &'c mut self,
        envelope: &'c Envelope,
        bytes: &'c [u8],
        begin: Begin<'c>,
    ) -> BoxFuture<'c, Delivery>;
    /// Nothing more to hand over for now.
    fn rest(&mut self) -> impl Future<Output = ()> + Send;
}

/// Sends what waits in an outbox, over as many connections as it has couriers.
pub struct Post<O, C> {
    outbox: O,
    couriers: Vec<C>,
    clock: Arc<dyn Clock>,
    from: String,
    pace: Pace,
    pause: Pause,
}

/// What one drain did.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Drained {
    /// How many the relay took.
    pub sent: usize,
    /// Why it was not tried, or not to its end: sending is held, or the relay takes nothing.
    pub hindered: Option<String>,
}

impl<O: Outbox, C: Courier> Post<O, C> {
    /// A post that sends under this address.
    pub fn new(outbox: O, couriers: Vec<C>, clock: Arc<dyn Clock>, from: String, pace: Pace) -> Self {
        Self { outbox, couriers, clock, from, pace, pause: Pause::default() }
    }

    /// Sends what waits, until nothing more is due now or it is told to stop.
    ///
    /// # Errors
    /// The store's failure.
    pub async fn drain(&mut self, stop: &Stop) -> Result<Drained, StoreError> {
        let mut drained = Drained::default();
        for which in [Which::Sound, Which::Suspect] {
            if drained.hindered.is_some() || stop.is_told() {
                break;
            }
            self.drain_some(which, stop, &mut drained).await?;
        }
        for courier in &mut self.couriers {
            courier.rest().await;
        }
        Ok(drained)
    }

    async fn drain_some(
        &mut self,
        which: Which,
        stop: &Stop,
        drained: &mut Drained,
    ) -> Result<(), StoreError> {
        let now = self.clock.now();
        let waiting = self.outbox.waiting(now).await?;
        if waiting == 0 {
            return Ok(());
        }
        if let Some(why) = self.hindered(now).await? {
            drained.hindered = Some(why);
            return Ok(());
        }
        let most = usize::try_from(waiting).unwrap_or(usize::MAX);
        let couriers = match which {
            Which::Sound => self.couriers.len().min(most),
            Which::Suspect => 1,
        };
        let probing = self.pause.is_in_trouble();
        let round = Round {
            outbox: &self.outbox,
            clock: &*self.clock,
            from: &self.from,
            pace: &self.pace,
            stop,
            which,
        };
        let ended = round.run(self.couriers.iter_mut().take(couriers), probing).await?;
        drained.sent += ended.sent;
        drained.hindered = self.pause.note(&self.outbox, ended.line, self.clock.now()).await?;
        Ok(())
    }

    async fn hindered(&self, now: Instant) -> Result<Option<String>, StoreError> {
        if let Some(held) = self.outbox.held().await? {
            return Ok(Some(format!("sending is held: {}", held.why)));
        }
        Ok(self.pause.stands(now))
    }
}

impl Outbox for StoredOutbox {
    async fn held(&self) -> Result<Option<Held>, StoreError> {
        sending::held(self.store()).await
    }

    async fn waiting(&self, now: Instant) -> Result<u64, StoreError> {
        self.waiting(now).await
    }

    async fn claim(&self, which: Which, most: u64, now: Instant) -> Result<Vec<InHand>, StoreError> {
        self.claim(which, most, now).await
    }

    async fn begin_data(&self, notice: &InHand) -> Result<bool, StoreError> {
        self.begin_data(notice).await
    }

    async fn sent(&self, notice: &InHand, reply: &str, at: Instant) -> Result<bool, StoreError> {
        self.sent(notice, reply, at).await
    }

    async fn settle(&self, notice: &InHand, end: Settled) -> Result<bool, StoreError> {
        self.settle(notice, end).await
    }

    async fn shorten(&self, notice: &InHand, shorter: Shorter, now: Instant) -> Result<bool, StoreError> {
        self.shorten(notice, shorter, now).await
    }

    async fn renew(&self, in_hand: &[(i64, i64)], now: Instant) -> Result<u64, StoreError> {
        self.renew(in_hand, now).await
    }

    async fn relay_trouble(&self, trouble: Option<&RelayTrouble>) -> Result<(), StoreError> {
        sending::note_relay_trouble(self.store(), trouble).await
    }
}
