//! One request is done once, however often it is sent: under its key stand the digest of what was asked, the moment it
//! first came, and in time its answer. A daemon that went down in between does the same deed again with that key and
//! moment, which makes no second record.

use std::collections::BTreeMap;
use std::sync::Arc;

use policies::zone::Instant;
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::ask::Given;
use super::deeds::{Body, Deed, Doing};
use super::problem::{Problem, Spot, Wrong};
use crate::accounts::Seen;
use crate::web::Web;

/// Answers are kept for so long.
const KEPT: i64 = 90 * 24 * 60 * 60 * 1_000_000;

/// The key of a request.
///
/// # Errors
/// None is given, or one that cannot be.
pub(super) fn key(given: Option<&str>) -> Result<String, Problem> {
    let plain = |key: &&str| {
        let letter = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'_' | b':' | b'-');
        (8..=64).contains(&key.len()) && key.bytes().all(letter)
    };
    if let Some(key) = given.filter(plain) {
        return Ok(key.to_owned());
    }
    let detail = if given.is_some() { "This key cannot be" } else { "The request has no key" };
    Err(Problem::unreadable(Wrong {
        spot: Spot::Header("idempotency-key"),
        detail: detail.to_owned(),
        right: "Give each new request 8 to 64 characters of A-Z a-z 0-9 . _ : - and send them again with it."
            .to_owned(),
    }))
}

fn digest(deed: Deed, names: &[String], body: &Body) -> String {
    let sorted: BTreeMap<&String, &Value> = body.iter().collect();
    let mut sink = Digesting(Sha256::new_with_prefix(format!("{} {names:?} ", deed.path)));
    // A body that was read as JSON can be written as JSON, and this sink takes all of it.
    let _ = serde_json::to_writer(&mut sink, &sorted);
    sink.0.finalize().iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"))
}

/// Digests what is written, however long it is: a body may hold a file.
struct Digesting(Sha256);

impl std::io::Write for Digesting {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Does a deed, or answers what it was answered before.
///
/// # Errors
/// The key stands for another request, or the deed's own.
pub(super) async fn once(
    deed: Deed,
    web: &Arc<Web>,
    seen: Arc<Seen>,
    (names, body): (Vec<String>, Body),
    key: String,
) -> Result<Value, Problem> {
    let digest = digest(deed, &names, &body);
    let given = Given::read(body, deed.fields)?;
    let (store, person) = (web.desk.store.clone(), seen.who.person.key.clone());
    let now = web.desk.now();
    let begun = store.begin_request(&person, &key, &digest, now, Instant(now.0 - KEPT)).await?;
    if begun.digest != digest {
        let text = format!("\"{key}\" was given to another request before, which stands as it is.");
        return Err(Problem::new("key-used", text));
    }
    if let Some(answer) = begun.answer {
        return Ok(serde_json::from_str(&answer).unwrap_or(Value::Null));
    }
    let doing = Doing { web: Arc::clone(web), seen, names, given, key: key.clone(), at: Instant(begun.at) };
    match (deed.run)(doing).await {
        Ok(told) => {
            // Of several at the same time, all tell what the first told.
            let kept = store.answer_request(&person, &key, &told.to_string()).await?;
            Ok(kept.and_then(|kept| serde_json::from_str(&kept).ok()).unwrap_or(told))
        }
        Err(problem) => {
            if problem.status().is_client_error() {
                store.drop_request(&person, &key).await?;
            }
            Err(problem.at_one_of(deed.fields))
        }
    }
}
