//! What is written down of an attempt, and when the next one is.

use std::time::Duration;

use policies::zone::Instant;

use super::{MINUTE, Outbox};
use crate::notices::message::without_attachments;
use crate::notices::smtp::Delivery;
use crate::store::StoreError;
use crate::store::outbox::{AFTER_DOUBT, InHand, MOST_DOUBTS, Settled, Shorter, State};

/// Waits before the next attempt, in minutes; the last one repeats.
const BACKOFF_MINUTES: [i64; 5] = [1, 5, 15, 30, 60];
/// RFC 5321, 4.5.4.1: give up after four to five days.
const GIVE_UP_AFTER: i64 = 5 * 24 * 60 * MINUTE;
/// How often the outcome of a sending is written down before the store is given up.
const MOST_RECORDINGS: u32 = 30;

/// Writes down how an attempt ended.
pub(super) async fn record(
    outbox: &impl Outbox,
    now: Instant,
    notice: &InHand,
    delivery: Delivery,
) -> Result<(), StoreError> {
    match delivery {
        Delivery::Sent { reply } => record_sent(outbox, notice, &reply.to_string(), now).await,
        Delivery::TooLarge { reply, .. } => too_large(outbox, now, notice, reply.to_string()).await,
        delivery => {
            let end = end_of(notice, delivery, now);
            tell(notice, &end);
            outbox.settle(notice, end).await.map(drop)
        }
    }
}

/// What becomes of a notice that the relay did not take.
fn end_of(notice: &InHand, delivery: Delivery, now: Instant) -> Settled {
    let at = |next| Some(Instant(now.0 + next));
    match delivery {
        // Tried once more with the same bytes; after that a person decides.
        Delivery::Uncertain { error } if notice.doubts + 1 < MOST_DOUBTS => {
            Settled { state: State::Uncertain, next: at(AFTER_DOUBT), error }
        }
        Delivery::Uncertain { error } => Settled { state: State::Parked, next: None, error },
        Delivery::Deferred { cause, at_step } => {
            let too_old = now.0 - notice.due_at.0 > GIVE_UP_AFTER;
            let state = if too_old { State::Failed } else { State::Deferred };
            let next = Some(later(now, backoff(notice.attempt), notice.id));
            Settled { state, next, error: format!("at {at_step}: {cause}") }
        }
        Delivery::Refused { reply, at_step } | Delivery::TooLarge { reply, at_step } => {
            Settled { state: State::Failed, next: None, error: format!("refused at {at_step}: {reply}") }
        }
        Delivery::Sent { reply } => Settled { state: State::Sent, next: None, error: reply.to_string() },
    }
}

fn tell(notice: &InHand, end: &Settled) {
    let (number, recipient, error) = (&notice.number, &notice.recipient, &end.error);
    match end.state {
        State::Failed => {
            tracing::error!(notice = %number, %recipient, error, "a notice was refused for good");
        }
        State::Parked => {
            tracing::error!(notice = %number, %recipient, error, "a notice is set aside for a person");
        }
        State::Uncertain => tracing::warn!(notice = %number, error, "a notice may or may not have arrived"),
        _ => {
            let attempt = notice.attempt;
            tracing::warn!(notice = %number, error, attempt, "a notice waits for another attempt");
        }
    }
}

/// Once more at once without its attachments; what is too large without them waits for a person.
async fn too_large(
    outbox: &impl Outbox,
    now: Instant,
    notice: &InHand,
    reply: String,
) -> Result<(), StoreError> {
    let error = format!("too large for the mail server: {reply}");
    let Some(short) = without_attachments(&notice.bytes, &notice.message_id) else {
        let end = Settled { state: State::Parked, next: None, error };
        tell(notice, &end);
        return outbox.settle(notice, end).await.map(drop);
    };
    tracing::warn!(notice = %notice.number, error, "a notice goes out without its attachments");
    let shorter = Shorter { message_id: short.message_id, bytes: short.bytes, error };
    outbox.shorten(notice, shorter, now).await.map(drop)
}

/// A mail that the relay took must be known as sent, or it goes out twice: a store that is busy is asked again.
pub(super) async fn record_sent(
    outbox: &impl Outbox,
    notice: &InHand,
    reply: &str,
    now: Instant,
) -> Result<(), StoreError> {
    let mut asked = 1;
    let kept = loop {
        match outbox.sent(notice, reply, now).await {
            Err(error) if asked < MOST_RECORDINGS => {
                tracing::warn!(%error, asked, "a sent notice cannot be noted yet");
                asked += 1;
                tokio::time::sleep(Duration::from_secs(2)).await;
            }
            recorded => break recorded?,
        }
    };
    if kept {
        tracing::info!(notice = %notice.number, "sent");
    } else {
        tracing::warn!(notice = %notice.number, "sent, though its lease had run out: it may go out twice");
    }
    Ok(())
}

/// Minutes until the next attempt, at the least.
fn backoff(attempt: i64) -> i64 {
    let index = usize::try_from(attempt - 1).unwrap_or(0).min(BACKOFF_MINUTES.len() - 1);
    BACKOFF_MINUTES[index]
}

/// So many minutes later, and up to a fifth more, so that retries do not march in step; never earlier. What sets one
/// retry apart from another is drawn from its row and the microsecond, so that a simulation replays alike.
pub(super) fn later(now: Instant, minutes: i64, row: i64) -> Instant {
    let least = minutes * MINUTE;
    Instant(now.0 + least + least / 5 * thousandth(now.0 ^ row.rotate_left(32)) / 1_000)
}

/// `SplitMix64`, from 0 to 999.
fn thousandth(seed: i64) -> i64 {
    let mut mixed = seed.cast_unsigned().wrapping_add(0x9E37_79B9_7F4A_7C15);
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    i64::try_from((mixed ^ (mixed >> 31)) % 1_000).unwrap_or_default()
}
