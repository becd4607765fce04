//! The store on its own: what its guards refuse, what its chain finds, and what a copy of it holds. What is only true
//! of a file stays on a file, whatever database the other tests run on.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "program_store/altered.rs"]
mod altered;
#[path = "program_store/schema.rs"]
mod schema;

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
