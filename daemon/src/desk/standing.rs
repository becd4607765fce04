//! Records that pages read again and again, kept while nothing but counts of use was recorded: those change none of them.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::Desk;
use crate::store::{StoreError, Stored};

/// The records of a file as they stood at a head of the chain.
struct Kept {
    head: i64,
    records: Arc<dyn Any + Send + Sync>,
}

/// By what they are records of.
#[derive(Default)]
pub(super) struct Standing(Mutex<HashMap<TypeId, Kept>>);

impl Standing {
    fn all(&self) -> MutexGuard<'_, HashMap<TypeId, Kept>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn of<R: Stored>(&self) -> Option<(i64, Arc<Vec<R>>)> {
        let all = self.all();
        let kept = all.get(&TypeId::of::<R>())?;
        Some((kept.head, Arc::clone(&kept.records).downcast().ok()?))
    }
}

impl Desk {
    /// The records of one file that hold, in the order of their keys. For files of moderate length, and never for use.
    ///
    /// # Errors
    /// The database's own.
    pub(crate) async fn standing<R: Stored>(&self) -> Result<Arc<Vec<R>>, StoreError> {
        let head = self.head().await?;
        if let Some((of, records)) = self.standing.of::<R>()
            && (of == head || self.only_counted(of, head).await)
        {
            return Ok(records);
        }
        let mut records: Vec<R> = self.store.newest::<R>().await?.into_values().collect();
        records.retain(|record| !record.is_void());
        records.sort_unstable_by(|a, b| a.key().cmp(b.key()));
        let records = Arc::new(records);
        let kept = Kept { head, records: Arc::clone(&records) as Arc<dyn Any + Send + Sync> };
        self.standing.all().insert(TypeId::of::<R>(), kept);
        Ok(records)
    }
}
