//! Ten posts of one form are one record. The first of them sets the moment that all of them stand for; what is known
//! by a key of its own needs no more than that, and the rest is answered with what the first one did.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError, Weak};

use axum::response::Response;
use policies::zone::Instant;

use crate::desk::Desk;
use crate::desk::once::{Led, parted};
use crate::store::{StoreError, Writer};
use crate::web::fault::Fault;
use crate::web::posted::{Form, see};
use crate::web::words::{upper_first, without_commands};
use axum::http::StatusCode;
use tokio::sync::{Mutex as Turn, OwnedMutexGuard};

/// What is remembered of a form, by its key.
const PREFIX: &str = "page ";
/// So long the page that it led to says what it did.
const SAID: i64 = 10 * 60 * 1_000_000;
/// So long it is remembered: no browser sends a form again after that.
const KEPT: i64 = 2 * 24 * 60 * 60 * 1_000_000;

/// One form, as it was first sent.
pub(super) struct Once {
    /// Its key, as records bear it.
    pub(super) key: String,
    /// When it was first sent.
    pub(super) at: Instant,
    /// Where the first one led.
    pub(super) led: Option<String>,
    _turn: Option<OwnedMutexGuard<()>>,
}

/// A turn of each form that is under way whose copies come after one another; of no other form.
static TURNS: Mutex<BTreeMap<String, Weak<Turn<()>>>> = Mutex::new(BTreeMap::new());

/// The turn of the form with a key.
async fn turn(key: &str) -> OwnedMutexGuard<()> {
    let turn = {
        let mut turns = TURNS.lock().unwrap_or_else(PoisonError::into_inner);
        turns.retain(|_, turn| turn.strong_count() > 0);
        let known = turns.get(key).and_then(Weak::upgrade);
        known.unwrap_or_else(|| {
            let fresh = Arc::new(Turn::new(()));
            turns.insert(key.to_owned(), Arc::downgrade(&fresh));
            fresh
        })
    };
    turn.lock_owned().await
}

impl Once {
    /// Looks the form up by its key, and remembers it where it is new.
    ///
    /// # Errors
    /// No key, or the store's own.
    pub(super) async fn of(desk: &Desk, form: &Form) -> Result<Once, Fault> {
        let text = form.field("key");
        if !is_key(text) {
            return Err(Fault::form(
                StatusCode::BAD_REQUEST,
                "The form lacks the key of its page.",
                "Send it from its page, or give a key of 16 to 64 letters and digits. Nothing was recorded.",
            ));
        }
        let (key, now) = (format!("{PREFIX}{text}"), desk.now());
        let known = match desk.store.remembered(&key).await? {
            Some(known) => known,
            None => first(desk, &key, now).await?,
        };
        let (at, led, _) = parted(&known);
        let at = Instant(at.parse().unwrap_or(now.0));
        Ok(Once { key, at, led: led.map(str::to_owned), _turn: None })
    }

    /// The same deed; where there is something to say of it, the page that it leads to says so.
    pub(super) fn saying(&self, led: Led) -> Led {
        let to = if led.rows.told.is_empty() { led.to } else { self.told_at(&led.to) };
        Led { to, ..led }
    }

    fn told_at(&self, to: &str) -> String {
        let key = self.key.strip_prefix(PREFIX).unwrap_or(&self.key);
        let (path, place) =
            to.split_once('#').map_or((to, String::new()), |(path, place)| (path, format!("#{place}")));
        let and = if path.contains('?') { '&' } else { '?' };
        format!("{path}{and}done={key}{place}")
    }

    /// The same, one copy after another: a later one finds where the first led. For what is known by no key of its
    /// own, and cannot go through [`Desk::handle_once`], which also keeps the copies apart that two daemons get.
    ///
    /// # Errors
    /// Those of [`Once::of`].
    pub(super) async fn alone(desk: &Desk, form: &Form) -> Result<Once, Fault> {
        let turn = turn(form.field("key")).await;
        Ok(Once { _turn: Some(turn), ..Once::of(desk, form).await? })
    }

    /// The moment as the register reads it.
    pub(super) fn moment(&self) -> String {
        self.at.timestamp().to_string()
    }

    /// Remembers where it led, and leads there.
    ///
    /// # Errors
    /// The store's own.
    pub(super) async fn done(&self, desk: &Desk, to: &str) -> Result<Response, Fault> {
        desk.store.note(desk.deed("page"), &self.key, &format!("{} {to}", self.at.0)).await?;
        Ok(see(to))
    }
}

/// Whether a text can be the key of a form.
fn is_key(text: &str) -> bool {
    (16..=64).contains(&text.len())
        && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-_".contains(&byte))
}

/// What the form with a key just did, in words; none where it is not known, did nothing worth a word, or was sent longer
/// ago: what it says may not be so any more.
///
/// # Errors
/// The store's own.
pub(in crate::web) async fn told(desk: &Desk, key: &str) -> Result<Option<String>, StoreError> {
    if !is_key(key) {
        return Ok(None);
    }
    let known = desk.store.remembered(&format!("{PREFIX}{key}")).await?.unwrap_or_default();
    let (at, _, told) = parted(&known);
    let age = at.parse::<i64>().map_or(i64::MAX, |at| desk.now().0.saturating_sub(at));
    if !(0..SAID).contains(&age) {
        return Ok(None);
    }
    let says = told.into_iter().map(|line| upper_first(without_commands(line).trim_end_matches('.')) + ".");
    Ok(Some(says.collect::<Vec<_>>().join(" ")).filter(|says| !says.is_empty()))
}

/// Remembers a form at its first coming; forms long gone are forgotten then.
async fn first(desk: &Desk, key: &str, now: Instant) -> Result<String, StoreError> {
    let old: Vec<String> = desk
        .store
        .remembered_under(PREFIX)
        .await?
        .into_iter()
        .filter(|(_, value)| {
            let at = value.split(' ').next().and_then(|at| at.parse::<i64>().ok());
            at.is_none_or(|at| at < now.0.saturating_sub(KEPT))
        })
        .map(|(rest, _)| format!("{PREFIX}{rest}"))
        .collect();
    desk.store
        .write(desk.deed("page"), async |tx: &mut Writer| {
            for name in &old {
                tx.forget(name).await?;
            }
            if let Some(known) = tx.remembered(key).await? {
                return Ok(known);
            }
            tx.remember(key, &now.0.to_string()).await?;
            Ok(now.0.to_string())
        })
        .await
}

#[cfg(test)]
mod tests {
    use futures_util::FutureExt;

    use super::turn;

    #[tokio::test]
    async fn copies_of_one_form_wait_for_each_other_and_no_other_form_does() {
        let first = turn("0123456789abcdef-turns").await;
        assert!(turn("0123456789abcdef-turns").now_or_never().is_none());
        assert!(turn("0123456789abcdef-others").now_or_never().is_some());
        drop(first);
        assert!(turn("0123456789abcdef-turns").now_or_never().is_some());
    }
}
