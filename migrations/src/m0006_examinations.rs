//! Examination reports, the defects they found, and drafts that are not signed yet: records like the others.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        crate::run(manager, include_str!("m0006_examinations.sql")).await?;
        for table in ["examination", "defect", "examination_draft"] {
            crate::append_only::guard(manager, table).await?;
        }
        Ok(())
    }
}
