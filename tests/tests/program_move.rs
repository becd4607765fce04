//! `tallow move`: a whole store carried into an empty other, both ways, and what it refuses.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::collections::BTreeMap;
use std::sync::Arc;

use daemon::clock::{Clock, StandingClock, SystemClock};
use daemon::config::Config;
use daemon::desk::Desk;
use daemon::policy_set;
use daemon::store::Store;
use daemon::sweep::{Mail, sweep};
use policies::zone::Instant;
use sea_orm::{ConnectionTrait, Database as Connect, DatabaseConnection, DbBackend, Statement};
use tests::harness::Room;
use tests::small_service;
use tests::stores::{Database, server_for};

async fn texts(db: &DatabaseConnection, sql: &str) -> Vec<String> {
    let rows = db.query_all_raw(Statement::from_string(db.get_database_backend(), sql)).await.unwrap();
    rows.iter().map(|row| row.try_get_by_index::<String>(0).unwrap()).collect()
}

/// Every value of every row of every table as text, read past the store: bytes in hex, truths as numbers.
async fn dump(address: &str) -> BTreeMap<String, Vec<String>> {
    let db = Connect::connect(address.replace("allow_unsafe_database=true&", "")).await.unwrap();
    let (tables, columns) = if db.get_database_backend() == DbBackend::Sqlite {
        (
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'",
            "SELECT CASE type WHEN 'BLOB' THEN 'hex(\"' || name || '\")' ELSE 'CAST(\"' || name || '\" AS TEXT)' END \
             FROM pragma_table_info('{}')",
        )
    } else {
        (
            "SELECT tablename::text FROM pg_tables WHERE schemaname = 'public'",
            "SELECT CASE format_type(atttypid, NULL) WHEN 'bytea' THEN 'upper(encode(\"' || attname || '\", ''hex''))' \
             WHEN 'boolean' THEN '\"' || attname || '\"::int::text' ELSE '\"' || attname || '\"::text' END \
             FROM pg_attribute WHERE attrelid = '{}'::regclass AND attnum > 0 ORDER BY attnum",
        )
    };
    let mut all = BTreeMap::new();
    for table in texts(&db, tables).await {
        let columns = texts(&db, &columns.replace("{}", &table)).await;
        let values: Vec<String> =
            columns.iter().map(|column| format!("coalesce({column}, '(none)')")).collect();
        let mut rows = texts(&db, &format!("SELECT {} FROM \"{table}\"", values.join(" || '|' || "))).await;
        rows.sort();
        all.insert(table, rows);
    }
    all.remove("seaql_migrations");
    all
}

/// What was carried, without what the target remembers beyond it.
async fn carried(address: &str) -> BTreeMap<String, Vec<String>> {
    let mut all = dump(address).await;
    let held = all.get_mut("setting").unwrap();
    let before = held.len();
    held.retain(|row| !row.starts_with("sending held copied|"));
    assert_eq!(held.len() + 1, before, "sending is held there");
    all
}

const ANSWERS: [&str; 2] = [
    "INSERT INTO notice_answer (notice, line, answer, sender, said_at, noted_at, mail, note) \
     SELECT min(id), NULL, 'read', 'mechanic.qua@mcbs.example', 1, 2, 'm-1', 'Mécanicien: \\n' FROM notice",
    "INSERT INTO bad_address (address, since, why) VALUES ('gone@mcbs.example', 3, '550 no such user')",
];

/// The demo in a file, with notices in the outbox, answers, bad addresses and a certificate's paper.
async fn lived_in() -> Room {
    let room = Room::of_demo_over(Database::in_file("tallow.db"));
    room.tallow("import demo").done();
    room.write("PT-1.pdf", "%PDF-1.7\nreport of F-0417");
    let paper = "certificate add F-0417 --number PT-1 --issuer Surveyors --issued 2026-10-01 --file PT-1.pdf";
    room.tallow(paper).done();
    let store = Store::open(&room.address()).await.unwrap();
    let set = Arc::new(policy_set::read(Some(&room.path("demo/policies"))).unwrap());
    let clock = Arc::new(StandingClock(SystemClock.now()));
    let desk = Desk::new(store.clone(), set, clock, "test".to_owned());
    let mail = Mail::of(&Config::default()).unwrap();
    assert!(sweep(&desk, &mail).await.unwrap().notices > 3);
    store.close().await.unwrap();
    let db = Connect::connect(room.address()).await.unwrap();
    for sql in ANSWERS {
        db.execute_unprepared(sql).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
    }
    db.close().await.unwrap();
    room
}

fn move_line(from: &str, to: &str) -> String {
    format!("move --from {from} --to {to}")
}

#[tokio::test]
async fn a_store_is_carried_to_another_and_back() {
    let room = lived_in().await;
    let server = server_for("a_store_is_carried_to_another_and_back");
    // Where there is no server, from file to file: the rows are the same.
    let there = server.map_or_else(|| Database::in_file("there.db"), |server| Database::bare(&server));
    let due = "due --as-of 2026-10-11 --format csv";
    let (table, before) = (room.tallow(due).done(), dump(&room.address()).await);
    let said = room.tallow(&move_line("sqlite:tallow.db", there.address())).done();
    for part in
        ["carried 2", "links of the record chain hold there", "1 file(s) of certificates", "tallow adopt"]
    {
        assert!(said.contains(part), "{part}: {said}");
    }
    println!("{said}");
    assert_eq!(dump(&room.address()).await, before, "the source stays as it was");
    let there_now = if there.address().starts_with("sqlite:") {
        format!("sqlite:{}", room.path("there.db").display())
    } else {
        there.address().to_owned()
    };
    assert_eq!(carried(&there_now).await, before);
    assert!(before.values().filter(|rows| !rows.is_empty()).count() > 18, "hardly a table was filled");
    let at = |line: &str| format!("--database {} {line}", there.address());
    room.tallow(&at("verify")).done();
    assert_eq!(room.tallow(&at(due)).done(), table);
    // And back into a file; both stores go on from there.
    room.tallow(&move_line(there.address(), "sqlite:back.db")).done();
    let back = format!("sqlite:{}", room.path("back.db").display());
    assert_eq!(carried(&back).await, before);
    for database in [there.address(), "sqlite:back.db"] {
        let at = |line: &str| format!("--database {database} {line}");
        room.tallow(&at("log launch --station qua --at 2026-10-11T09:00")).done();
        room.tallow(&at("verify")).done();
    }
}

#[tokio::test]
async fn a_store_is_carried_only_whole_into_an_empty_one_and_unserved() {
    let room = small_service::imported_in(Room::in_file());
    let server = server_for("a_store_is_carried_only_whole");
    let empty =
        || server.as_ref().map_or_else(|| Database::in_file("new.db"), |server| Database::bare(server));
    let refused = |line: String, why: &str| {
        let said = room.tallow(&line).refused();
        assert!(said.contains(why), "{line}: {said}");
    };
    refused(move_line("sqlite:nowhere.db", "sqlite:new.db"), "nowhere.db does not exist");
    refused(move_line("sqlite:tallow.db", "sqlite:tallow.db"), "the same store");
    let full = small_service::imported();
    let before = dump(&full.address()).await;
    refused(move_line("sqlite:tallow.db", &full.address()), "only into an empty one");
    assert_eq!(dump(&full.address()).await, before);
    let held = std::fs::File::create(room.path("tallow.db.lock")).unwrap();
    held.lock().unwrap();
    refused(move_line("sqlite:tallow.db", empty().address()), "another Tallow daemon serves");
    drop(held);
    if let Some(server) = &server {
        let (database, now) = (Database::on(server), SystemClock.now());
        let held_store = Store::open(database.address()).await.unwrap();
        let until = Instant(now.0 + 60_000_000);
        held_store.take_lease("sweep", "process 7 elsewhere", now, until).await.unwrap();
        refused(move_line("sqlite:tallow.db", database.address()), "process 7 elsewhere");
        refused(move_line(database.address(), "sqlite:new.db"), "process 7 elsewhere");
    }
    let db = Connect::connect(room.address()).await.unwrap();
    db.execute_unprepared("DROP TRIGGER work_no_UPDATE").await.unwrap();
    db.execute_unprepared("UPDATE work SET outcome = 'failed'").await.unwrap();
    db.close().await.unwrap();
    refused(move_line("sqlite:tallow.db", empty().address()), "its records digest to");
}
