//! Sending held: whether mail may go out at all, and why not. And the place where the store was taken into service:
//! a copy that runs anywhere else sends nothing until somebody adopts it, or everybody would be told twice.

use policies::zone::Instant;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::store::{Store, StoreError, Writer};

/// What sending is held for. Each is held and released by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// The machine's clock cannot be right.
    Clock,
    /// The store was copied here from another place.
    Copied,
    /// The store was put back from a backup.
    Restored,
    /// Somebody said so.
    Person,
}

impl Cause {
    const ALL: [Cause; 4] = [Cause::Clock, Cause::Copied, Cause::Restored, Cause::Person];

    /// The word after the setting's name.
    const fn word(self) -> &'static str {
        match self {
            Cause::Clock => "clock",
            Cause::Copied => "copied",
            Cause::Restored => "restored",
            Cause::Person => "person",
        }
    }

    fn setting(self) -> String {
        format!("{HELD}{}", self.word())
    }
}

const HELD: &str = "sending held ";
const PLACE: &str = "adopted at";
const RELAY: &str = "relay trouble";

/// Why sending is held, and since when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    /// What for.
    pub cause: Cause,
    /// Why, in words.
    pub why: String,
    /// Since when.
    pub since: Instant,
}

/// The relay takes nothing: since when, why, and when it is tried again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RelayTrouble {
    /// Since when.
    pub since: Instant,
    /// Last tried.
    pub tried_at: Instant,
    /// Tried again.
    pub again_at: Instant,
    /// How often it was tried.
    pub tries: u32,
    /// Why, in words.
    pub why: String,
}

#[derive(Serialize, Deserialize)]
struct Stored {
    since: i64,
    why: String,
}

/// Where a store was taken into service.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Adopted {
    /// Tells one taking into service from another.
    pub instance: String,
    /// Where.
    pub place: String,
    /// When, in microseconds.
    pub at: i64,
}

/// Everything that sending is held for; empty: mail goes out.
///
/// # Errors
/// The store's failure.
pub async fn all_held(store: &Store) -> Result<Vec<Held>, StoreError> {
    let settings = store.remembered_under(HELD).await?;
    let held = Cause::ALL.into_iter().filter_map(|cause| {
        let text = settings.get(cause.word())?;
        // Unreadable is held all the same: doubt holds mail back, it never lets it out.
        let stored = serde_json::from_str(text).unwrap_or(Stored { since: 0, why: text.clone() });
        Some(Held { cause, why: stored.why, since: Instant(stored.since) })
    });
    Ok(held.collect())
}

/// Why sending is held, the earliest reason; none: mail goes out.
///
/// # Errors
/// The store's failure.
pub async fn held(store: &Store) -> Result<Option<Held>, StoreError> {
    Ok(all_held(store).await?.into_iter().min_by_key(|held| held.since))
}

/// Holds sending. Held for the same cause already, the first moment stands.
///
/// # Errors
/// The store's failure.
pub async fn hold(store: &Store, cause: Cause, why: &str, now: Instant) -> Result<(), StoreError> {
    let before = all_held(store).await?.into_iter().find(|held| held.cause == cause);
    let since = before.map_or(now, |held| held.since);
    let text = serde_json::json!({ "since": since.0, "why": why }).to_string();
    store.remember(&cause.setting(), &text).await
}

/// Holds the sending of a copy that is being made, in the transaction that makes it.
///
/// # Errors
/// The store's failure.
pub async fn hold_copy(tx: &mut Writer, why: &str, now: Instant) -> Result<(), StoreError> {
    let text = serde_json::json!({ "since": now.0, "why": why }).to_string();
    tx.remember(&Cause::Copied.setting(), &text).await
}

/// Ends holding for one cause.
///
/// # Errors
/// The store's failure.
pub async fn release(store: &Store, cause: Cause) -> Result<(), StoreError> {
    store.forget(&cause.setting()).await
}

/// Where the store was taken into service; none where it never was.
///
/// # Errors
/// The store's failure.
pub async fn adopted(store: &Store) -> Result<Option<Adopted>, StoreError> {
    let text = store.remembered(PLACE).await?;
    Ok(text.and_then(|text| serde_json::from_str(&text).ok()))
}

/// Takes the store into service at a place, and ends what being a copy held up.
///
/// # Errors
/// The store's failure.
pub async fn adopt(store: &Store, place: &str, now: Instant) -> Result<Adopted, StoreError> {
    let adopted = Adopted { instance: instance(place, now), place: place.to_owned(), at: now.0 };
    let text = serde_json::json!(adopted).to_string();
    store.remember(PLACE, &text).await?;
    release(store, Cause::Copied).await?;
    release(store, Cause::Restored).await?;
    Ok(adopted)
}

/// Asked when a daemon starts: a store that was never in service is taken into it; one that was in service
/// elsewhere is a copy, and its sending is held.
///
/// # Errors
/// The store's failure.
pub async fn settle_place(store: &Store, place: &str, now: Instant) -> Result<(), StoreError> {
    match adopted(store).await? {
        None if held(store).await?.is_none() => adopt(store, place, now).await.map(drop),
        Some(adopted) if adopted.place != place => {
            let why = format!(
                "this store was taken into service at {}, and now runs at {place}: a copy sends nothing until `tallow adopt`",
                adopted.place
            );
            hold(store, Cause::Copied, &why, now).await
        }
        _ => Ok(()),
    }
}

fn instance(place: &str, now: Instant) -> String {
    let digest = Sha256::digest(format!("{place}\n{}", now.0));
    let mut half = [0; 8];
    half.copy_from_slice(&digest[..8]);
    format!("{:016x}", u64::from_be_bytes(half))
}

/// The name of the place: what the settings call it, or this machine and where the store lies.
///
/// # Errors
/// The store's failure.
pub async fn place(named: Option<&str>, store: &Store) -> Result<String, StoreError> {
    if let Some(named) = named {
        return Ok(named.to_owned());
    }
    match store.path() {
        Some(path) => {
            let path = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
            let path = path.canonicalize().unwrap_or(path);
            Ok(format!("{} {}", machine(), path.display()))
        }
        None => store.server_place().await,
    }
}

/// The machine's own number, which stays where a container's host name changes; its host name otherwise.
fn machine() -> String {
    let read = |path| std::fs::read_to_string(path).ok().map(|text| text.trim().to_owned());
    let known = |text: &String| !text.is_empty() && text != "uninitialized";
    let number = read("/etc/machine-id").filter(known);
    let number = number.map(|number| format!("machine {}", number.chars().take(8).collect::<String>()));
    let name = || read("/etc/hostname").filter(known).or_else(|| read("/proc/sys/kernel/hostname"));
    number.or_else(name).unwrap_or_else(|| "this machine".to_owned())
}

/// Why the relay takes nothing; none: it does, as far as is known.
///
/// # Errors
/// The store's failure.
pub async fn relay_trouble(store: &Store) -> Result<Option<RelayTrouble>, StoreError> {
    let text = store.remembered(RELAY).await?;
    let value = text.and_then(|text| serde_json::from_str::<serde_json::Value>(&text).ok());
    Ok(value.map(|value| {
        let moment = |name: &str| Instant(value[name].as_i64().unwrap_or_default());
        RelayTrouble {
            since: moment("since"),
            tried_at: moment("tried_at"),
            again_at: moment("again_at"),
            tries: value["tries"].as_u64().and_then(|tries| tries.try_into().ok()).unwrap_or_default(),
            why: value["why"].as_str().unwrap_or_default().to_owned(),
        }
    }))
}

/// Remembers that the relay takes nothing, or that it does again.
///
/// # Errors
/// The store's failure.
pub async fn note_relay_trouble(store: &Store, trouble: Option<&RelayTrouble>) -> Result<(), StoreError> {
    let Some(trouble) = trouble else { return store.forget(RELAY).await };
    let text = serde_json::json!({
        "since": trouble.since.0, "tried_at": trouble.tried_at.0, "again_at": trouble.again_at.0,
        "tries": trouble.tries, "why": trouble.why,
    });
    store.remember(RELAY, &text.to_string()).await
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Instant = Instant(1_791_784_800_000_000);
    const LATER: Instant = Instant(NOW.0 + 60_000_000);

    #[tokio::test]
    async fn each_cause_is_held_and_released_by_itself() {
        let store = Store::in_memory().await.unwrap();
        assert_eq!(held(&store).await.unwrap(), None);
        hold(&store, Cause::Clock, "the clock went back", LATER).await.unwrap();
        hold(&store, Cause::Person, "relay moved today", NOW).await.unwrap();
        hold(&store, Cause::Person, "relay moved tomorrow", LATER).await.unwrap();
        let first = held(&store).await.unwrap().unwrap();
        assert_eq!(
            (first.cause, first.why.as_str(), first.since),
            (Cause::Person, "relay moved tomorrow", NOW)
        );
        release(&store, Cause::Person).await.unwrap();
        assert_eq!(held(&store).await.unwrap().unwrap().cause, Cause::Clock);
        release(&store, Cause::Clock).await.unwrap();
        assert_eq!(held(&store).await.unwrap(), None);
    }

    #[tokio::test]
    async fn what_cannot_be_read_holds_all_the_same() {
        let store = Store::in_memory().await.unwrap();
        store.remember("sending held copied", "by hand").await.unwrap();
        let held = held(&store).await.unwrap().unwrap();
        assert_eq!((held.cause, held.why.as_str()), (Cause::Copied, "by hand"));
    }

    #[tokio::test]
    async fn a_store_in_another_place_is_held_until_it_is_adopted_there() {
        let store = Store::in_memory().await.unwrap();
        settle_place(&store, "here", NOW).await.unwrap();
        let first = adopted(&store).await.unwrap().unwrap();
        settle_place(&store, "here", LATER).await.unwrap();
        assert_eq!(
            (adopted(&store).await.unwrap().unwrap(), held(&store).await.unwrap()),
            (first.clone(), None)
        );
        settle_place(&store, "there", LATER).await.unwrap();
        assert_eq!(held(&store).await.unwrap().unwrap().cause, Cause::Copied);
        let second = adopt(&store, "there", LATER).await.unwrap();
        assert_eq!(held(&store).await.unwrap(), None);
        assert_ne!(first.instance, second.instance);
        settle_place(&store, "there", LATER).await.unwrap();
        assert_eq!(held(&store).await.unwrap(), None);
    }

    /// A backup from before the store was ever in service is held as well.
    #[tokio::test]
    async fn a_restored_store_that_never_was_in_service_stays_held() {
        let store = Store::in_memory().await.unwrap();
        hold(&store, Cause::Restored, "put back", NOW).await.unwrap();
        settle_place(&store, "here", NOW).await.unwrap();
        assert_eq!(held(&store).await.unwrap().unwrap().cause, Cause::Restored);
        assert_eq!(adopted(&store).await.unwrap(), None);
    }

    #[tokio::test]
    async fn the_relays_trouble_is_read_back_and_forgotten() {
        let store = Store::in_memory().await.unwrap();
        let trouble =
            RelayTrouble { since: NOW, tried_at: NOW, again_at: LATER, tries: 3, why: "535 no".to_owned() };
        note_relay_trouble(&store, Some(&trouble)).await.unwrap();
        assert_eq!(relay_trouble(&store).await.unwrap(), Some(trouble));
        note_relay_trouble(&store, None).await.unwrap();
        assert_eq!(relay_trouble(&store).await.unwrap(), None);
    }
}
