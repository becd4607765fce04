//! Delivery of frozen bytes, command by command, each under the time limit that RFC 5321 gives it.
//!
//! What matters to the outbox is how far it got. Until the end of the mail has gone out the server cannot have accepted it;
//! from then until its answer nobody knows (RFC 1047), and the outcome says so instead of guessing.

mod outcome;
mod session;
#[cfg(test)]
mod tests;
mod wire;

use std::{fmt, future::Future, path::PathBuf, time::Duration};

use secrecy::SecretString;

use super::message::Envelope;
pub use outcome::{Delivery, Fault, Reply, Step, Trouble};
pub use session::Session;

#[derive(Debug, Clone)]
pub struct SmtpSettings {
    pub host: String,
    pub port: u16,
    pub tls: Tls,
    /// PEM certificates trusted besides the system's, for a relay with a certificate of the house.
    pub ca_file: Option<PathBuf>,
    pub user: Option<String>,
    pub password: Option<SecretString>,
    /// How this machine names itself; empty: its host name.
    pub hello_name: String,
    pub steps: StepLimits,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tls {
    /// In clear, to this machine only.
    None,
    /// Asked for on the plain port, and given up if refused: never in clear instead.
    StartTls,
    /// From the first octet, usually on port 465.
    Implicit,
}

/// RFC 5321, 4.5.3.2. Shorter limits make duplicates: the server has the mail, and we give up before it says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StepLimits {
    pub connect: Duration,
    pub tls: Duration,
    pub greeting: Duration,
    pub hello: Duration,
    pub auth: Duration,
    pub mail: Duration,
    pub rcpt: Duration,
    pub data: Duration,
    pub block: Duration,
    pub dot: Duration,
    pub quit: Duration,
}

impl StepLimits {
    /// The same for every step.
    pub const fn all(limit: Duration) -> Self {
        Self {
            connect: limit,
            tls: limit,
            greeting: limit,
            hello: limit,
            auth: limit,
            mail: limit,
            rcpt: limit,
            data: limit,
            block: limit,
            dot: limit,
            quit: limit,
        }
    }
}

impl Default for StepLimits {
    fn default() -> Self {
        let minutes = |count| Duration::from_mins(count);
        Self {
            connect: minutes(1),
            tls: minutes(2),
            greeting: minutes(5),
            hello: minutes(5),
            auth: minutes(5),
            mail: minutes(5),
            rcpt: minutes(5),
            data: minutes(2),
            block: minutes(3),
            dot: minutes(10),
            quit: Duration::from_secs(30),
        }
    }
}

/// One mail over one connection. The outcome is there before QUIT is answered: it should be recorded first, and QUIT loses nothing.
pub async fn deliver<F, Fut, E>(
    settings: &SmtpSettings,
    envelope: &Envelope,
    bytes: &[u8],
    before_data: F,
) -> Delivery
where
    F: FnOnce() -> Fut,
    Fut: Future<Output = Result<(), E>>,
    E: fmt::Display,
{
    let mut session = match Session::connect(settings).await {
        Ok(session) => session,
        Err(fault) => return fault.into(),
    };
    let delivery = session.send(envelope, bytes, before_data).await;
    tokio::spawn(session.quit());
    delivery
}
