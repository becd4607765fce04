//! What was told already, as the notices in the outbox say.

use std::collections::HashMap;

use entities::notice::{Column, Entity};
use entities::notice_mail;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use super::{Fresh, Told};
use crate::store::{Store, StoreError};

impl Store {
    /// Number, recipient and frozen bytes of every notice.
    ///
    /// # Errors
    /// The database's own.
    pub async fn frozen_notices(&self) -> Result<Vec<(String, String, Vec<u8>)>, StoreError> {
        let doing = StoreError::while_("reading notices");
        let mut all = Vec::new();
        let ids = Entity::find().select_only().columns([Column::Id, Column::Number, Column::Recipient]);
        let ids: Vec<(i64, String, String)> =
            ids.order_by_asc(Column::Id).into_tuple().all(&self.db).await.map_err(&doing)?;
        for chunk in ids.chunks(500) {
            let mut mails = mails(&self.db, chunk.iter().map(|(id, ..)| *id)).await?;
            all.extend(chunk.iter().map(|(id, number, recipient)| {
                (number.clone(), recipient.clone(), mails.remove(id).unwrap_or_default())
            }));
        }
        Ok(all)
    }

    /// The number of the newest notice, within whatever year; nought before the first.
    ///
    /// # Errors
    /// The database's own.
    pub async fn last_notice_number(&self) -> Result<u64, StoreError> {
        last_notice_number(&self.db).await
    }
}

/// Acknowledgements have numbers of their own.
pub(super) async fn last_notice_number(db: &impl ConnectionTrait) -> Result<u64, StoreError> {
    let numbered = Entity::find().filter(Column::Number.starts_with("N-"));
    let newest = numbered.select_only().column(Column::Number).order_by_desc(Column::Id).limit(1);
    let newest = newest.into_tuple::<String>().one(db).await;
    let newest = newest.map_err(StoreError::while_("numbering notices"))?;
    Ok(newest.and_then(|number| sequence(&number)).unwrap_or(0))
}

/// `1187` of `N-2026-1187`.
fn sequence(number: &str) -> Option<u64> {
    number.rsplit('-').next()?.parse().ok()
}

impl Fresh {
    /// Its number within the year.
    pub fn sequence(&self) -> Option<u64> {
        sequence(&self.number)
    }
}

/// The finished bytes of these notices.
pub(super) async fn mails(
    db: &impl ConnectionTrait,
    notices: impl Iterator<Item = i64>,
) -> Result<HashMap<i64, Vec<u8>>, StoreError> {
    let rows = notice_mail::Entity::find().filter(notice_mail::Column::Notice.is_in(notices)).all(db).await;
    let rows = rows.map_err(StoreError::while_("reading mails"))?;
    Ok(rows.into_iter().map(|row| (row.notice, row.bytes)).collect())
}

impl From<entities::notice_line::Model> for Told {
    fn from(row: entities::notice_line::Model) -> Told {
        Told { item: row.item, rule: row.rule, occurrence: row.occurrence, stage: row.stage }
    }
}
