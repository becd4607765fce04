//! Tokens of programs, each made for one person, whose rights it has.

use super::{AccountError, Accounts, DAY, refused, words};
use crate::store::StoreError;
use crate::store::accounts::ApiToken;

/// Bytes of a token: 256 bits.
const TOKEN: usize = 32;
/// A token lasts so long where nothing is said.
pub const LASTS_DAYS: i64 = 365;
/// Longest label.
const LABEL: usize = 60;

impl Accounts {
    /// Makes a token for somebody; it is told once.
    ///
    /// # Errors
    /// A label that cannot be or is in use, nobody who may sign in, or the store's failure.
    pub async fn make_token(
        &self,
        email: &str,
        label: &str,
        days: Option<i64>,
    ) -> Result<String, AccountError> {
        let label = label.trim();
        let plain =
            !label.is_empty() && label.chars().count() <= LABEL && !label.chars().any(char::is_control);
        if !plain {
            return refused(format!(
                "A label is one line of 1 to {LABEL} characters that says what the token is for."
            ));
        }
        let days = days.unwrap_or(LASTS_DAYS);
        if !(1..=3660).contains(&days) {
            return refused("A token lasts 1 to 3660 days.");
        }
        let Some((account, _)) = self.open_account(email).await? else {
            return refused(format!(
                "{email} has no open account; invite them first: tallow people invite {email}"
            ));
        };
        if self.store.tokens(&account.email).await?.iter().any(|have| have.label == label) {
            return refused(format!(
                "{email} has a token \"{label}\" already; revoke it, or give another label."
            ));
        }
        let (token, now) = (words::random(TOKEN)?, self.now());
        let kept = ApiToken {
            digest: words::digest(&token),
            label: label.to_owned(),
            email: account.email,
            made_at: now.0,
            expires_at: Some(now.0 + days * DAY),
            revoked_at: None,
        };
        self.store.keep_token(kept).await?;
        Ok(token)
    }

    /// Tokens of somebody.
    ///
    /// # Errors
    /// The store's own.
    pub async fn tokens(&self, email: &str) -> Result<Vec<ApiToken>, StoreError> {
        self.store.tokens(email).await
    }

    /// Revokes a token; false where nobody's has that label.
    ///
    /// # Errors
    /// The store's own.
    pub async fn revoke_token(&self, email: &str, label: &str) -> Result<bool, StoreError> {
        self.store.revoke_token(email, label, self.now()).await
    }
}
