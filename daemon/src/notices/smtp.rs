//! Delivery of frozen bytes, command by command, each under the time limit that RFC 5321 gives it.
//!
//! What matters to the outbox is how far it got. Until the end of the mail has gone out the server cannot have accepted it;
//! from then until its answer nobody knows (RFC 1047), and the outcome says so instead of guessing.

#[cfg(test)]
mod tests;
mod wire;

use std::{fmt, future::Future, io, path::PathBuf, pin::pin, time::Duration};

use lettre::transport::smtp::{
    authentication::{Credentials, Mechanism},
    client::AsyncSmtpConnection,
    commands::{Data, Mail, Quit, Rcpt, Rset},
    extension::{ClientId, Extension, MailBodyParameter, MailParameter},
    response::Response,
};
use secrecy::{ExposeSecret, SecretString};
use tokio::time::{sleep, timeout};
use wire::EndGone;

use super::message::Envelope;

/// A body is given `StepLimits::block` for every so many octets.
const BLOCK_OCTETS: usize = 64 * 1024;

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

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    Settings,
    Connect,
    Tls,
    Greeting,
    Hello,
    StartTls,
    Auth,
    Mail,
    Rcpt,
    Data,
    /// The caller's own record that the body is about to go out.
    Record,
    Body,
    Dot,
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Settings => "settings",
            Self::Connect => "connecting",
            Self::Tls => "encryption",
            Self::Greeting => "greeting",
            Self::Hello => "EHLO",
            Self::StartTls => "STARTTLS",
            Self::Auth => "AUTH",
            Self::Mail => "MAIL FROM",
            Self::Rcpt => "RCPT TO",
            Self::Data => "DATA",
            Self::Record => "recording that the body goes out",
            Self::Body => "the body",
            Self::Dot => "the final dot",
        })
    }
}

/// A server's answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    pub code: u16,
    pub text: String,
}

impl fmt::Display for Reply {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.code, self.text)
    }
}

impl From<&Response> for Reply {
    fn from(response: &Response) -> Self {
        let lines: Vec<&str> = response.message().collect();
        Self { code: u16::from(response.code()), text: lines.join(" ") }
    }
}

/// Why a step did not succeed: the server said so, or something broke.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    #[error("the server said {0}")]
    Said(Reply),
    #[error("{0}")]
    Failed(String),
}

impl From<io::Error> for Trouble {
    fn from(error: io::Error) -> Self {
        Self::Failed(error.to_string())
    }
}

impl From<lettre::transport::smtp::Error> for Trouble {
    fn from(error: lettre::transport::smtp::Error) -> Self {
        let words = std::error::Error::source(&error).map_or_else(|| error.to_string(), ToString::to_string);
        match error.status() {
            Some(code) => Self::Said(Reply { code: u16::from(code), text: words }),
            None => Self::Failed(words),
        }
    }
}

/// A step that did not succeed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{cause} (at {at_step})")]
pub struct Fault {
    pub cause: Trouble,
    pub at_step: Step,
}

impl Fault {
    fn failed(at_step: Step, error: impl fmt::Display) -> Self {
        Self { cause: Trouble::Failed(error.to_string()), at_step }
    }

    fn code(&self) -> Option<u16> {
        match &self.cause {
            Trouble::Said(reply) => Some(reply.code),
            Trouble::Failed(_) => None,
        }
    }
}

/// What became of one mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Delivery {
    /// The server has answered for it.
    Sent { reply: Reply },
    /// The server does not have it: the same bytes may be offered again later.
    Deferred { cause: Trouble, at_step: Step },
    /// The server will not take it for this recipient, now or later.
    Refused { reply: Reply, at_step: Step },
    /// The end of the mail went out and no answer came: the server may have it.
    Uncertain { error: String },
}

impl From<Fault> for Delivery {
    fn from(fault: Fault) -> Self {
        let Fault { cause, at_step } = fault;
        match cause {
            Trouble::Failed(error) if at_step == Step::Dot => Self::Uncertain { error },
            Trouble::Said(reply) if permanent(reply.code, at_step) => Self::Refused { reply, at_step },
            cause => Self::Deferred { cause, at_step },
        }
    }
}

/// A refusal of the whole session, or for want of a good sign-in, says nothing about this recipient.
fn permanent(code: u16, at_step: Step) -> bool {
    let about_the_mail = matches!(at_step, Step::Mail | Step::Rcpt | Step::Data | Step::Dot);
    let about_sign_in = matches!(code, 530 | 534 | 535 | 538);
    about_the_mail && (500..600).contains(&code) && !about_sign_in
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

/// A connection that has been greeted, encrypted and signed in as the settings ask.
pub struct Session {
    connection: AsyncSmtpConnection,
    steps: StepLimits,
    end_gone: EndGone,
    usable: bool,
}

impl Session {
    pub async fn connect(settings: &SmtpSettings) -> Result<Self, Fault> {
        let hello = hello_name(settings)?;
        let steps = settings.steps;
        let wire = wire::open(settings).await?;
        let end_gone = wire.end_gone();
        let greeted = AsyncSmtpConnection::connect_with_transport(Box::new(wire), &hello);
        let connection = within(steps.hello, Step::Hello, greeted).await?;
        let mut session = Self { connection, steps, end_gone, usable: true };
        if let Some(credentials) = credentials(settings)? {
            let mechanisms = [Mechanism::Plain, Mechanism::Login];
            let signed_in = session.connection.auth(&mechanisms, &credentials);
            within(steps.auth, Step::Auth, signed_in).await?;
        }
        Ok(session)
    }

    /// `before_data` is awaited when the server waits for the body and nothing of it has gone out.
    pub async fn send<F, Fut, E>(&mut self, envelope: &Envelope, bytes: &[u8], before_data: F) -> Delivery
    where
        F: FnOnce() -> Fut,
        Fut: Future<Output = Result<(), E>>,
        E: fmt::Display,
    {
        if !self.usable {
            return Fault::failed(Step::Connect, "this connection is spent: open another").into();
        }
        // Down until the end: a caller that gives up half way leaves a conversation that nobody can take up again.
        self.usable = false;
        match self.hand_over(envelope, bytes, before_data).await {
            Ok(reply) => {
                self.usable = true;
                Delivery::Sent { reply }
            }
            Err(fault) => {
                self.usable = self.reset_after(&fault).await;
                fault.into()
            }
        }
    }

    /// Whether another mail may go over this connection.
    pub fn usable(&self) -> bool {
        self.usable
    }

    pub async fn quit(mut self) {
        if self.usable {
            let _ = timeout(self.steps.quit, self.connection.command(Quit)).await;
        }
    }

    async fn hand_over<F, Fut, E>(
        &mut self,
        envelope: &Envelope,
        bytes: &[u8],
        before_data: F,
    ) -> Result<Reply, Fault>
    where
        F: FnOnce() -> Fut,
        Fut: Future<Output = Result<(), E>>,
        E: fmt::Display,
    {
        let steps = self.steps;
        let mail = Mail::new(Some(envelope.from().clone()), self.mail_parameters(bytes)?);
        within(steps.mail, Step::Mail, self.connection.command(mail)).await?;
        let rcpt = Rcpt::new(envelope.to().clone(), Vec::new());
        within(steps.rcpt, Step::Rcpt, self.connection.command(rcpt)).await?;
        let go_on = within(steps.data, Step::Data, self.connection.command(Data)).await?;
        if !go_on.has_code(354) {
            return Err(Fault::failed(
                Step::Data,
                format!("the server answered DATA with {}", Reply::from(&go_on)),
            ));
        }
        // If this fails the connection is dropped without a dot, and the server must forget the mail.
        before_data().await.map_err(|error| Fault::failed(Step::Record, error))?;
        self.body(bytes).await
    }

    fn mail_parameters(&self, bytes: &[u8]) -> Result<Vec<MailParameter>, Fault> {
        if bytes.is_ascii() {
            return Ok(Vec::new());
        }
        if self.connection.server_info().supports_feature(Extension::EightBitMime) {
            return Ok(vec![MailParameter::Body(MailBodyParameter::EightBitMime)]);
        }
        Err(Fault::failed(Step::Mail, "the message is not ASCII and the server does not take 8-bit mail"))
    }

    /// Two limits, one after the other: for the body by its size, and for the answer from the moment the dot has gone.
    async fn body(&mut self, bytes: &[u8]) -> Result<Reply, Fault> {
        let blocks = u32::try_from(bytes.len() / BLOCK_OCTETS + 1).unwrap_or(u32::MAX);
        let body_limit = self.steps.block.saturating_mul(blocks);
        // lettre adds the line break before the dot: with the message's own one the mail would grow by an empty line.
        let lines = bytes.strip_suffix(b"\r\n").unwrap_or(bytes);
        self.end_gone.begin_mail();
        let mut answer = pin!(self.connection.message(lines));
        tokio::select! {
            biased;
            answered = &mut answer => return settled(answered, self.end_gone.has_gone()),
            () = self.end_gone.gone() => {}
            () = sleep(body_limit) => return Err(Fault::failed(Step::Body, too_long(body_limit))),
        }
        match timeout(self.steps.dot, answer).await {
            Ok(answered) => settled(answered, true),
            Err(_) => Err(Fault::failed(Step::Dot, too_long(self.steps.dot))),
        }
    }

    /// After a plain refusal the next mail may still go; after anything else, or 421, the connection is spent.
    async fn reset_after(&mut self, fault: &Fault) -> bool {
        if fault.code().is_none_or(|code| code == 421) {
            return false;
        }
        let reset = self.connection.command(Rset);
        matches!(timeout(self.steps.mail, reset).await, Ok(Ok(_)))
    }
}

/// The answer to a mail. Without the dot a broken connection leaves no doubt.
fn settled(
    answered: Result<Response, lettre::transport::smtp::Error>,
    end_gone: bool,
) -> Result<Reply, Fault> {
    let at_step = if end_gone { Step::Dot } else { Step::Body };
    match answered {
        Ok(response) if (200..300).contains(&u16::from(response.code())) => Ok((&response).into()),
        Ok(response) => Err(Fault::failed(
            at_step,
            format!("the server answered the mail with {}", Reply::from(&response)),
        )),
        Err(error) => Err(Fault { cause: error.into(), at_step }),
    }
}

/// Awaits one step, no longer than its limit.
async fn within<T, E: Into<Trouble>>(
    limit: Duration,
    at_step: Step,
    step: impl Future<Output = Result<T, E>>,
) -> Result<T, Fault> {
    match timeout(limit, step).await {
        Ok(Ok(done)) => Ok(done),
        Ok(Err(error)) => Err(Fault { cause: error.into(), at_step }),
        Err(_) => Err(Fault::failed(at_step, too_long(limit))),
    }
}

fn too_long(limit: Duration) -> String {
    format!("no answer within {} s", limit.as_secs_f32())
}

fn hello_name(settings: &SmtpSettings) -> Result<ClientId, Fault> {
    let name = settings.hello_name.trim();
    if name.is_empty() {
        return Ok(ClientId::default());
    }
    if name.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'.')) {
        return Ok(ClientId::Domain(name.to_owned()));
    }
    let error = format!("hello_name {name:?} is no host name: it should read like gear.service.example");
    Err(Fault::failed(Step::Settings, error))
}

/// A password is only ever sent encrypted or within this machine, since `Tls::None` reaches no further.
fn credentials(settings: &SmtpSettings) -> Result<Option<Credentials>, Fault> {
    match (&settings.user, &settings.password) {
        (None, None) => Ok(None),
        (Some(user), Some(password)) => {
            Ok(Some(Credentials::new(user.clone(), password.expose_secret().to_owned())))
        }
        _ => Err(Fault::failed(
            Step::Settings,
            "smtp user and password go together: one is set and the other is not",
        )),
    }
}
