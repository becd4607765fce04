//! What an item was taken out of, and when: a batch or a wire whose use it bore until then.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        crate::run(manager, include_str!("m0009_taken_from.sql")).await
    }
}
