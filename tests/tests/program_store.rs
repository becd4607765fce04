//! The store on its own: what its guards refuse, what its chain finds, and what a copy of it holds. What is only true
//! of a file stays on a file, whatever database the other tests run on.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use daemon::clock::{Clock, StandingClock, SystemClock};
use daemon::desk::Desk;
use daemon::policy_set;
use daemon::records::{ExaminationDraft, KeptDate, TakenUp, Usage};
use daemon::register::{Faults, read_folder};
use daemon::store::backup::restore;
use daemon::store::write::Deed;
use daemon::store::{Store, StoreError, Writer};
use migrations::Migrator;
use policies::load::PolicyFile;
use policies::zone::Instant;
use sea_orm::{
    ColumnTrait, ConnectOptions, ConnectionTrait, Database, DatabaseConnection, DbBackend, EntityTrait,
    IdenStatic, Iterable, PrimaryKeyToColumn, Statement,
};
use sea_orm_migration::MigratorTrait;
use tests::harness::Room;
use tests::small_service::{self, POLICIES};

const RECORDS: [&str; 20] = [
    "station",
    "person",
    "item",
    "fitting",
    "usage",
    "work",
    "state",
    "concession",
    "certificate",
    "part",
    "stock",
    "doubt_answers",
    "kept_date",
    "policy_set",
    "examination",
    "defect",
    "examination_draft",
    "substitution",
    "loan",
    "part_order",
];

fn file(room: &Room) -> PathBuf {
    room.path("tallow.db")
}

async fn open(room: &Room) -> Store {
    Store::open(&room.address()).await.unwrap()
}

async fn open_file(path: &Path) -> Store {
    Store::open(&format!("sqlite:{}", path.display())).await.unwrap()
}

/// A connection past the store, as any program on the machine could make one.
async fn raw(room: &Room) -> DatabaseConnection {
    Database::connect(room.address().replace("allow_unsafe_database=true&", "")).await.unwrap()
}

/// The same past a file's store.
async fn raw_file(path: &Path) -> DatabaseConnection {
    Database::connect(format!("sqlite:{}", path.display())).await.unwrap()
}

fn is_embedded(db: &DatabaseConnection) -> bool {
    db.get_database_backend() == DbBackend::Sqlite
}

async fn run(db: &DatabaseConnection, sql: &str) {
    db.execute_unprepared(sql).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
}

async fn texts(db: &DatabaseConnection, sql: &str) -> Vec<String> {
    let rows = db.query_all_raw(Statement::from_string(db.get_database_backend(), sql)).await.unwrap();
    rows.iter().map(|row| row.try_get_by_index::<Option<String>>(0).unwrap().unwrap_or_default()).collect()
}

fn deed(action: &str) -> Deed {
    Deed { actor: "test".to_owned(), action: action.to_owned(), at: Instant(1_790_000_000_000_000) }
}

fn launch(key: &str, at: i64) -> Usage {
    let (host, meter) = ("LC-1".to_owned(), "launches".to_owned());
    Usage { key: key.to_owned(), host, meter, at, count: Some(1_000_000), ..Usage::default() }
}

/// The small service with a record in every table, in three links: the register, what stores hold, a correction.
fn full_room() -> Room {
    filled(small_service::imported())
}

/// The same in a file, whatever database the other tests run on.
fn full_file() -> Room {
    filled(small_service::imported_in(Room::in_file()))
}

fn filled(room: Room) -> Room {
    for (name, text) in [
        ("states.csv", "key,item,at,state\nST-1,F-1,2021-01-01T10:00:00Z,quarantined\n"),
        (
            "concessions.csv",
            "key,item,rule,from,until,conditions,by\nC-1,F-1,fall-examination,2021-01-01,2021-02-01,calm sea,head@service.example\n",
        ),
        ("certificates.csv", "key,item,number,issuer,issued_on\nCE-1,F-1,TR-1,Test House,2020-01-31\n"),
        ("parts.csv", "part,description,kind,lead_time,unit\nP-1,Fall made up,fall,14 weeks,each\n"),
        ("stock.csv", "key,part,place,at,quantity,reason\nSK-1,P-1,stores,2021-01-01T10:00:00Z,1,receipt\n"),
        (
            "orders.csv",
            "key,part,quantity,place,ordered_on,needed_by,received_on,certificate,by\n\
             OS-1,P-1,1,stores,2020-09-01,2021-01-01,2021-01-01,CE-9,head@service.example\n",
        ),
        (
            "doubts.csv",
            "key,item,answer,by,read_on\n\
             unlogged-LC-1-2021-01-01,LC-1,other-work,mechanic@bay.example,2021-01-01\n",
        ),
        ("people.csv", "email,name,role\nhead@service.example,Head of Engineering,head\n"),
        (
            "substitutions.csv",
            "key,item,host,position,by,reason,until\n\
             SU-1,F-1,LC-1,fall,head@service.example,same strength,2021-02-01\n",
        ),
        (
            "loans.csv",
            "key,item,station,from,until,by,note\n\
             LN-1,F-1,bar,2021-01-01,2021-02-01,head@service.example,until their own is back\n",
        ),
        ("examinations.csv", "number,item,rule,examined_on\nTR-1,F-1,fall-examination,2020-01-31\n"),
        (
            "defects.csv",
            "key,item,report,found_on,part,what,danger\nTR-1/1,F-1,TR-1,2020-01-31,eye,worn,none\n",
        ),
    ] {
        room.write(&format!("more/{name}"), text);
    }
    room.tallow("import more").done();
    room.write("fix/usage.csv", "key,host,at,meter,count\nU-1,LC-1,2020-03-04T10:00:00Z,launches,9\n");
    room.write(
        "fix/work.csv",
        "key,item,rule,done_at,outcome\nW-2,S-1,shackle-proof-load,2020-03-01,passed\n",
    );
    assert_eq!(
        room.tallow("import fix").done(),
        "took usage: 0 new, 1 corrected\ntook work: 0 new, 1 corrected\n"
    );
    room
}

/// Everything the record tables hold, row by row.
async fn dump(db: &DatabaseConnection) -> Vec<String> {
    let mut all = Vec::new();
    for table in RECORDS.into_iter().chain(["link"]) {
        if !is_embedded(db) {
            all.extend(
                texts(db, &format!("SELECT '{table} ' || r::text FROM {table} AS r ORDER BY 1")).await,
            );
            continue;
        }
        let columns = texts(db, &format!("SELECT name FROM pragma_table_info('{table}')")).await;
        let quoted: Vec<String> = columns.iter().map(|name| format!("quote(\"{name}\")")).collect();
        all.extend(
            texts(db, &format!("SELECT '{table} ' || {} FROM {table}", quoted.join(" || ',' || "))).await,
        );
    }
    all
}

/// A policy set taken up, an earlier date kept and a report drafted, each in a link of its own.
async fn take_a_set_up(store: &Store) {
    let row = TakenUp { hash: "0".repeat(64), effective_from: "2030-01-01".to_owned(), ..TakenUp::default() };
    let kept: Result<(), StoreError> =
        store.write(deed("policy take-up"), async |tx: &mut Writer| tx.append_new(&[row]).await).await;
    kept.unwrap();
    let row = KeptDate { key: "F-1 fall-renewal".to_owned(), item: "F-1".to_owned(), ..KeptDate::default() };
    let kept: Result<(), StoreError> =
        store.write(deed("import"), async |tx: &mut Writer| tx.append_new(&[row]).await).await;
    kept.unwrap();
    let row = ExaminationDraft { key: "TR-2".to_owned(), ..ExaminationDraft::default() };
    let kept: Result<(), StoreError> =
        store.write(deed("examination draft"), async |tx: &mut Writer| tx.append_new(&[row]).await).await;
    kept.unwrap();
}

/// Hand-written attempts, beside an UPDATE and a DELETE of every table: 50 and more with those.
const ATTEMPTS: [&str; 26] = [
    "UPDATE work SET outcome = 'failed' WHERE key = 'W-1'",
    "UPDATE work SET note = note",
    "UPDATE OR IGNORE work SET outcome = 'failed'",
    "UPDATE OR REPLACE work SET key = 'W-2', version = 1 WHERE key = 'W-1'",
    "UPDATE OR ROLLBACK work SET void = 1",
    "UPDATE OR FAIL work SET void = 1",
    "UPDATE work SET void = 1 RETURNING *",
    "UPDATE work SET rowid = 99 WHERE key = 'W-1'",
    "UPDATE work SET (at, day) = (0, NULL)",
    "UPDATE work SET outcome = i.kind FROM item AS i WHERE i.key = work.item",
    "WITH one AS (SELECT min(id) AS id FROM work) UPDATE work SET at = 0 WHERE id = (SELECT id FROM one)",
    "UPDATE usage SET count = count + 1000000 WHERE id IN (SELECT max(id) FROM usage)",
    "UPDATE link SET hash = digest",
    "UPDATE link SET prev = (SELECT hash FROM link WHERE seq = 1) WHERE seq = 3",
    "DELETE FROM work WHERE key = 'W-1'",
    "DELETE FROM work WHERE id = (SELECT max(id) FROM work) RETURNING key",
    "WITH one AS (SELECT max(id) AS id FROM usage) DELETE FROM usage WHERE id IN one",
    "DELETE FROM link WHERE seq = (SELECT max(seq) FROM link)",
    "INSERT OR REPLACE INTO work (id, link, known_at, key, version, void, item, rule, at, outcome) \
     SELECT id, link, known_at, key, version, void, item, rule, at, 'failed' FROM work WHERE key = 'W-1'",
    "REPLACE INTO work (link, known_at, key, version, void, item, rule, at, outcome) \
     SELECT link, known_at, key, version, void, item, rule, at, 'failed' FROM work WHERE key = 'W-1'",
    "REPLACE INTO usage SELECT * FROM usage WHERE id = 1",
    "REPLACE INTO person (id, link, known_at, key, version, void, name, role) VALUES (1, 1, 0, 'x', 1, 0, 'X', 'reader')",
    "INSERT OR REPLACE INTO link SELECT seq, at, 'nobody', action, digest, prev, hash FROM link WHERE seq = 1",
    "INSERT OR REPLACE INTO link SELECT 9, at, actor, action, digest, prev, hash FROM link WHERE seq = 1",
    "INSERT INTO work SELECT * FROM work WHERE key = 'W-1' ON CONFLICT (id) DO UPDATE SET outcome = 'failed'",
    "INSERT INTO usage SELECT * FROM usage WHERE id = 1 ON CONFLICT (key, version) DO UPDATE SET count = 1",
];

#[tokio::test]
async fn every_way_to_alter_a_record_is_refused() {
    let room = full_file();
    take_a_set_up(&open(&room).await).await;
    let db = raw(&room).await;
    let before = dump(&db).await;
    let tables = || RECORDS.into_iter().chain(["link"]);
    let mut attempts: Vec<String> = ATTEMPTS.map(str::to_owned).to_vec();
    attempts.extend(tables().map(|table| format!("DELETE FROM {table}")));
    attempts.extend(RECORDS.map(|table| format!("UPDATE {table} SET known_at = 0")));
    attempts.push("UPDATE link SET actor = 'nobody'".to_owned());
    assert!(attempts.len() >= 50);
    for sql in &attempts {
        let refused = db.execute_unprepared(sql).await.expect_err(sql);
        assert!(refused.to_string().contains("is append-only"), "{sql}: {refused}");
    }
    assert_eq!(dump(&db).await, before);
    drop(db);
    assert_eq!(open(&room).await.check().await.unwrap(), Vec::<String>::new());
}

async fn guards_off(db: &DatabaseConnection) -> Vec<String> {
    if is_embedded(db) {
        let guards = texts(db, "SELECT name FROM sqlite_schema WHERE type = 'trigger'").await;
        let off = guards.iter().map(|guard| format!("DROP TRIGGER \"{guard}\""));
        return off.chain(["PRAGMA foreign_keys = OFF".to_owned()]).collect();
    }
    RECORDS.iter().chain(&["link"]).map(|table| format!("ALTER TABLE {table} DISABLE TRIGGER USER")).collect()
}

/// Takes the guards away, tampers, and says what the chain makes of it.
async fn faults_after(room: &Room, tampering: &[&str]) -> Vec<String> {
    let mut options = ConnectOptions::new(room.address().replace("allow_unsafe_database=true&", ""));
    // One connection, so that what is switched off stays off.
    options.max_connections(1);
    let db = Database::connect(options).await.unwrap();
    for sql in guards_off(&db).await {
        run(&db, &sql).await;
    }
    for sql in tampering {
        let changed = db.execute_unprepared(sql).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
        assert!(changed.rows_affected() > 0, "{sql} changed nothing");
    }
    db.close().await.unwrap();
    let found = open(room).await.check_chain().await.unwrap();
    found.into_iter().map(|fault| fault.0).collect()
}

/// Each tampering, and the words in which it is found.
const TAMPERINGS: [(&str, &[&str], &str); 14] = [
    (
        "an edited row",
        &["UPDATE work SET outcome = 'failed' WHERE key = 'W-1'"],
        "link 1: its records digest to",
    ),
    (
        "an emptied cell",
        &["UPDATE work SET measurements = NULL WHERE key = 'W-1'"],
        "link 1: its records digest to",
    ),
    ("a voided row", &["UPDATE usage SET void = TRUE WHERE version = 1"], "link 1: its records digest to"),
    (
        "another moment of knowing",
        &["UPDATE work SET known_at = known_at - 1 WHERE key = 'W-1'"],
        "link 1: its records digest to",
    ),
    (
        "another version number",
        &["UPDATE usage SET version = 7 WHERE version = 2"],
        "link 4: its records digest to",
    ),
    ("a deleted row", &["DELETE FROM work WHERE key = 'W-1'"], "link 1: its records digest to"),
    ("a deleted correction", &["DELETE FROM usage WHERE version = 2"], "link 4: its records digest to"),
    (
        "an added row",
        &["INSERT INTO usage (link, known_at, key, version, void, host, at, meter, count) \
           SELECT 4, known_at, 'U-9', 1, FALSE, host, at, meter, count FROM usage WHERE version = 2"],
        "link 4: its records digest to",
    ),
    ("a row moved to another link", &["UPDATE stock SET link = 4"], "link 3: its records digest to"),
    (
        "an old version put after the new",
        &["UPDATE usage SET id = 99 WHERE version = 1"],
        "usage \"U-1\" of link 1 stands after link 4",
    ),
    ("another actor", &["UPDATE link SET actor = 'nobody' WHERE seq = 3"], "link 3: it hashes to"),
    ("another hash", &["UPDATE link SET hash = digest WHERE seq = 3"], "link 4 does not follow link 3"),
    (
        "two links that changed places",
        &[
            "UPDATE link SET seq = 99 WHERE seq = 1",
            "UPDATE link SET seq = 1 WHERE seq = 3",
            "UPDATE link SET seq = 3 WHERE seq = 99",
        ],
        "link 1 does not follow link 0",
    ),
    (
        "a link copied behind the last",
        &[
            "INSERT INTO link SELECT 5, at, actor, action, digest, prev, substr(hash, 2) || substr(hash, 1, 1) FROM link WHERE seq = 4",
        ],
        "link 5 does not follow link 4",
    ),
];

#[tokio::test]
async fn the_chain_finds_what_was_altered_past_the_guards() {
    for (what, tampering, words) in TAMPERINGS {
        let room = full_room();
        let faults = faults_after(&room, tampering).await;
        assert!(faults.iter().any(|fault| fault.contains(words)), "{what}: {faults:?}");
        let verified = room.tallow("verify").no();
        assert!(verified.contains(&format!("record chain: {}", faults[0])), "{what}: {verified}");
    }
}

#[tokio::test]
async fn records_without_their_link_are_found() {
    let room = full_room();
    let faults = faults_after(&room, &["DELETE FROM link WHERE seq = 4"]).await;
    assert_eq!(faults, ["records belong to link 4, which is missing"]);
    let room = full_room();
    let faults = faults_after(&room, &["DELETE FROM link WHERE seq = 3"]).await;
    assert!(faults.contains(&"link 4 does not follow link 2".to_owned()), "{faults:?}");
    assert!(faults.contains(&"records belong to link 3, which is missing".to_owned()), "{faults:?}");
    let room = full_room();
    let added = "INSERT INTO usage (link, known_at, key, version, void, host, at, meter, count) VALUES (0, 0, 'U-0', 1, FALSE, 'LC-1', 0, 'launches', 1)";
    let faults = faults_after(&room, &[added]).await;
    assert!(faults.contains(&"records belong to link 0, which is missing".to_owned()), "{faults:?}");
}

/// Links cut off at the end together with their records leave a chain that holds: no chain alone can tell. The
/// head that `verify` prints tells, if it was noted elsewhere.
#[tokio::test]
async fn a_cut_tail_shows_only_in_the_head_that_was_noted() {
    let room = full_room();
    let head = |room: &Room| room.tallow("verify").done().split("head ").nth(1).unwrap().to_owned();
    let noted = head(&room);
    let cut = [
        "DELETE FROM usage WHERE link = 4",
        "DELETE FROM work WHERE link = 4",
        "DELETE FROM link WHERE seq = 4",
    ];
    assert_eq!(faults_after(&room, &cut).await, Vec::<String>::new());
    let stored = room.tallow("verify").no();
    assert!(!stored.contains("record chain"), "{stored}");
    assert!(stored.contains("due table: "), "the due table still remembers: {stored}");
    // A sweep, or any import, works the table out again; then only the head is left to tell.
    room.write("none/stations.csv", "station,name,time_zone\nnew,New,UTC\n");
    room.tallow("import none").done();
    assert_ne!(head(&room), noted);
}

#[tokio::test]
async fn verify_lists_what_differs_in_the_due_table() {
    let room = full_room();
    let db = raw(&room).await;
    run(&db, "UPDATE due SET due_on = '2031-01-01' WHERE item = 'F-1' AND rule = 'fall-examination'").await;
    run(&db, "DELETE FROM due WHERE item = 'S-1'").await;
    run(&db, "UPDATE due SET rule = 'no-rule' WHERE item = 'L-1'").await;
    db.close().await.unwrap();
    let listed = room.tallow("verify").no();
    for line in [
        "due table: F-1 fall-examination: due_on is 2031-01-01, reckoned 2020-07-31",
        "due table: S-1 shackle-proof-load: the records give a row, but none is stored",
        "due table: L-1 no-rule: stored, but the records give no such row",
        "due table: L-1 line-renewal: the records give a row, but none is stored",
        "4 difference(s)",
    ] {
        assert!(listed.contains(line), "{line}\n{listed}");
    }
}

/// A mail that was changed, a digest that nobody composed, and a shelf with less than nothing on it.
#[tokio::test]
async fn verify_names_notices_and_stock_that_differ() {
    let room = full_room();
    room.write("stock/parts.csv", "part,description,kind,lead_time,unit\nWR-16,Wire,fall,8 weeks,m\n");
    room.write(
        "stock/stock.csv",
        "key,part,place,at,quantity,reason\nM-1,WR-16,stores,2026-01-02,40,receipt\nM-2,WR-16,stores,2026-02-03,-46.5,issue\n",
    );
    room.tallow("import stock").done();
    let db = raw(&room).await;
    let bytes = "To: mechanic@bay.example";
    let bytes =
        if is_embedded(&db) { format!("CAST('{bytes}' AS BLOB)") } else { format!("'{bytes}'::bytea") };
    let forged = "INSERT INTO notice (id, number, kind, occasion, person, recipient, urgent, subject, message_id, token, \
         composed_at, state, attempts, due_at, next_attempt_at) VALUES (901, 'N-2026-0901', 'due work', 'digest', \
         'mechanic@bay.example', 'mechanic@bay.example', FALSE, 's', '<m@x.example>', 't', 0, 'sent', 1, 0, 0)";
    run(&db, forged).await;
    run(&db, &format!("INSERT INTO notice_mail (notice, bytes) VALUES (901, {bytes})")).await;
    run(&db, "INSERT INTO setting (name, value) VALUES ('told mechanic@bay.example', '2026-01-05T00:00:00')")
        .await;
    db.close().await.unwrap();
    let listed = room.tallow("verify").no();
    for line in [
        "stock: WR-16 at stores: -6.5 after M-2 of 3 Feb 2026, reckoned 0 or more",
        "notices: mechanic@bay.example: told up to 5 Jan 2026 00:00, reckoned ",
        "notices: N-2026-0901: its frozen mail does not carry its number N-2026-0901",
        "3 difference(s)",
    ] {
        assert!(listed.contains(line), "{line}\n{listed}");
    }
}

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

/// The settings that a file keeps: the rest belong to a connection, and a store that reads one back wrong does
/// not open.
#[tokio::test]
async fn the_file_is_in_write_ahead_mode_and_references_hold() {
    let room = full_file();
    let db = raw(&room).await;
    assert_eq!(texts(&db, "SELECT journal_mode FROM pragma_journal_mode").await, ["wal"]);
    db.close().await.unwrap();
    let store = open(&room).await;
    let dangling =
        store.write(deed("test"), async |tx: &mut Writer| tx.append_new(&[launch("U-2", 0)]).await).await;
    dangling.unwrap();
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
    assert!(matches!(Store::open("sqlite:x.db?mode=ro").await, Err(StoreError::Address(_))));
    room.write("noise.db", &"not a database at all ".repeat(400));
    assert!(Store::open(&format!("sqlite:{}", room.path("noise.db").display())).await.is_err());
}

#[tokio::test]
async fn what_fails_half_way_leaves_nothing() {
    let room = full_room();
    let store = open(&room).await;
    let db = raw(&room).await;
    let before = dump(&db).await;
    let failed: Result<(), StoreError> = store
        .write(deed("half"), async |tx: &mut Writer| {
            tx.append_new(&[launch("U-2", 0)]).await?;
            tx.remember("half", "way").await?;
            Err(StoreError::NotWhole("stop here".to_owned()))
        })
        .await;
    assert_eq!(failed.unwrap_err().to_string(), "stop here");
    let twice =
        store.write(deed("twice"), async |tx: &mut Writer| tx.append_new(&[launch("U-1", 0)]).await).await;
    assert!(twice.is_err(), "a key that is known is not new");
    assert_eq!(dump(&db).await, before);
    assert_eq!(store.remembered("half").await.unwrap(), None);
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
}

/// Several writers that each read and then write all succeed, over one store or several of the same file.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn writers_in_each_others_way_all_succeed() {
    const EACH: i64 = 25;
    let room = full_room();
    let before = open(&room).await.head().await.unwrap().seq;
    let mut writers = tokio::task::JoinSet::new();
    for writer in 0..4_i64 {
        let store = open(&room).await;
        writers.spawn(async move {
            for at in 0..EACH {
                let row = launch(&format!("W{writer}-{at}"), at);
                let count = async |tx: &mut Writer| {
                    let seen = tx.current::<Usage>("U-1").await?.is_some();
                    tx.append_new(&[row]).await?;
                    Ok::<_, StoreError>(seen)
                };
                assert!(store.write(deed("log"), count).await.unwrap());
            }
        });
    }
    while let Some(done) = writers.join_next().await {
        done.unwrap();
    }
    let store = open(&room).await;
    assert_eq!(store.head().await.unwrap().seq, before + 4 * EACH);
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
}

/// Writes three rows a transaction until told to stop.
async fn keep_writing(store: Store, stop: Arc<AtomicBool>) -> i64 {
    let mut written = 0;
    while !stop.load(Ordering::Relaxed) {
        let rows = [0, 1, 2].map(|part| launch(&format!("B{written}-{part}"), written));
        store.write(deed("log"), async |tx: &mut Writer| tx.append_new(&rows).await).await.unwrap();
        written += 1;
    }
    written
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn twenty_backups_under_writes_each_restore_to_one_moment() {
    let room = full_file();
    let store = open(&room).await;
    let begun = store.head().await.unwrap().seq;
    let stop = Arc::new(AtomicBool::new(false));
    let writer = tokio::spawn(keep_writing(store.clone(), stop.clone()));
    let mut last = begun;
    for number in 0..20 {
        let earlier = store.head().await.unwrap().seq;
        let copy = room.path(&format!("copy-{number}.db"));
        store.backup(&copy).await.unwrap();
        let later = store.head().await.unwrap().seq;
        let target = room.path(&format!("restored-{number}/tallow.db"));
        std::fs::create_dir_all(target.parent().unwrap()).unwrap();
        restore(&copy, &target, SystemClock.now()).await.unwrap();
        let restored = open_file(&target).await;
        let head = restored.head().await.unwrap().seq;
        assert!((earlier..=later).contains(&head), "{earlier} {head} {later}");
        assert_eq!(restored.check().await.unwrap(), Vec::<String>::new());
        let rows =
            restored.newest::<Usage>().await.unwrap().keys().filter(|key| key.starts_with('B')).count();
        assert_eq!(i64::try_from(rows).unwrap(), 3 * (head - begun));
        last = head;
    }
    stop.store(true, Ordering::Relaxed);
    assert!(writer.await.unwrap() > 0 && last > begun, "nothing was written meanwhile");
}

#[tokio::test]
async fn a_restore_that_fails_leaves_the_store_as_it_was() {
    let room = full_file();
    let store = open(&room).await;
    let head = store.head().await.unwrap();
    store.backup(&room.path("bad.db")).await.unwrap();
    store.close().await.unwrap();
    let db = raw_file(&room.path("bad.db")).await;
    run(&db, "DROP TRIGGER work_no_UPDATE").await;
    run(&db, "UPDATE work SET outcome = 'failed'").await;
    db.close().await.unwrap();
    let refused = restore(&room.path("bad.db"), &file(&room), SystemClock.now()).await;
    assert!(matches!(refused, Err(StoreError::NotWhole(why)) if why.contains("record chain")));
    assert_eq!(open(&room).await.head().await.unwrap(), head);
    assert!(!room.path("tallow.db.before-restore").exists() && !room.path("tallow.db.restoring").exists());
}

/// Five minutes ahead are a fast telephone; a microsecond more is a wrong date.
#[tokio::test]
async fn use_is_taken_up_to_five_minutes_ahead() {
    const NOW: i64 = 1_790_000_000_000_000;
    const AHEAD: i64 = 5 * 60 * 1_000_000;
    let files =
        POLICIES.iter().map(|(name, text)| PolicyFile { name: (*name).to_owned(), text: (*text).to_owned() });
    let set = Arc::new(policy_set::check(&files.collect::<Vec<_>>()).unwrap());
    let room = small_service::room();
    let clock = Arc::new(StandingClock(Instant(NOW)));
    let desk = Desk::new(open(&room).await, set, clock, "test".to_owned());
    let faults = Faults::default();
    let sheets = read_folder(&room.path("register"), &faults).unwrap();
    desk.import(&sheets, &faults, false).await.unwrap();
    assert!(desk.log_use(&[launch("at", NOW + AHEAD)]).await.unwrap().new);
    let refused = desk.log_use(&[launch("past", NOW + AHEAD + 1)]).await.unwrap_err();
    assert!(refused.to_string().contains("more than five minutes ahead"), "{refused}");
    assert!(!desk.log_use(&[launch("at", NOW + AHEAD)]).await.unwrap().new);
    assert_eq!(desk.store.check().await.unwrap(), Vec::<String>::new());
}
