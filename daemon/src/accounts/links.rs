//! Links in notices: each opens the matters of one notice, read only, until it lapses. The token follows from the
//! notice's number and a secret of the installation, so that a notice composed again is the same.

use policies::zone::Instant;

use super::{AccountError, Accounts, DAY, words};
use crate::desk::{Desk, DeskError};
use crate::store::accounts::{NoticeSeen, ViewLink};
use crate::store::{Store, StoreError, Writer};

/// Where the secret is remembered.
const SECRET: &str = "secret of links";
/// A link is good for so long: the work of a notice is told again before.
const GOOD: i64 = 35 * DAY;
/// Letters of a token: 128 bits.
const TOKEN: usize = 32;

/// The installation's own secret, made when it is first asked for.
///
/// # Errors
/// No randomness, or the store's failure.
pub async fn secret(desk: &Desk) -> Result<String, DeskError> {
    if let Some(kept) = desk.store.remembered(SECRET).await? {
        return Ok(kept);
    }
    let fresh = words::random(TOKEN).map_err(|error| DeskError::Refused(error.to_string()))?;
    let deed = desk.deed("secret of links");
    desk.store
        .write(deed, async |tx: &mut Writer| {
            if let Some(kept) = tx.remembered(SECRET).await? {
                return Ok(kept);
            }
            tx.remember(SECRET, &fresh).await?;
            Ok::<_, DeskError>(fresh)
        })
        .await
}

/// The token of a notice's link.
///
/// # Errors
/// The key cannot be used.
pub fn token_of(secret: &str, number: &str) -> Result<String, AccountError> {
    let mut token = words::keyed(secret, &format!("notice {number}"))?;
    token.truncate(TOKEN);
    Ok(token)
}

/// Keeps a notice's link with the notice, where this installation makes links.
///
/// # Errors
/// The store's failure.
pub async fn keep(tx: &mut Writer, number: &str, person: &str, now: Instant) -> Result<(), DeskError> {
    let Some(secret) = tx.remembered(SECRET).await? else { return Ok(()) };
    let token = token_of(&secret, number).map_err(|error| DeskError::Refused(error.to_string()))?;
    let link = ViewLink {
        digest: words::digest(&token),
        opens: number.to_owned(),
        person: person.to_owned(),
        made_at: now.0,
        expires_at: now.0 + GOOD,
        revoked_at: None,
    };
    Ok(tx.keep_view_link(link).await?)
}

/// What a link opens at a moment; none where it is unknown, lapsed or revoked.
async fn opened(store: &Store, token: &str, now: Instant) -> Result<Option<NoticeSeen>, StoreError> {
    let link = store.view_link(&words::digest(token)).await?;
    let link = link.filter(|link| link.revoked_at.is_none() && now.0 < link.expires_at);
    match link {
        Some(link) => store.notice_seen(&link.opens).await,
        None => Ok(None),
    }
}

impl Accounts {
    /// What a link in a notice opens now; none where it is unknown, lapsed or revoked.
    ///
    /// # Errors
    /// The store's own.
    pub async fn notice_of(&self, token: &str, now: Instant) -> Result<Option<NoticeSeen>, StoreError> {
        opened(&self.store, token, now).await
    }
}
