//! Browsers in which somebody came in before. Such a browser keeps a word for each of them, which only this
//! installation can have made; it opens nothing, and guesses from there are counted apart, so that strangers who guess
//! at an account keep nobody out of it who has been in before.

use super::{AccountError, Accounts, DAY, words};
use crate::store::write::Deed;
use crate::store::{StoreError, Writer};

/// Where the secret is remembered.
const SECRET: &str = "secret of browsers";
/// Bytes of the secret.
const BYTES: usize = 32;
/// Bytes of a browser's own number.
const NUMBER: usize = 12;
/// Letters of a word's seal.
const SEAL: usize = 32;
/// A browser is known for so long after somebody last came in.
pub const KNOWN_DAYS: i64 = 365;
/// People that one browser is known by: a station's telephone is used by several.
const MOST: usize = 8;

impl Accounts {
    /// The installation's own secret, made when it is first asked for.
    async fn browser_secret(&self) -> Result<String, AccountError> {
        if let Some(kept) = self.store.remembered(SECRET).await? {
            return Ok(kept);
        }
        let fresh = words::random(BYTES)?;
        let deed = Deed { actor: "accounts".to_owned(), action: SECRET.to_owned(), at: self.now() };
        let made = self.store.write(deed, async |tx: &mut Writer| {
            if let Some(kept) = tx.remembered(SECRET).await? {
                return Ok(kept);
            }
            tx.remember(SECRET, &fresh).await?;
            Ok::<_, StoreError>(fresh)
        });
        Ok(made.await?)
    }

    /// The number of a browser that somebody is known in; none where it keeps no good word of theirs.
    pub(super) async fn known_browser(
        &self,
        email: &str,
        known: &str,
    ) -> Result<Option<String>, AccountError> {
        if known.is_empty() {
            return Ok(None);
        }
        let secret = self.browser_secret().await?;
        for one in known.split('.').take(MOST) {
            let mut parts = one.splitn(3, '-');
            let (Some(number), Some(day), Some(seal)) = (parts.next(), parts.next(), parts.next()) else {
                continue;
            };
            let right = sealed(&secret, email, number, day)?;
            let age = day.parse::<i64>().ok().map(|day| self.now().0 / DAY - day);
            if words::same_word(seal, &right) && age.is_some_and(|age| (0..=KNOWN_DAYS).contains(&age)) {
                return Ok(Some(format!("browser {number}")));
            }
        }
        Ok(None)
    }

    /// What a browser keeps from now on, somebody having come in.
    ///
    /// # Errors
    /// No randomness, or the store's failure.
    pub async fn know_browser(&self, email: &str, known: &str) -> Result<String, AccountError> {
        let secret = self.browser_secret().await?;
        let (number, day) = (words::random(NUMBER)?, (self.now().0 / DAY).to_string());
        let mut all = vec![format!("{number}-{day}-{}", sealed(&secret, email, &number, &day)?)];
        for one in known.split('.').take(MOST) {
            let parts: Vec<&str> = one.splitn(3, '-').collect();
            // Their own earlier word goes; what is no word of ours goes too.
            if let [number, day, seal] = parts[..]
                && number.len() == 2 * NUMBER
                && seal.len() == SEAL
                && !words::same_word(seal, &sealed(&secret, email, number, day)?)
            {
                all.push(one.to_owned());
            }
        }
        all.truncate(MOST);
        Ok(all.join("."))
    }
}

fn sealed(secret: &str, email: &str, number: &str, day: &str) -> Result<String, AccountError> {
    let mut seal = words::keyed(secret, &format!("browser {number} {day} {}", email.to_lowercase()))?;
    seal.truncate(SEAL);
    Ok(seal)
}
