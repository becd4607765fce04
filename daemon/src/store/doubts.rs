//! What doubts are asked of: the entries of some moments, and the answers given so far.

use std::collections::BTreeSet;

use policies::zone::Instant;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use super::current::{Newest, newest};
use super::tables::Stored;
use super::write::Writer;
use super::{Store, StoreError};
use crate::records::{DoubtAnswer, Usage};

/// Values asked for in one statement.
const MOST: usize = 5_000;

/// An answer and when it became known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Given {
    /// The answer.
    pub answer: DoubtAnswer,
    /// Known since.
    pub at: Instant,
}

impl Store {
    /// Entries of use of these moments, ascending, as known before a moment.
    ///
    /// # Errors
    /// The database's own.
    pub async fn entries_at(
        &self,
        moments: &[i64],
        known_before: Option<Instant>,
    ) -> Result<Vec<Usage>, StoreError> {
        entries_at(&self.db, moments, known_before).await
    }

    /// Entries of use under these keys, void ones among them, as known before a moment.
    ///
    /// # Errors
    /// The database's own.
    pub async fn entries_under(
        &self,
        keys: &[&str],
        known_before: Option<Instant>,
    ) -> Result<Newest<Usage>, StoreError> {
        entries_under(&self.db, keys, known_before).await
    }

    /// Every answer that holds, in the order of the doubts' keys, as known before a moment.
    ///
    /// # Errors
    /// The database's own.
    pub async fn doubt_answers(&self, known_before: Option<Instant>) -> Result<Vec<Given>, StoreError> {
        use entities::doubt_answers::{Column, Entity};
        let mut query = Entity::find().order_by_asc(Column::Key).order_by_asc(Column::Version);
        if let Some(before) = known_before {
            query = query.filter(Column::KnownAt.lt(before.0));
        }
        let rows = query.all(&self.db).await.map_err(StoreError::while_("reading answers to doubts"))?;
        let given = rows.into_iter().map(|row| {
            let (answer, place) = DoubtAnswer::of_row(row);
            Given { answer, at: Instant(place.known_at) }
        });
        let mut newest: Vec<Given> = Vec::new();
        for given in given {
            newest.pop_if(|last| last.answer.key == given.answer.key);
            newest.push(given);
        }
        newest.retain(|given| !given.answer.void);
        Ok(newest)
    }
}

impl Writer {
    /// Entries of use of these moments, ascending.
    ///
    /// # Errors
    /// The database's own.
    pub async fn entries_at(&self, moments: &[i64]) -> Result<Vec<Usage>, StoreError> {
        entries_at(&self.tx, moments, None).await
    }

    /// The newest answer to every doubt that has one, void ones among them.
    ///
    /// # Errors
    /// The database's own.
    pub async fn doubt_answers(&self) -> Result<Newest<DoubtAnswer>, StoreError> {
        newest(&self.tx, None).await
    }
}

/// The entries themselves are looked up by their keys, since a correction may have moved one away from its moment.
async fn entries_at(
    db: &impl ConnectionTrait,
    moments: &[i64],
    known_before: Option<Instant>,
) -> Result<Vec<Usage>, StoreError> {
    use entities::usage::{Column, Entity};
    let mut keys = BTreeSet::new();
    for chunk in moments.chunks(MOST) {
        let rows = Entity::find().select_only().column(Column::Key).distinct();
        let rows = rows.filter(Column::At.is_in(chunk.iter().copied()));
        let found = rows.into_tuple::<String>().all(db).await;
        keys.extend(found.map_err(StoreError::while_("looking entries up"))?);
    }
    let keys: Vec<&str> = keys.iter().map(String::as_str).collect();
    let mut entries: Vec<Usage> =
        entries_under(db, &keys, known_before).await?.into_values().filter(|row| !row.void).collect();
    entries.retain(|row| row.day.is_none() && moments.binary_search(&row.at).is_ok());
    entries.sort_unstable_by(|a, b| (a.at, &a.key).cmp(&(b.at, &b.key)));
    Ok(entries)
}

/// Ordered by version, which the index gives.
async fn entries_under(
    db: &impl ConnectionTrait,
    keys: &[&str],
    known_before: Option<Instant>,
) -> Result<Newest<Usage>, StoreError> {
    use entities::usage::{Column, Entity};
    let mut found = Newest::new();
    for chunk in keys.chunks(MOST) {
        let mut query = Entity::find().filter(Column::Key.is_in(chunk.iter().copied()));
        if let Some(before) = known_before {
            query = query.filter(Column::KnownAt.lt(before.0));
        }
        let rows = query.order_by_asc(Column::Version).all(db).await;
        let rows = rows.map_err(StoreError::while_("looking entries up"))?;
        found.extend(rows.into_iter().map(|row| {
            let (entry, _) = Usage::of_row(row);
            (entry.key.clone(), entry)
        }));
    }
    Ok(found)
}
