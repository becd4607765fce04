//! What was agreed of loans between stations: records like the others.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        crate::run(manager, include_str!("m0009_loans.sql")).await?;
        crate::append_only::guard(manager, "loan").await
    }
}
