//! Gear that may stand in a position although it differs from what belongs there: records like the others.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        crate::run(manager, include_str!("m0008_substitutions.sql")).await?;
        crate::append_only::guard(manager, "substitution").await
    }
}
