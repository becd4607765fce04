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
            crate::append_only::guard(manager, table).await?;
        }
        Ok(())
    }
}
