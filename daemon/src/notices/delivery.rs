//! From the outbox to the relay: claim, send, record, one notice at a time.

use std::hash::{BuildHasher, Hasher, RandomState};
use std::time::Duration;

use anyhow::Context;
use policies::zone::Instant;
use secrecy::SecretString;

use super::message::Envelope;
use super::smtp::{Delivery, SmtpSettings, StepLimits, Tls, deliver};
use crate::clock::Clock;
use crate::config::Smtp;
use crate::store::outbox::{InHand, State};
use crate::store::{Store, StoreError};

/// Waits before the next attempt, in minutes; the last one repeats.
const BACKOFF_MINUTES: [i64; 6] = [1, 5, 15, 30, 60, 60];
const MINUTE: i64 = 60 * 1_000_000;
/// RFC 5321, 4.5.4.1: give up after four to five days.
const GIVE_UP_AFTER: i64 = 5 * 24 * 60 * MINUTE;
/// Attempts in five days by the backoff, and some.
const MOST_ATTEMPTS: i64 = 200;
/// How often the outcome of a sending is written down before the store is given up.
const MOST_RECORDINGS: u32 = 30;

/// Reads the relay's settings, its password from a file of its own.
///
/// # Errors
/// An unknown word for TLS, or a password file that cannot be read.
pub fn settings(smtp: &Smtp, steps: StepLimits) -> anyhow::Result<SmtpSettings> {
    let tls = match smtp.tls.as_str() {
        "none" => Tls::None,
        "starttls" => Tls::StartTls,
        "implicit" => Tls::Implicit,
        other => {
            anyhow::bail!("smtp.tls is \"{other}\"; give starttls, implicit, or none (to loopback only)")
        }
    };
    let password = smtp.password_file.as_ref().map(|file| {
        let text = std::fs::read_to_string(file)
            .with_context(|| format!("reading the password file {}", file.display()))?;
        anyhow::Ok(SecretString::from(text.trim_end_matches(['\r', '\n']).to_owned()))
    });
    Ok(SmtpSettings {
        host: smtp.host.clone(),
        port: smtp.port,
        tls,
        ca_file: smtp.ca_file.clone(),
        user: smtp.user.clone(),
        password: password.transpose()?,
        hello_name: smtp.hello.clone(),
        steps,
    })
}

/// Sends what waits, until nothing more is due now or `stop` says so; how many the relay took.
///
/// # Errors
/// The store's failure.
pub async fn drain(
    store: &Store,
    clock: &dyn Clock,
    relay: &SmtpSettings,
    from: &str,
    stop: impl Fn() -> bool,
) -> Result<usize, StoreError> {
    let mut sent = 0;
    while !stop()
        && let Some(notice) = store.claim(clock.now()).await?
    {
        sent += usize::from(send(store, clock, relay, from, &notice).await?);
    }
    Ok(sent)
}

async fn send(
    store: &Store,
    clock: &dyn Clock,
    relay: &SmtpSettings,
    from: &str,
    notice: &InHand,
) -> Result<bool, StoreError> {
    let envelope = match Envelope::new(from, &notice.recipient) {
        Ok(envelope) => envelope,
        Err(error) => {
            store.settle(notice.id, notice.attempt, State::Parked, None, &error.to_string()).await?;
            tracing::error!(notice = %notice.number, %error, "a notice cannot be addressed; it is set aside");
            return Ok(false);
        }
    };
    let begin = || async {
        match store.begin_data(notice.id, notice.attempt).await {
            Ok(true) => Ok(()),
            Ok(false) => Err("it is in other hands by now".to_owned()),
            Err(error) => Err(error.to_string()),
        }
    };
    let delivery = deliver(relay, &envelope, &notice.bytes, begin).await;
    record(store, clock.now(), notice, delivery).await
}

async fn record(
    store: &Store,
    now: Instant,
    notice: &InHand,
    delivery: Delivery,
) -> Result<bool, StoreError> {
    let (id, attempt) = (notice.id, notice.attempt);
    match delivery {
        Delivery::Sent { reply } => {
            record_sent(store, id, attempt, &reply.to_string(), now).await?;
            tracing::info!(notice = %notice.number, "sent");
            return Ok(true);
        }
        Delivery::Refused { reply, at_step } => {
            let error = format!("refused at {at_step}: {reply}");
            store.settle(id, attempt, State::Failed, None, &error).await?;
            tracing::error!(notice = %notice.number, recipient = %notice.recipient, error, "a notice was refused for good");
        }
        Delivery::Uncertain { error } => {
            // Tried once more with the same bytes; after that a person decides.
            let state = if notice.was_uncertain { State::Parked } else { State::Uncertain };
            store.settle(id, attempt, state, Some(now.0 + 15 * MINUTE), &error).await?;
            tracing::warn!(notice = %notice.number, error, "a notice may or may not have arrived");
        }
        Delivery::Deferred { cause, at_step } => {
            let error = format!("at {at_step}: {cause}");
            let too_old = now.0 - notice.composed_at.0 > GIVE_UP_AFTER || attempt >= MOST_ATTEMPTS;
            let state = if too_old { State::Failed } else { State::Deferred };
            store.settle(id, attempt, state, Some(now.0 + wait(id, attempt)), &error).await?;
            tracing::warn!(notice = %notice.number, error, attempt, "a notice waits for another attempt");
        }
    }
    Ok(false)
}

/// A mail that the relay took must be known as sent, or it goes out twice: a store that is busy is asked again.
async fn record_sent(
    store: &Store,
    id: i64,
    attempt: i64,
    reply: &str,
    now: Instant,
) -> Result<(), StoreError> {
    let mut asked = 1;
    loop {
        match store.sent(id, attempt, reply, now).await {
            Err(error) if asked < MOST_RECORDINGS => {
                tracing::warn!(%error, asked, "a sent notice cannot be noted yet");
                asked += 1;
                tokio::time::sleep(Duration::from_secs(2)).await;
            }
            recorded => return recorded,
        }
    }
}

/// Microseconds until the next attempt: backoff, and up to a fifth more, so that retries do not march in step.
fn wait(id: i64, attempt: i64) -> i64 {
    let index = usize::try_from(attempt - 1).unwrap_or(0).min(BACKOFF_MINUTES.len() - 1);
    let least = BACKOFF_MINUTES[index] * MINUTE;
    let mut random = RandomState::new().build_hasher();
    random.write_i64(id);
    let share = i64::try_from(random.finish() % 1000).unwrap_or(0);
    least + least / 5 * share / 1000
}

/// Step limits scaled down, for tests and the demo on loopback.
pub fn quick_steps() -> StepLimits {
    let few = Duration::from_secs(10);
    StepLimits {
        connect: few,
        tls: few,
        greeting: few,
        hello: few,
        auth: few,
        mail: few,
        rcpt: few,
        data: few,
        block: few,
        dot: few,
        quit: few,
    }
}
