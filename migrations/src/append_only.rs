//! Guards of append-only tables: a record is never changed or removed.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DbBackend;

/// Guards a table of versions, or the chain itself.
pub(crate) async fn guard(manager: &SchemaManager<'_>, table: &str) -> Result<(), DbErr> {
    if manager.get_database_backend() == DbBackend::Postgres {
        return guard_on_postgres(manager, table).await;
    }
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

/// The statement itself is refused, so that one that finds no row is too; so is `ON CONFLICT DO UPDATE`, which is an
/// update. `ENABLE ALWAYS` keeps the guard up for a session that replays another database's changes.
async fn guard_on_postgres(manager: &SchemaManager<'_>, table: &str) -> Result<(), DbErr> {
    let db = manager.get_connection();
    db.execute_unprepared(REFUSAL).await?;
    let guard = format!(
        "CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} \
         FOR EACH STATEMENT EXECUTE FUNCTION refuse_changed_record()"
    );
    db.execute_unprepared(&guard).await?;
    let always = format!("ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_append_only");
    db.execute_unprepared(&always).await?;
    Ok(())
}

const REFUSAL: &str = "CREATE OR REPLACE FUNCTION refuse_changed_record() RETURNS trigger LANGUAGE plpgsql AS $$ \
     BEGIN RAISE EXCEPTION '% is append-only: record a correction instead', TG_TABLE_NAME \
     USING ERRCODE = 'restrict_violation'; END $$";
