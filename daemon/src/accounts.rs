//! Who may come in: passwords, second factors, sessions and tokens. What somebody may do once they are in is said by
//! `rights`, from the person's own record, read afresh each time.

pub mod browsers;
pub mod calendars;
pub mod codes;
mod guess;
pub mod links;
mod passwords;
mod session;
mod sign_in;
pub mod tokens;
pub mod totp;
mod words;

use std::sync::Arc;

use policies::zone::Instant;

use crate::clock::Clock;
use crate::records::Person;
use crate::rights::Who;
use crate::store::accounts::Account;
use crate::store::{Store, StoreError};

pub use passwords::{LONGEST, Passwords, SHORTEST, refusal};
pub use session::{Come, Opened, Seen, Worth};
pub use sign_in::{Entry, Refused};
pub use words::{form_word, random_word, same_word};

pub(crate) const SECOND: i64 = 1_000_000;
pub(crate) const MINUTE: i64 = 60 * SECOND;
pub(crate) const HOUR: i64 = 60 * MINUTE;
pub(crate) const DAY: i64 = 24 * HOUR;

/// How long sessions last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Unused for so long, a session ends.
    pub idle_micros: i64,
    /// However much it is used, it ends then.
    pub absolute_micros: i64,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits { idle_micros: 30 * MINUTE, absolute_micros: 12 * HOUR }
    }
}

/// Why an account could not be dealt with.
#[derive(Debug, thiserror::Error)]
pub enum AccountError {
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// No randomness could be had, or the hash failed.
    #[error("{0}")]
    Crypto(String),
    /// It cannot be done as asked.
    #[error("{0}")]
    Refused(String),
}

pub(crate) fn refused<T>(text: impl Into<String>) -> Result<T, AccountError> {
    Err(AccountError::Refused(text.into()))
}

/// The accounts of one store.
#[derive(Clone)]
pub struct Accounts {
    store: Store,
    clock: Arc<dyn Clock>,
    limits: Limits,
    passwords: Passwords,
    trusting: bool,
}

impl Accounts {
    /// The accounts of a store, by a clock of their own: the demo's stands still, and sessions must not.
    pub fn over(store: Store, clock: Arc<dyn Clock>, limits: Limits) -> Accounts {
        Accounts { store, clock, limits, passwords: Passwords::new(), trusting: false }
    }

    /// The same for a demo, where nobody has a password and everybody may sign.
    #[must_use]
    pub fn trusting(self) -> Accounts {
        Accounts { trusting: true, ..self }
    }

    /// Whether these are a demo's.
    pub fn is_trusting(&self) -> bool {
        self.trusting
    }

    /// Now.
    pub fn now(&self) -> Instant {
        self.clock.now()
    }

    /// How long sessions last.
    pub fn limits(&self) -> Limits {
        self.limits
    }

    /// The account of somebody who may sign in: it is there and open, and so is the person of the register.
    async fn open_account(&self, email: &str) -> Result<Option<(Account, Person)>, StoreError> {
        let Some(account) = self.store.account(email).await?.filter(|account| !account.disabled) else {
            return Ok(None);
        };
        let person = self.store.current::<Person>(&account.email).await?.filter(|person| !person.void);
        Ok(person.map(|person| (account, person)))
    }

    fn who(&self, account: &Account, person: Person) -> Who {
        Who { second_factor: self.trusting || account.secret.is_some(), person }
    }

    /// The account's own settings, for the page that shows them.
    ///
    /// # Errors
    /// The store's own.
    pub async fn account(&self, email: &str) -> Result<Option<Account>, StoreError> {
        self.store.account(email).await
    }

    /// Changes a password for somebody who knows the one before; every other session ends, and unless `keeps` says
    /// that they stay, so do the tokens of programs and the calendars. How many of those ended.
    ///
    /// # Errors
    /// A wrong old password, a new one that cannot be, or the store's failure.
    pub async fn change_password(
        &self,
        seen: &Seen,
        (old, new): (&str, &str),
        keeps: bool,
    ) -> Result<u64, AccountError> {
        let email = seen.who.person.key.as_str();
        if let Some(why) = refusal(new, email) {
            return refused(why);
        }
        let entry = Entry { email, password: old, code: "", from: "" };
        let own = format!("session {}", seen.digest());
        if let Err(why) = self.prove(&entry, sign_in::Code::NotAsked, Some(&own)).await? {
            return refused(why.to_string());
        }
        let hash = self.passwords.hash(new).await?;
        Ok(self.store.change_password(email, &hash, (seen.digest(), keeps), self.now()).await?)
    }

    /// Offers the seed of a second factor; it counts once a code of it was given.
    ///
    /// # Errors
    /// No randomness, or the store's failure.
    pub async fn offer_factor(&self, email: &str) -> Result<String, AccountError> {
        let secret = totp::seed()?;
        self.store.offer_secret(email, &secret).await?;
        Ok(secret)
    }

    /// Takes the offered seed up, by a code of it.
    ///
    /// # Errors
    /// Nothing was offered, another code, or the store's failure.
    pub async fn take_factor(&self, email: &str, code: &str) -> Result<(), AccountError> {
        let offered = self.store.account(email).await?.and_then(|account| account.secret_offered);
        let Some(secret) = offered else {
            return refused("No new secret waits to be confirmed; show one first.");
        };
        let Some(step) = totp::step_of(&secret, code, self.now()) else {
            return refused(
                "This is not the code shown now. Check that the clock of the telephone is right, and give the next one.",
            );
        };
        if !self.store.take_secret(email, &secret, step).await? {
            return refused("Another secret was shown meanwhile; use that one.");
        }
        Ok(())
    }
}
