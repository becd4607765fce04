//! The due table, a cache that is rewritten in the transaction of the record that moves it.

use policies::amount::Amount;
use policies::due::{Because, DueRow};
use policies::facts::Fleet;
use policies::load::PolicySet;
use policies::standing::Standing;
use sea_orm::sea_query::OnConflict;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, Set};

use super::write::Writer;
use super::{Store, StoreError};

/// A stored row of the due table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredDue {
    /// Item.
    pub item: String,
    /// Rule.
    pub rule: String,
    /// The day it was judged at the end of.
    pub as_of: String,
    /// Standing.
    pub standing: String,
    /// Due date and the clause that gives it.
    pub due_on: Option<String>,
    /// `calendar`, `usage`, `after` or `no base`.
    pub because: Option<String>,
    /// Calendar, reached, 10 %, 50 %, 90 % and after dates.
    pub dates: [Option<String>; 6],
    /// Meter, used and limit.
    pub usage: Option<(String, Amount, Amount)>,
    /// No use is left.
    pub used_up: bool,
    /// Held after an event.
    pub held: bool,
}

impl StoredDue {
    /// A row as it is stored.
    pub fn of(set: &PolicySet, fleet: &Fleet, as_of: jiff::civil::Date, row: &DueRow) -> StoredDue {
        let [p10, p50, p90] = row.forecast;
        let dates = [row.calendar_due, row.usage_due, p10, p50, p90, row.after_due];
        StoredDue {
            item: fleet.item(row.item).tag.to_string(),
            rule: set.rule(row.rule).id.clone(),
            as_of: as_of.to_string(),
            standing: Standing::word(row.standing).to_owned(),
            due_on: row.due_on.map(|date| date.to_string()),
            because: row.because.map(|because| Because::word(because).to_owned()),
            dates: dates.map(|date| date.map(|date| date.to_string())),
            usage: row.meter.map(|meter| (set.kinds.meter_name(meter).to_owned(), row.used, row.limit)),
            used_up: row.used_up,
            held: row.held,
        }
    }

    fn to_row(&self) -> entities::due::ActiveModel {
        let [calendar_due, usage_due, p10, p50, p90, after_due] = self.dates.clone();
        let usage = self.usage.as_ref();
        entities::due::ActiveModel {
            item: Set(self.item.clone()),
            rule: Set(self.rule.clone()),
            as_of: Set(self.as_of.clone()),
            standing: Set(self.standing.clone()),
            due_on: Set(self.due_on.clone()),
            because: Set(self.because.clone()),
            calendar_due: Set(calendar_due),
            usage_due: Set(usage_due),
            p10: Set(p10),
            p50: Set(p50),
            p90: Set(p90),
            after_due: Set(after_due),
            meter: Set(usage.map(|(meter, ..)| meter.clone())),
            used: Set(usage.map(|(_, used, _)| used.millionths())),
            usage_limit: Set(usage.map(|(.., limit)| limit.millionths())),
            used_up: Set(self.used_up),
            held: Set(self.held),
        }
    }
}

impl From<entities::due::Model> for StoredDue {
    fn from(row: entities::due::Model) -> StoredDue {
        let amounts = row.used.zip(row.usage_limit);
        let usage = row.meter.zip(amounts).map(|(meter, (used, limit))| {
            (meter, Amount::from_millionths(used), Amount::from_millionths(limit))
        });
        StoredDue {
            item: row.item,
            rule: row.rule,
            as_of: row.as_of,
            standing: row.standing,
            due_on: row.due_on,
            because: row.because,
            dates: [row.calendar_due, row.usage_due, row.p10, row.p50, row.p90, row.after_due],
            usage,
            used_up: row.used_up,
            held: row.held,
        }
    }
}

const ROWS_A_STATEMENT: usize = 1_500;

impl Writer {
    /// Rewrites the rows of these items: what is in `rows` stands, what else they had goes.
    ///
    /// # Errors
    /// The database's own.
    pub async fn rewrite_due(&mut self, items: &[&str], rows: &[StoredDue]) -> Result<(), StoreError> {
        use entities::due::{Column, Entity};
        for chunk in items.chunks(10_000) {
            let kept: std::collections::HashSet<(&str, &str)> =
                rows.iter().map(|row| (&*row.item, &*row.rule)).collect();
            let stored = Entity::find().filter(Column::Item.is_in(chunk.iter().copied()));
            let stored = stored.all(&self.tx).await.map_err(StoreError::while_("reading the due table"))?;
            for gone in stored.iter().filter(|row| !kept.contains(&(row.item.as_str(), row.rule.as_str()))) {
                let key = (gone.item.clone(), gone.rule.clone());
                let deleted = Entity::delete_by_id(key).exec(&self.tx).await;
                deleted.map_err(StoreError::while_("clearing the due table"))?;
            }
        }
        self.put_due(rows).await
    }

    /// Rewrites the whole table.
    ///
    /// # Errors
    /// The database's own.
    pub async fn replace_due(&mut self, rows: &[StoredDue]) -> Result<(), StoreError> {
        let cleared = self.tx.execute_unprepared("DELETE FROM due").await;
        cleared.map_err(StoreError::while_("clearing the due table"))?;
        self.put_due(rows).await
    }

    /// Writes these rows over those of the same item and rule.
    ///
    /// # Errors
    /// The database's own.
    pub async fn put_due(&mut self, rows: &[StoredDue]) -> Result<(), StoreError> {
        use entities::due::{Column, Entity};
        let columns = [
            Column::AsOf,
            Column::Standing,
            Column::DueOn,
            Column::Because,
            Column::CalendarDue,
            Column::UsageDue,
            Column::P10,
            Column::P50,
            Column::P90,
            Column::AfterDue,
            Column::Meter,
            Column::Used,
            Column::UsageLimit,
            Column::UsedUp,
            Column::Held,
        ];
        for chunk in rows.chunks(ROWS_A_STATEMENT) {
            let replace =
                OnConflict::columns([Column::Item, Column::Rule]).update_columns(columns).to_owned();
            let insert = Entity::insert_many(chunk.iter().map(StoredDue::to_row)).on_conflict(replace);
            let written = insert.exec_without_returning(&self.tx).await;
            written.map_err(StoreError::while_("writing the due table"))?;
        }
        Ok(())
    }
}

impl Store {
    /// The whole stored due table.
    ///
    /// # Errors
    /// The database's own.
    pub async fn due_table(&self) -> Result<Vec<StoredDue>, StoreError> {
        let rows = entities::due::Entity::find().all(&self.db).await;
        Ok(rows
            .map_err(StoreError::while_("reading the due table"))?
            .into_iter()
            .map(StoredDue::from)
            .collect())
    }
}
