//! The schema: what its entities say, strict and guarded, the same however it came about.

use super::*;

/// Column, its type, may be null, part of the primary key.
type Shape = (String, &'static str, bool, bool);

/// A truth is a number where the database knows no other.
fn entity<E>(embedded: bool) -> Vec<Shape>
where
    E: EntityTrait,
    E::Column: Iterable + IdenStatic,
{
    let keys: BTreeSet<&str> = E::PrimaryKey::iter().map(|key| key.into_column().as_str()).collect();
    E::Column::iter()
        .map(|column| {
            let def = column.def();
            let kind = format!("{:?}", def.get_column_type());
            let kind = match kind.split('(').next().unwrap() {
                "Boolean" if !embedded => "BOOLEAN",
                "BigInteger" | "Boolean" | "Integer" => "INTEGER",
                "String" | "Text" => "TEXT",
                "VarBinary" | "Blob" | "Binary" => "BLOB",
                other => panic!("{other} has no type here"),
            };
            (column.as_str().to_owned(), kind, def.is_null(), keys.contains(column.as_str()))
        })
        .collect()
}

/// Every table with the shape its entity gives it.
macro_rules! shapes {
    ($embedded:expr, $($table:ident),+ $(,)?) => {
        BTreeMap::from([$((stringify!($table), entity::<entities::$table::Entity>($embedded))),+])
    };
}

fn entities(embedded: bool) -> BTreeMap<&'static str, Vec<Shape>> {
    shapes!(
        embedded,
        account,
        api_request,
        api_token,
        bad_address,
        certificate,
        concession,
        defect,
        doubt_answers,
        due,
        examination,
        examination_draft,
        fitting,
        item,
        kept_date,
        lease,
        link,
        loan,
        notice,
        notice_answer,
        notice_line,
        notice_mail,
        part,
        part_order,
        person,
        policy_set,
        session,
        setting,
        sign_in_code,
        state,
        station,
        stock,
        substitution,
        throttle,
        usage,
        view_link,
        work,
    )
}

/// Name, type, may be null, part of the primary key.
const COLUMNS: [&str; 2] = [
    "SELECT name, type, \"notnull\" = 0 AND pk = 0, pk > 0 FROM pragma_table_info('{}')",
    "SELECT attname::text, format_type(atttypid, NULL), NOT attnotnull, coalesce(attnum = ANY (conkey), FALSE) \
     FROM pg_attribute LEFT JOIN pg_constraint ON conrelid = attrelid AND contype = 'p' \
     WHERE attrelid = '{}'::regclass AND attnum > 0 ORDER BY attnum",
];

async fn table(db: &DatabaseConnection, name: &str) -> Vec<Shape> {
    let sql = COLUMNS[usize::from(!is_embedded(db))].replace("{}", name);
    let rows = db.query_all_raw(Statement::from_string(db.get_database_backend(), sql)).await.unwrap();
    rows.iter()
        .map(|row| {
            let kind = match row.try_get_by_index::<String>(1).unwrap().as_str() {
                "INTEGER" | "bigint" => "INTEGER",
                "TEXT" | "text" => "TEXT",
                "BLOB" | "bytea" => "BLOB",
                "boolean" => "BOOLEAN",
                other => panic!("{name} has a column of type {other}"),
            };
            let [may_be_null, key] = [2, 3].map(|index| row.try_get_by_index::<bool>(index).unwrap());
            (row.try_get_by_index(0).unwrap(), kind, may_be_null, key)
        })
        .collect()
}

#[tokio::test]
async fn every_table_is_what_its_entity_says() {
    let room = Room::empty();
    open(&room).await.close().await.unwrap();
    let db = raw(&room).await;
    let named = if is_embedded(&db) {
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' \
         AND name <> 'seaql_migrations' ORDER BY name"
    } else {
        "SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind = 'r' \
         AND relname <> 'seaql_migrations' ORDER BY relname"
    };
    let entities = entities(is_embedded(&db));
    assert_eq!(texts(&db, named).await, entities.keys().copied().collect::<Vec<_>>());
    for (name, shape) in entities {
        assert_eq!(table(&db, name).await, shape, "{name}");
    }
}

/// Column types are held to by the database itself, and what is written is text, number or blob as declared.
#[tokio::test]
async fn every_table_is_strict_and_every_record_table_is_guarded() {
    let room = Room::in_file();
    open(&room).await.close().await.unwrap();
    let db = raw(&room).await;
    let loose = "SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND strict = 0 \
                 AND name NOT LIKE 'sqlite_%' AND name <> 'seaql_migrations'";
    assert_eq!(texts(&db, loose).await, Vec::<String>::new());
    let guards = texts(&db, "SELECT tbl_name || ' ' || sql FROM sqlite_schema WHERE type = 'trigger'").await;
    for table in RECORDS.into_iter().chain(["link"]) {
        for act in ["UPDATE", "DELETE", "INSERT"] {
            let guard = format!("BEFORE {act} ON {table} ");
            let found =
                guards.iter().filter(|sql| sql.starts_with(&format!("{table} ")) && sql.contains(&guard));
            assert_eq!(found.count(), 1, "{act} {table}");
        }
    }
}

async fn schema(db: &DatabaseConnection) -> Vec<String> {
    texts(db, "SELECT type || ' ' || name || ' ' || coalesce(sql, '') FROM sqlite_schema ORDER BY type, name")
        .await
}

#[tokio::test]
async fn migrations_applied_again_or_one_by_one_change_nothing() {
    let room = full_file();
    let db = raw(&room).await;
    let (before, rows) = (schema(&db).await, dump(&db).await);
    Migrator::up(&db, None).await.unwrap();
    db.close().await.unwrap();
    open(&room).await.close().await.unwrap();
    let db = raw(&room).await;
    assert_eq!((schema(&db).await, dump(&db).await), (before.clone(), rows));
    let steps =
        Database::connect(format!("sqlite:{}?mode=rwc", room.path("steps.db").display())).await.unwrap();
    for _ in 0..=Migrator::migrations().len() {
        Migrator::up(&steps, Some(1)).await.unwrap();
    }
    assert_eq!(schema(&steps).await, before);
}

/// An older program that meets a newer schema says so and touches nothing.
#[tokio::test]
async fn a_store_of_a_newer_version_is_refused_and_left_as_it_is() {
    let room = full_file();
    let db = raw(&room).await;
    run(&db, "INSERT INTO seaql_migrations (version, applied_at) VALUES ('m9999_later', 0)").await;
    run(&db, "PRAGMA wal_checkpoint(TRUNCATE)").await;
    db.close().await.unwrap();
    let before = std::fs::read(file(&room)).unwrap();
    let refused = Store::open(&format!("sqlite:{}", file(&room).display())).await;
    assert!(matches!(refused, Err(StoreError::NewerSchema(name)) if name == "m9999_later"));
    for line in ["due", "verify", "import more", "serve --listen 127.0.0.1:0"] {
        let said = room.tallow(line).refused();
        assert!(said.contains("newer Tallow") && said.contains("m9999_later"), "{line}: {said}");
    }
    assert_eq!(std::fs::read(file(&room)).unwrap(), before);
}
