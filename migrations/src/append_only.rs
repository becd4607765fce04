//! Guards of append-only tables: a record is never changed or removed.

use sea_orm_migration::prelude::*;

/// Guards a table of versions, or the chain itself.
pub(crate) async fn guard(manager: &SchemaManager<'_>, table: &str) -> Result<(), DbErr> {
    for act in ["UPDATE", "DELETE"] {
        let guard = format!(
            "CREATE TRIGGER {table}_no_{act} BEFORE {act} ON {table} BEGIN \
             SELECT RAISE(ABORT, '{table} is append-only: record a correction instead'); END"
        );
        manager.get_connection().execute_unprepared(&guard).await?;
    }
    manager.get_connection().execute_unprepared(&no_replace(table)).await?;
    Ok(())
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
