//! Earlier dates that stand until an engineer acknowledges later ones.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        crate::run(manager, include_str!("m0004_kept_dates.sql")).await?;
        crate::append_only::guard(manager, "kept_date").await
    }
}
