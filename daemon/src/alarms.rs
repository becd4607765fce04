//! What is wrong with the service itself, until it is mended: kept in the store, so that pages, mail and a restarted
//! daemon all know of it.

use std::collections::BTreeSet;

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
    /// When it was last news: it came, or something joined it that it never told of.
    pub news: Instant,
}

#[derive(Serialize, Deserialize)]
struct Kept {
    text: String,
    since: i64,
    /// None: as it came.
    #[serde(default)]
    news: Option<i64>,
    /// Everything that it ever told of.
    #[serde(default)]
    of: BTreeSet<String>,
}

/// Raises an alarm. One that stands keeps its age whatever its words say by now: a figure in them is no news.
///
/// # Errors
/// The store's failure.
pub async fn raise(store: &Store, about: &str, text: &str, now: Instant) -> Result<(), StoreError> {
    raise_of(store, about, text, BTreeSet::new(), now).await
}

/// Raises an alarm of several things: one that it did not tell of while it stood is news, however many went.
///
/// # Errors
/// The store's failure.
pub async fn raise_of(
    store: &Store,
    about: &str,
    text: &str,
    of: BTreeSet<String>,
    now: Instant,
) -> Result<(), StoreError> {
    let name = format!("{PREFIX}{about}");
    let stands: Option<Kept> =
        store.remembered(&name).await?.and_then(|kept| serde_json::from_str(&kept).ok());
    let since = stands.as_ref().map_or(now.0, |kept| kept.since);
    let is_news = !stands.as_ref().is_some_and(|kept| of.is_subset(&kept.of));
    if !is_news && stands.as_ref().is_some_and(|kept| kept.text == text) {
        return Ok(());
    }
    let before = stands.as_ref().map_or(now.0, |kept| kept.news.unwrap_or(kept.since));
    let told = stands.map(|kept| kept.of).unwrap_or_default();
    let news = if is_news { now.0 } else { before };
    if is_news {
        tracing::error!(about, text, "alarm");
    } else {
        tracing::warn!(about, text, "an alarm still stands, in other words");
    }
    let kept = Kept { text: text.to_owned(), since, news: Some(news), of: &told | &of };
    store.note(deed(now), &name, &serde_json::json!(kept).to_string()).await
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
    let (since, news) = (Instant(kept.since), Instant(kept.news.unwrap_or(kept.since)));
    Some(Alarm { about: about.to_owned(), text: kept.text, since, news })
}

fn deed(at: Instant) -> Deed {
    Deed { actor: "daemon".to_owned(), action: "alarm".to_owned(), at }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn an_alarm_keeps_its_age_whatever_its_words_say_and_can_be_cleared() {
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
        assert_eq!((left[0].text.as_str(), left[0].since.0, left[0].news.0), ("no such folder", 1, 1));
    }

    #[tokio::test]
    async fn only_what_it_never_told_of_is_news() {
        let store = Store::in_memory().await.unwrap();
        let raised = async |text: &str, of: &[&str], now: i64| {
            let of = of.iter().map(|one| (*one).to_owned()).collect();
            raise_of(&store, "undelivered", text, of, Instant(now)).await.unwrap();
            let alarm = standing(&store).await.unwrap().remove(0);
            (alarm.text, alarm.since.0, alarm.news.0)
        };
        assert_eq!(raised("one", &["a"], 10).await, ("one".to_owned(), 10, 10));
        assert_eq!(raised("two", &["a", "b"], 20).await, ("two".to_owned(), 10, 20));
        assert_eq!(raised("one", &["b"], 30).await, ("one".to_owned(), 10, 20));
        assert_eq!(raised("two again", &["b", "a"], 40).await, ("two again".to_owned(), 10, 20));
        assert_eq!(raised("another", &["c"], 50).await, ("another".to_owned(), 10, 50));
        clear(&store, "undelivered", Instant(60)).await.unwrap();
        assert_eq!(raised("one", &["a"], 70).await, ("one".to_owned(), 70, 70));
    }

    /// As an earlier version kept them.
    #[tokio::test]
    async fn an_alarm_without_its_news_is_as_old_as_it_is() {
        let store = Store::in_memory().await.unwrap();
        store.remember("alarm backup", "{\"text\":\"no room\",\"since\":7}").await.unwrap();
        raise(&store, "backup", "no folder", Instant(9)).await.unwrap();
        let alarm = standing(&store).await.unwrap().remove(0);
        assert_eq!((alarm.text.as_str(), alarm.since.0, alarm.news.0), ("no folder", 7, 7));
        store.remember("alarm mail", "{\"text\":\"a\",\"since\":7,\"worst\":1}").await.unwrap();
        raise_of(&store, "mail", "a and b", ["b".to_owned()].into(), Instant(9)).await.unwrap();
        let mail = standing(&store).await.unwrap().remove(1);
        assert_eq!((mail.since.0, mail.news.0), (7, 9), "nobody was told of b");
    }
}
