//! Tallow's schema, one file a migration, each in a transaction of its own.

mod append_only;
mod m0001_records;
mod m0002_working_tables;
mod m0003_doubt_answers;
mod m0004_kept_dates;
mod m0005_policy_sets;
mod m0006_examinations;
mod m0008_substitutions;
mod m0009_loans;
mod m0009_taken_from;
mod m0010_accounts;
mod m0011_orders;
mod m0012_api_requests;
mod m0016_order_signed;
mod m0017_item_indexes;
mod m0027_stock_tags;
mod m0028_usage_moments;
mod postgres;

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DbBackend;

/// Every migration, in order.
pub struct Migrator;

#[async_trait::async_trait]
impl MigratorTrait for Migrator {
    fn migrations() -> Vec<Box<dyn MigrationTrait>> {
        vec![
            Box::new(m0001_records::Migration),
            Box::new(m0002_working_tables::Migration),
            Box::new(m0003_doubt_answers::Migration),
            Box::new(m0004_kept_dates::Migration),
            Box::new(m0005_policy_sets::Migration),
            Box::new(m0006_examinations::Migration),
            Box::new(m0008_substitutions::Migration),
            Box::new(m0009_taken_from::Migration),
            Box::new(m0009_loans::Migration),
            Box::new(m0010_accounts::Migration),
            Box::new(m0011_orders::Migration),
            Box::new(m0012_api_requests::Migration),
            Box::new(m0016_order_signed::Migration),
            Box::new(m0017_item_indexes::Migration),
            Box::new(m0027_stock_tags::Migration),
            Box::new(m0028_usage_moments::Migration),
        ]
    }
}

/// Runs the statements of a script, which stand apart by `;` at a line's end.
async fn run(manager: &SchemaManager<'_>, script: &str) -> Result<(), DbErr> {
    let on_postgres = manager.get_database_backend() == DbBackend::Postgres;
    for statement in script.split(";\n") {
        let translated = on_postgres.then(|| postgres::translated(statement)).transpose()?;
        let statement = translated.as_deref().unwrap_or(statement);
        manager.get_connection().execute_unprepared(statement).await?;
    }
    Ok(())
}
