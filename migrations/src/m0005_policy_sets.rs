//! Policy sets that were taken up, each with who approved it; append-only like every record.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        crate::run(manager, include_str!("m0005_policy_sets.sql")).await?;
        crate::append_only::guard(manager, "policy_set").await
    }
}
