//! One connection at work: a mail goes out while the record that the last one was sent is still on its way to the disk.

use std::future::{pending, poll_fn};
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::Poll;

use super::{Line, Shared};
use crate::notices::delivery::record::{record, record_sent};
use crate::notices::delivery::{BoxFuture, Courier, Outbox, Stop};
use crate::notices::message::{Envelope, MessageError};
use crate::notices::smtp::{Delivery, Reply};
use crate::store::StoreError;
use crate::store::outbox::{InHand, Settled, State};

type Recording<'w> = BoxFuture<'w, Result<(), StoreError>>;

pub(super) struct Worker<'w, 'r, O, C> {
    shared: &'w Shared<'r, O>,
    courier: &'w mut C,
    /// Of the mail before. It was handed to the store before the next body is recorded, and the store keeps that order:
    /// so no more than one mail a connection stands between its two records.
    recording: Option<Recording<'w>>,
}

impl<'w, 'r, O: Outbox, C: Courier> Worker<'w, 'r, O, C> {
    pub(super) fn new(shared: &'w Shared<'r, O>, courier: &'w mut C) -> Self {
        Self { shared, courier, recording: None }
    }

    /// Sends until nothing waits, the relay takes nothing, or it is told to stop.
    pub(super) async fn run(mut self) -> Result<(), StoreError> {
        let shared = self.shared;
        shared.busy.send_modify(|busy| *busy += 1);
        let worked = loop {
            if shared.round.stop.is_told() || shared.is_down() {
                break Ok(());
            }
            match self.send_next().await {
                Ok(true) => {}
                Ok(false) => {
                    shared.busy.send_modify(|busy| *busy -= 1);
                    let again = shared.another_is_busy().await;
                    shared.busy.send_modify(|busy| *busy += 1);
                    if !again {
                        break Ok(());
                    }
                }
                Err(error) => break Err(error),
            }
        };
        let recorded = self.recorded().await;
        shared.busy.send_modify(|busy| *busy -= 1);
        recorded.and(worked)
    }

    /// One notice; false when there is none, or no relay for it.
    async fn send_next(&mut self) -> Result<bool, StoreError> {
        let stop = self.shared.round.stop;
        let ready = tokio::select! {
            ready = self.courier.ready() => ready,
            () = stop.told() => return Ok(false),
        };
        if let Err(fault) = ready {
            self.shared.found(Line::Down(fault));
            return Ok(false);
        }
        self.shared.found(Line::Up);
        tokio::select! {
            () = self.shared.round.pace.turn() => {}
            () = stop.told() => return Ok(false),
        }
        let Some(notice) = self.shared.take().await? else {
            self.recorded().await?;
            return Ok(false);
        };
        self.send(notice).await?;
        Ok(true)
    }

    async fn send(&mut self, notice: InHand) -> Result<(), StoreError> {
        let shared = self.shared;
        let done = match Envelope::new(shared.round.from, &notice.recipient) {
            Ok(_) if notice.bytes.is_empty() => {
                set_aside(shared, &notice, "its mail is gone".to_owned()).await
            }
            Ok(envelope) => match self.carry(&envelope, &notice).await? {
                Some(Delivery::Sent { reply }) => return self.begin_recording(notice, reply).await,
                Some(delivery) => {
                    shared.judge_line(&delivery);
                    record(shared.round.outbox, shared.round.clock.now(), &notice, delivery).await
                }
                None => shared.put_back(&notice).await,
            },
            Err(error) => set_aside(shared, &notice, unaddressable(&error)).await,
        };
        shared.in_hand().remove(&notice.id);
        done
    }

    /// Hands it over; none when it is put back instead, because it is time to stop.
    async fn carry(&mut self, envelope: &Envelope, notice: &InHand) -> Result<Option<Delivery>, StoreError> {
        let (shared, is_out) = (self.shared, AtomicBool::new(false));
        let stop = shared.round.stop;
        let begin = || -> BoxFuture<'_, Result<(), String>> { Box::pin(begin(shared, notice, &is_out)) };
        let mut carried = self.courier.carry(envelope, &notice.bytes, &begin);
        let delivery = loop {
            tokio::select! {
                biased;
                recorded = recorded(&mut self.recording), if self.recording.is_some() => recorded?,
                delivery = &mut carried => break delivery,
                () = told_before(stop, &is_out) => return Ok(None),
            }
        };
        drop(carried);
        let unbegun = matches!(delivery, Delivery::Deferred { .. }) && !is_out.load(Ordering::Relaxed);
        Ok((!unbegun || !stop.is_told()).then_some(delivery))
    }

    /// Hands the record over to the store, and does not wait for it.
    async fn begin_recording(&mut self, notice: InHand, reply: Reply) -> Result<(), StoreError> {
        self.recorded().await?;
        let shared = self.shared;
        shared.broken.store(0, Ordering::Relaxed);
        shared.sent.fetch_add(1, Ordering::Relaxed);
        let now = shared.round.clock.now();
        let mut recording: Recording<'w> = Box::pin(async move {
            let recorded = record_sent(shared.round.outbox, &notice, &reply.to_string(), now).await;
            shared.in_hand().remove(&notice.id);
            recorded
        });
        match poll_fn(|cx| Poll::Ready(recording.as_mut().poll(cx))).await {
            Poll::Ready(recorded) => recorded,
            Poll::Pending => {
                self.recording = Some(recording);
                Ok(())
            }
        }
    }

    async fn recorded(&mut self) -> Result<(), StoreError> {
        if self.recording.is_some() { recorded(&mut self.recording).await } else { Ok(()) }
    }
}

/// Waits for the record of the mail before.
async fn recorded(recording: &mut Option<Recording<'_>>) -> Result<(), StoreError> {
    let done = match recording.as_mut() {
        Some(running) => running.await,
        None => pending().await,
    };
    *recording = None;
    done
}

/// Just before the body.
async fn begin<O: Outbox>(shared: &Shared<'_, O>, notice: &InHand, begun: &AtomicBool) -> Result<(), String> {
    if shared.round.stop.is_told() {
        return Err("the daemon was told to stop".to_owned());
    }
    begun.store(true, Ordering::Relaxed);
    match shared.round.outbox.begin_data(notice).await {
        Ok(true) => Ok(()),
        Ok(false) => Err("it is in other hands by now".to_owned()),
        Err(error) => Err(error.to_string()),
    }
}

/// Told to stop while nothing of the body has gone out; after that the mail is seen through.
async fn told_before(stop: &Stop, begun: &AtomicBool) {
    stop.told().await;
    if begun.load(Ordering::Relaxed) {
        pending::<()>().await;
    }
}

fn unaddressable(error: &MessageError) -> String {
    format!("it cannot be addressed: {error}")
}

async fn set_aside<O: Outbox>(
    shared: &Shared<'_, O>,
    notice: &InHand,
    error: String,
) -> Result<(), StoreError> {
    tracing::error!(notice = %notice.number, error, "a notice is set aside for a person");
    let end = Settled { state: State::Parked, next: None, error };
    shared.round.outbox.settle(notice, end).await.map(drop)
}
