//! Signing in, and proving again who one is: password, and code where a second factor is enrolled. What is refused is
//! refused in the same words and the same time, whatever was wrong with it.

use super::guess::Lane;
use super::session::{Opened, Seen};
use super::{AccountError, Accounts, totp};
use crate::records::Person;
use crate::store::accounts::Account;

/// What somebody types to come in.
#[derive(Clone, Copy, Debug)]
pub struct Entry<'e> {
    /// Address.
    pub email: &'e str,
    /// Password.
    pub password: &'e str,
    /// Code of the second factor; empty where none is enrolled.
    pub code: &'e str,
    /// The address of the network that it comes from; empty where it is not known.
    pub from: &'e str,
}

/// Why somebody does not come in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// Something of it is wrong.
    #[error("E-mail, password or code is not right. Whoever has a second factor gives its code too.")]
    Wrong,
    /// Too many tries.
    #[error(
        "Too many tries: the next one is looked at in {0} s. Somebody with a second factor gives its code and need not wait, \
         nor whoever signed in with this browser before."
    )]
    Wait(i64),
}

/// Whether the code is part of the proof.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Code {
    /// Where one is enrolled.
    Asked,
    /// For who is signed in already.
    NotAsked,
}

impl Accounts {
    /// Signs somebody in.
    ///
    /// # Errors
    /// The store's own, or the hash's; what is merely wrong is an answer.
    pub async fn sign_in(
        &self,
        entry: &Entry<'_>,
        device: &str,
    ) -> Result<Result<Opened, Refused>, AccountError> {
        self.sign_in_known(entry, device, "").await
    }

    /// The same in a browser that may be known: `known` is what it keeps of those who came in there before.
    ///
    /// # Errors
    /// Those of [`Accounts::sign_in`].
    pub async fn sign_in_known(
        &self,
        entry: &Entry<'_>,
        device: &str,
        known: &str,
    ) -> Result<Result<Opened, Refused>, AccountError> {
        let own = self.known_browser(entry.email, known).await?;
        match self.prove(entry, Code::Asked, own.as_deref()).await? {
            Ok((account, person)) => Ok(Ok(self.open(&account, person, device).await?)),
            Err(why) => {
                tracing::warn!(email = ?entry.email, from = entry.from, %why, "a sign-in was refused");
                Ok(Err(why))
            }
        }
    }

    /// Proves again who is signed in; for five minutes they may then sign.
    ///
    /// # Errors
    /// The store's own, or the hash's.
    pub async fn sign_in_again(
        &self,
        seen: &Seen,
        password: &str,
        code: &str,
        from: &str,
    ) -> Result<Result<(), Refused>, AccountError> {
        let entry = Entry { email: &seen.who.person.key, password, code, from };
        let own = format!("session {}", seen.digest());
        match self.prove(&entry, Code::Asked, Some(&own)).await? {
            Ok(_) => {
                self.store.sign_session(seen.digest(), self.now()).await?;
                Ok(Ok(()))
            }
            Err(why) => Ok(Err(why)),
        }
    }

    pub(super) async fn prove(
        &self,
        entry: &Entry<'_>,
        asked: Code,
        own: Option<&str>,
    ) -> Result<Result<(Account, Person), Refused>, AccountError> {
        let account = self.store.account(entry.email).await?;
        let secret = account.as_ref().and_then(|account| account.secret.as_deref());
        let step = match secret.filter(|_| !entry.code.is_empty()) {
            Some(secret) => self.step(secret, entry, own).await?,
            None => None,
        };
        let lane = match (own, &account, step) {
            (Some(own), ..) => Lane::own(own),
            (None, Some(account), Some(_)) => Lane::factor(&account.email),
            (None, ..) => Lane::common(entry.email, entry.from),
        };
        if let Some(wait) = self.count(&lane).await? {
            return Ok(Err(Refused::Wait(wait)));
        }
        let kept = account.as_ref().and_then(|account| account.password.as_deref());
        let right = self.passwords.is_right(entry.password, kept).await?;
        let needs_code = secret.is_some() && asked == Code::Asked;
        if !right || (needs_code && step.is_none()) {
            return Ok(Err(Refused::Wrong));
        }
        let Some((account, person)) = self.open_account(entry.email).await? else {
            return Ok(Err(Refused::Wrong));
        };
        if let Some(step) = step.filter(|_| needs_code)
            && !self.store.use_step(&account.email, step).await?
        {
            return Ok(Err(Refused::Wrong));
        }
        self.forgive(&lane).await?;
        if step.is_some() {
            let [here, _] = Lane::codes(&account.email, entry.from);
            self.forgive(&own.map_or(here, Lane::own_codes)).await?;
        }
        Ok(Ok((account, person)))
    }

    /// The step that a code is of; none where it fits none, or where it is too early to look at another one.
    async fn step(
        &self,
        secret: &str,
        entry: &Entry<'_>,
        own: Option<&str>,
    ) -> Result<Option<i64>, AccountError> {
        let lanes = match own {
            Some(own) => vec![Lane::own_codes(own)],
            None => Lane::codes(entry.email, entry.from).to_vec(),
        };
        for lane in &lanes {
            if self.count(lane).await?.is_some() {
                return Ok(None);
            }
        }
        Ok(totp::step_of(secret, entry.code, self.now()))
    }
}
