//! The append-only records and their chain.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

const APPEND_ONLY: &[&str] = &[
    "link",
    "station",
    "person",
    "item",
    "fitting",
    "usage",
    "work",
    "state",
    "concession",
    "certificate",
    "part",
    "stock",
];

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        crate::run(manager, include_str!("m0001_records.sql")).await?;
        for table in APPEND_ONLY {
            for act in ["UPDATE", "DELETE"] {
                let guard = format!(
                    "CREATE TRIGGER {table}_no_{act} BEFORE {act} ON {table} BEGIN \
                     SELECT RAISE(ABORT, '{table} is append-only: record a correction instead'); END"
                );
                manager.get_connection().execute_unprepared(&guard).await?;
            }
            manager.get_connection().execute_unprepared(&no_replace(table)).await?;
        }
        Ok(())
    }
}

/// `INSERT OR REPLACE` deletes what is in its way, and does so behind the back of a trigger on DELETE.
fn no_replace(table: &str) -> String {
    let in_its_way = match table {
        "link" => ["seq = NEW.seq", "hash = NEW.hash"],
        _ => ["key = NEW.key AND version = NEW.version", "id = NEW.id"],
    };
    let [one, other] = in_its_way.map(|same| format!("EXISTS (SELECT 1 FROM {table} WHERE {same})"));
    format!(
        "CREATE TRIGGER {table}_no_REPLACE BEFORE INSERT ON {table} WHEN {one} OR {other} BEGIN \
         SELECT RAISE(ABORT, '{table} is append-only: this record is there already'); END"
    )
}
