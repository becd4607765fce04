//! How somebody first comes in: a code, given by hand, with which they set their password once.

use super::{AccountError, Accounts, DAY, passwords, refused, words};
use crate::records::Person;
use crate::store::accounts::SignInCode;

/// A code is good for so long.
const GOOD: i64 = 3 * DAY;
/// Bytes of a code: 128 bits.
const CODE: usize = 16;

impl Accounts {
    /// Invites somebody of the register: a code that replaces any before.
    ///
    /// # Errors
    /// Nobody has that address, or the store's failure.
    pub async fn invite(&self, email: &str) -> Result<String, AccountError> {
        let person = self.store.current::<Person>(email).await?.filter(|person| !person.void);
        let Some(person) = person else {
            return refused(format!(
                "\"{email}\" is nobody in people.csv; add them with tallow people add, or correct the address"
            ));
        };
        let (code, now) = (words::random(CODE)?, self.now());
        self.store.make_account(&person.key, now).await?;
        let kept = SignInCode {
            digest: words::digest(&code),
            email: person.key,
            made_at: now.0,
            expires_at: now.0 + GOOD,
            used_at: None,
        };
        self.store.keep_code(kept).await?;
        Ok(code)
    }

    /// Whose a code is, as long as it is good.
    ///
    /// # Errors
    /// The store's own.
    pub async fn invited(&self, code: &str) -> Result<Option<SignInCode>, AccountError> {
        let kept = self.store.code(&words::digest(code.trim())).await?;
        Ok(kept.filter(|kept| kept.used_at.is_none() && self.now().0 < kept.expires_at))
    }

    /// Sets a first password by a code.
    ///
    /// # Errors
    /// A code that is not good, a password that cannot be, or the store's failure.
    pub async fn welcome(&self, code: &str, password: &str) -> Result<String, AccountError> {
        let gone = "This code is not good: it was used, has lapsed after three days, or a newer one replaced it. \
                    Ask whoever invited you for another.";
        let Some(kept) = self.invited(code).await? else { return refused(gone) };
        if let Some(why) = passwords::refusal(password, &kept.email) {
            return refused(why);
        }
        let hash = self.passwords.hash(password).await?;
        if !self.store.set_first_password(&kept, &hash, self.now()).await? {
            return refused(gone);
        }
        Ok(kept.email)
    }
}
