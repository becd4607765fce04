//! A courier by SMTP: a connection kept from one mail to the next, and opened again when it grew stale.

use super::{Begin, BoxFuture, Courier};
use crate::notices::message::Envelope;
use crate::notices::smtp::{Delivery, Fault, Session, SmtpSettings, Step};

/// One SMTP connection.
pub struct SmtpCourier {
    settings: SmtpSettings,
    session: Option<Session>,
}

impl SmtpCourier {
    /// A courier that has no connection yet.
    pub fn new(settings: SmtpSettings) -> SmtpCourier {
        SmtpCourier { settings, session: None }
    }

    /// So many of them.
    pub fn several(settings: &SmtpSettings, connections: usize) -> Vec<SmtpCourier> {
        (0..connections.max(1)).map(|_| SmtpCourier::new(settings.clone())).collect()
    }
}

impl Courier for SmtpCourier {
    async fn ready(&mut self) -> Result<(), Fault> {
        if self.session.as_ref().is_some_and(Session::usable) {
            return Ok(());
        }
        self.session = None;
        self.session = Some(Session::connect(&self.settings).await?);
        Ok(())
    }

    fn carry<'c>(
        &'c mut self,
        envelope: &'c Envelope,
        bytes: &'c [u8],
        begin: Begin<'c>,
    ) -> BoxFuture<'c, Delivery> {
        Box::pin(self.offer(envelope, bytes, begin))
    }

    async fn rest(&mut self) {
        if let Some(session) = self.session.take() {
            tokio::spawn(session.quit());
        }
    }
}

impl SmtpCourier {
    async fn offer(&mut self, envelope: &Envelope, bytes: &[u8], begin: Begin<'_>) -> Delivery {
        let kept = self.session.as_mut().filter(|session| session.usable() && !session.is_fresh());
        if let Some(session) = kept {
            let delivery = session.send(envelope, bytes, begin).await;
            // A server may close a connection that lay idle: that says nothing about the mail.
            if !delivery.broken_off_early() {
                return delivery;
            }
            self.session = None;
        }
        if let Err(fault) = self.ready().await {
            return fault.into();
        }
        match &mut self.session {
            Some(session) => session.send(envelope, bytes, begin).await,
            None => Fault::failed(Step::Connect, "there is no connection").into(),
        }
    }
}
