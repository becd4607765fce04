//! The head of the chain for pages: whoever asks while somebody else is asking shares the next answer, so that a crowd
//! of readers costs the store two questions and not one each.

use std::sync::atomic::{AtomicU64, Ordering};

use tokio::sync::Mutex;

use super::Desk;
use crate::store::StoreError;

/// Questions that were begun, and the last answer with the number of its question; none where it failed.
#[derive(Debug, Default)]
pub(super) struct Asked {
    begun: AtomicU64,
    last: Mutex<(u64, Option<i64>)>,
}

impl Desk {
    /// The head's number, by a question that was begun no earlier than this call.
    ///
    /// # Errors
    /// The database's own.
    pub(crate) async fn head(&self) -> Result<i64, StoreError> {
        let before = self.asked.begun.load(Ordering::SeqCst);
        let mut last = self.asked.last.lock().await;
        match *last {
            (number, Some(head)) if number > before => return Ok(head),
            // A store that is away lets everybody wait for as long as one: each asks by themselves.
            (number, None) if number > before => {
                drop(last);
                return Ok(self.store.head().await?.seq);
            }
            _ => {}
        }
        let number = self.asked.begun.fetch_add(1, Ordering::SeqCst) + 1;
        let head = self.store.head().await.map(|head| head.seq);
        *last = (number, head.as_ref().ok().copied());
        head
    }
}
