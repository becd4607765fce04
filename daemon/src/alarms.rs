//! What is wrong with the service itself, until it is mended: kept in the store, so that pages, mail and a restarted
//! daemon all know of it.

use policies::zone::Instant;
use serde::{Deserialize, Serialize};

use crate::store::write::Deed;
use crate::store::{Store, StoreError, Writer};

const PREFIX: &str = "alarm ";

/// Something wrong with the service.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alarm {
    /// What it is about: `clock`, `backup`, `policies` …
    pub about: String,
    /// What is wrong, and what would be right.
    pub text: String,
    /// Since when.
    pub since: Instant,
}

#[derive(Serialize, Deserialize)]
struct Kept {
    text: String,
    since: i64,
}

/// Raises an alarm. One that stands with the same words keeps its age; other words are news.
///
/// # Errors
/// The store's failure.
pub async fn raise(store: &Store, about: &str, text: &str, now: Instant) -> Result<(), StoreError> {
    let name = format!("{PREFIX}{about}");
    let stands = store.remembered(&name).await?.and_then(|kept| read(about, &kept));
    if stands.is_some_and(|alarm| alarm.text == text) {
        return Ok(());
    }
    tracing::error!(about, text, "alarm");
    let kept = serde_json::json!({ "text": text, "since": now.0 }).to_string();
    store.note(deed(now), &name, &kept).await
}

/// Clears an alarm; one that does not stand is clear already.
///
/// # Errors
/// The store's failure.
pub async fn clear(store: &Store, about: &str, now: Instant) -> Result<(), StoreError> {
    let name = format!("{PREFIX}{about}");
    if store.remembered(&name).await?.is_none() {
        return Ok(());
    }
    tracing::info!(about, "an alarm is over");
    store.write(deed(now), async |tx: &mut Writer| tx.forget(&name).await).await
}

/// Every alarm that stands, by what it is about.
///
/// # Errors
/// The store's failure.
pub async fn standing(store: &Store) -> Result<Vec<Alarm>, StoreError> {
    let kept = store.remembered_under(PREFIX).await?;
    let mut found: Vec<Alarm> = kept.iter().filter_map(|(about, kept)| read(about, kept)).collect();
    found.sort_by(|a, b| a.about.cmp(&b.about));
    Ok(found)
}

fn read(about: &str, kept: &str) -> Option<Alarm> {
    let kept: Kept = serde_json::from_str(kept).ok()?;
    Some(Alarm { about: about.to_owned(), text: kept.text, since: Instant(kept.since) })
}

fn deed(at: Instant) -> Deed {
    Deed { actor: "daemon".to_owned(), action: "alarm".to_owned(), at }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn an_alarm_keeps_its_age_until_its_words_change_and_can_be_cleared() {
        let store = Store::in_memory().await.unwrap();
        raise(&store, "backup", "no room", Instant(1)).await.unwrap();
        raise(&store, "backup", "no room", Instant(2)).await.unwrap();
        raise(&store, "clock", "it says 1970", Instant(3)).await.unwrap();
        let since: Vec<i64> = standing(&store).await.unwrap().iter().map(|alarm| alarm.since.0).collect();
        assert_eq!(since, [1, 3]);
        raise(&store, "backup", "no such folder", Instant(4)).await.unwrap();
        clear(&store, "clock", Instant(5)).await.unwrap();
        clear(&store, "clock", Instant(6)).await.unwrap();
        let left = standing(&store).await.unwrap();
        assert_eq!(left.len(), 1);
        assert_eq!((left[0].text.as_str(), left[0].since.0), ("no such folder", 4));
    }
}
