//! One connection and the mails that go over it, each command under its own limit.

use std::{future::Future, pin::pin, time::Duration};

use lettre::transport::smtp::{
    authentication::{Credentials, Mechanism},
    client::AsyncSmtpConnection,
    commands::{Data, Mail, Quit, Rcpt, Rset},
    extension::{ClientId, Extension, MailBodyParameter, MailParameter},
    response::Response,
};
use secrecy::ExposeSecret;
use tokio::time::{sleep, timeout};

use super::wire::{self, EndGone};
use super::{Delivery, Envelope, Fault, Reply, SmtpSettings, Step, StepLimits, Trouble};

/// A body is given `StepLimits::block` for every so many octets.
const BLOCK_OCTETS: usize = 64 * 1024;

/// A connection that has been greeted, encrypted and signed in as the settings ask.
pub struct Session {
    connection: AsyncSmtpConnection,
    steps: StepLimits,
    end_gone: EndGone,
    usable: bool,
    /// Mails offered over it so far.
    offered: u64,
}

impl Session {
    pub async fn connect(settings: &SmtpSettings) -> Result<Self, Fault> {
        let hello = hello_name(settings)?;
        let steps = settings.steps;
        let wire = wire::open(settings).await?;
        let end_gone = wire.end_gone();
        let greeted = AsyncSmtpConnection::connect_with_transport(Box::new(wire), &hello);
        let connection = within(steps.hello, Step::Hello, greeted).await?;
        let mut session = Self { connection, steps, end_gone, usable: true, offered: 0 };
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
        E: std::fmt::Display,
    {
        if !self.usable {
            return Fault::failed(Step::Connect, "this connection is spent: open another").into();
        }
        // Down until the end: a caller that gives up half way leaves a conversation that nobody can take up again.
        self.usable = false;
        self.offered += 1;
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

    /// Whether no mail was offered over it yet: then it cannot have grown stale.
    pub fn is_fresh(&self) -> bool {
        self.offered == 0
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
        E: std::fmt::Display,
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
pub(super) async fn within<T, E: Into<Trouble>>(
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

pub(super) fn hello_name(settings: &SmtpSettings) -> Result<ClientId, Fault> {
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
