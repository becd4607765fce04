//! Sessions: a random token in a cookie, its digest in the store. A session ends by itself, and with its account; who
//! the person is and what they may do is read afresh at every request.

use policies::zone::Instant;

use super::{AccountError, Accounts, DAY, MINUTE, words};
use crate::records::Person;
use crate::rights::Who;
use crate::store::StoreError;
use crate::store::accounts::{Account, Session};

/// Bytes of a token: 256 bits.
const TOKEN: usize = 32;
/// So long after signing in, or signing in again, somebody may sign.
const FRESH: i64 = 5 * MINUTE;
/// A session's last use is noted at most so often.
const NOTED: i64 = MINUTE;
/// Most characters kept of what a browser says it is.
const DEVICE: usize = 120;

/// A session just opened; the token is told once.
#[derive(Clone, Debug)]
pub struct Opened {
    /// For the cookie.
    pub token: String,
    /// Who it is.
    pub who: Who,
    /// The word that forms of the session bear.
    pub word: String,
}

/// By what somebody came.
#[derive(Clone, Debug)]
pub enum Come {
    /// A browser's cookie.
    Session(Session),
    /// A program's token, by its label.
    Token(String),
}

/// Somebody who is in.
#[derive(Clone, Debug)]
pub struct Seen {
    /// Who.
    pub who: Who,
    /// By what.
    pub by: Come,
}

impl Seen {
    /// The session's own digest; empty for a program.
    pub fn digest(&self) -> &str {
        match &self.by {
            Come::Session(session) => &session.digest,
            Come::Token(_) => "",
        }
    }
}

/// What a cookie or token is worth.
#[derive(Clone, Debug)]
pub enum Worth {
    /// Somebody is in.
    In(Box<Seen>),
    /// It is unknown, or ended by itself.
    Nothing,
    /// Its account was shut, or its person is no longer in the register.
    Shut,
}

/// A page is read although the note that it was cannot be written, such as during a long import.
fn noted(done: Result<(), StoreError>) {
    if let Err(error) = done {
        tracing::warn!(%error, "the use of a session could not be noted");
    }
}

impl Accounts {
    /// Opens a session for somebody whose word was proved.
    pub(super) async fn open(
        &self,
        account: &Account,
        person: Person,
        device: &str,
    ) -> Result<Opened, AccountError> {
        let (token, now) = (words::random(TOKEN)?, self.now());
        let session = Session {
            digest: words::digest(&token),
            email: account.email.clone(),
            csrf: words::random(TOKEN)?,
            device: device.chars().filter(|c| !c.is_control()).take(DEVICE).collect(),
            made_at: now.0,
            seen_at: now.0,
            ends_at: now.0 + self.limits.absolute_micros,
            signed_at: now.0,
        };
        let word = session.csrf.clone();
        self.store.open_session(session, Instant(now.0 - 30 * DAY)).await?;
        Ok(Opened { token, who: self.who(account, person), word })
    }

    /// Opens a session without a password: a demo's, for anybody of its register.
    ///
    /// # Errors
    /// This is no demo, nobody has the address, or the store's failure.
    pub async fn open_for(&self, email: &str, device: &str) -> Result<Opened, AccountError> {
        if !self.trusting {
            return super::refused("Only the demo lets somebody in without a password.");
        }
        self.store.make_account(email, self.now()).await?;
        match self.open_account(email).await? {
            Some((account, person)) => self.open(&account, person, device).await,
            None => super::refused(format!("Nobody here has the address {email}.")),
        }
    }

    /// What a cookie's token is worth now.
    ///
    /// # Errors
    /// The store's own.
    pub async fn by_session(&self, token: &str) -> Result<Worth, StoreError> {
        let digest = words::digest(token);
        let Some(session) = self.store.session(&digest).await? else { return Ok(Worth::Nothing) };
        let now = self.now();
        if now.0 >= session.ends_at || now.0 - session.seen_at >= self.limits.idle_micros {
            let ended = self.store.end_session(&session.email, &digest).await;
            noted(ended.map(drop));
            return Ok(Worth::Nothing);
        }
        let Some((account, person)) = self.open_account(&session.email).await? else {
            return Ok(Worth::Shut);
        };
        if now.0 - session.seen_at >= NOTED {
            noted(self.store.touch_session(&digest, now).await);
        }
        let who = self.who(&account, person);
        Ok(Worth::In(Box::new(Seen { who, by: Come::Session(session) })))
    }

    /// What a program's token is worth now.
    ///
    /// # Errors
    /// The store's own.
    pub async fn by_token(&self, token: &str) -> Result<Worth, StoreError> {
        let Some(kept) = self.store.token(&words::digest(token)).await? else { return Ok(Worth::Nothing) };
        let lapsed = kept.expires_at.is_some_and(|until| until <= self.now().0);
        if lapsed || kept.revoked_at.is_some() {
            return Ok(Worth::Nothing);
        }
        Ok(match self.open_account(&kept.email).await? {
            Some((account, person)) => {
                let who = self.who(&account, person);
                Worth::In(Box::new(Seen { who, by: Come::Token(kept.label) }))
            }
            None => Worth::Shut,
        })
    }

    /// Whether somebody proved lately enough who they are, to sign.
    pub fn is_fresh(&self, seen: &Seen) -> bool {
        match &seen.by {
            Come::Session(session) => self.trusting || self.now().0 - session.signed_at < FRESH,
            Come::Token(_) => false,
        }
    }

    /// Sessions of somebody that have not ended, the newest first.
    ///
    /// # Errors
    /// The store's own.
    pub async fn sessions(&self, email: &str) -> Result<Vec<Session>, StoreError> {
        let now = self.now().0;
        let mut all = self.store.sessions(email).await?;
        all.retain(|session| now < session.ends_at && now - session.seen_at < self.limits.idle_micros);
        Ok(all)
    }

    /// Ends a session of somebody, named by the first letters of its digest; false where none is meant.
    ///
    /// # Errors
    /// The store's own.
    pub async fn end(&self, email: &str, digest: &str) -> Result<bool, StoreError> {
        let named = digest.len() >= 16 && digest.bytes().all(|byte| byte.is_ascii_hexdigit());
        Ok(named && self.store.end_session(email, digest).await?)
    }

    /// Ends every session of somebody but the one at hand.
    ///
    /// # Errors
    /// The store's own.
    pub async fn end_others(&self, seen: &Seen) -> Result<u64, StoreError> {
        self.store.end_sessions(&seen.who.person.key, Some(seen.digest())).await
    }
}
