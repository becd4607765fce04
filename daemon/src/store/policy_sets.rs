//! Policy sets that were taken up. Their files are read one set at a time: they are the bulk of a row.

use std::collections::BTreeMap;

use policies::zone::Instant;
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, QuerySelect};

use super::{Store, StoreError};
use entities::policy_set::{Column, Entity};

/// A set taken up, without its files.
#[derive(Clone, Debug, PartialEq, Eq, FromQueryResult)]
pub struct Approval {
    /// Its key: hash and day.
    pub key: String,
    /// Hash of the set.
    pub hash: String,
    /// Day from which it is in force.
    pub effective_from: String,
    /// Who took it up.
    pub by: String,
    /// Who agreed.
    pub second: Option<String>,
    /// Why.
    pub reason: Option<String>,
    /// It was marked as a matter of safety.
    pub safety: bool,
    /// Since when it is known, in microseconds.
    pub known_at: i64,
    id: i64,
    void: bool,
}

const COLUMNS: [Column; 10] = [
    Column::Key,
    Column::Hash,
    Column::EffectiveFrom,
    Column::By,
    Column::Second,
    Column::Reason,
    Column::Safety,
    Column::KnownAt,
    Column::Id,
    Column::Void,
];

impl Store {
    /// The sets taken up, as known before a moment: the last to come into force is last, and of one day the one
    /// that was taken up last.
    ///
    /// # Errors
    /// The database's own.
    pub async fn approvals(&self, known_before: Option<Instant>) -> Result<Vec<Approval>, StoreError> {
        let mut query = Entity::find().select_only().columns(COLUMNS).order_by_asc(Column::Id);
        if let Some(before) = known_before {
            query = query.filter(Column::KnownAt.lt(before.0));
        }
        let rows = query.into_model::<Approval>().all(&self.db).await;
        let rows = rows.map_err(StoreError::while_("reading the policy sets taken up"))?;
        let newest: BTreeMap<String, Approval> = rows.into_iter().map(|row| (row.key.clone(), row)).collect();
        let mut found: Vec<Approval> = newest.into_values().filter(|row| !row.void).collect();
        found.sort_by(|a, b| (&a.effective_from, a.id).cmp(&(&b.effective_from, b.id)));
        Ok(found)
    }

    /// The files of a set that was taken up, as they were kept.
    ///
    /// # Errors
    /// The database's own.
    pub async fn approved_files(&self, approval: &Approval) -> Result<Option<String>, StoreError> {
        let files = Entity::find_by_id(approval.id).select_only().column(Column::Files);
        let files = files.into_tuple().one(&self.db).await;
        files.map_err(StoreError::while_("reading a policy set taken up"))
    }
}
