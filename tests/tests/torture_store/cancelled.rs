//! Clients that hang up while a write begins.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use daemon::store::{Store, StoreError, Writer};
use sea_orm::{ConnectionTrait, Database as Connect, Statement};
use tests::stores::{Database, server_for};

use super::ground::{Seeded, Shared, deed, keys, launch, log, size};

/// Microseconds: the runtime's own timers count in milliseconds.
async fn give_up_after(limit: Duration) {
    let begun = Instant::now();
    while begun.elapsed() < limit {
        tokio::task::yield_now().await;
    }
}

/// So many writes are given up on within 0 to 400 microseconds of their beginning; between them others are
/// acknowledged, and every one of those is there in the end.
async fn hang_up(store: &Store, times: usize, seed: u64) -> (BTreeSet<String>, usize) {
    let mut random = Seeded(seed);
    let (mut acknowledged, mut given_up) = (BTreeSet::new(), 0);
    for number in 0..times {
        let key = format!("C-{number}");
        let row = launch(&key, 0);
        let writing = store.write(deed("log"), async |tx: &mut Writer| tx.append_new(&[row]).await);
        tokio::select! {
            done = writing => drop(done.map(|()| acknowledged.insert(key)).unwrap()),
            () = give_up_after(Duration::from_micros(random.below(401))) => given_up += 1,
        }
        if number % 5 == 0 {
            let key = format!("A-{number}");
            log(store, &key).await.unwrap();
            acknowledged.insert(key);
        }
    }
    (acknowledged, given_up)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn torture_03_clients_that_hang_up_while_a_write_begins() {
    let times = size(1_500, 10_000);
    let shared = Shared::new();
    let store = shared.open().await;
    let (acknowledged, given_up) = hang_up(&store, times, 3).await;
    let kept = keys(&store).await;
    let lost = acknowledged.difference(&kept).count();
    println!(
        "row 3, seed 3: {times} writes, {given_up} given up on, {} acknowledged, {lost} lost",
        acknowledged.len()
    );
    assert_eq!(lost, 0);
    assert!(given_up > times / 2, "too few were given up on to tell anything: {given_up}");
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
}

/// While clients hang up, no session of the server stands idle in a transaction for a second.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn torture_03_no_session_is_left_in_a_transaction() {
    let Some(server) = server_for("torture_03") else { return };
    let database = Database::on(&server);
    let store = Store::open(database.address()).await.unwrap();
    let (stop, looks) = (Arc::new(AtomicBool::new(false)), tokio::sync::watch::channel((0, 0)));
    let (told, mut looked) = looks;
    let watching = tokio::spawn(watch(server, database.name().to_owned(), stop.clone(), told));
    hang_up(&store, size(1_500, 10_000), 4).await;
    // A look that began after the last client had hung up finds none: one that was left behind stays for good.
    let before = looked.borrow().0;
    let quiet = looked.wait_for(|(looks, idle)| *looks > before + 1 && *idle == 0);
    tokio::time::timeout(Duration::from_secs(10), quiet)
        .await
        .expect("a session stays in a transaction")
        .unwrap();
    stop.store(true, Ordering::Relaxed);
    assert_eq!(watching.await.unwrap(), 0, "sessions were left idle in a transaction");
    assert!(looked.borrow().0 > 3, "nobody looked");
}

/// Counts sessions over one database, for tests run side by side, that have stood idle in a transaction for a second or
/// more; tells how often it looked, and how many stand idle in one at all.
async fn watch(
    server: String,
    database: String,
    stop: Arc<AtomicBool>,
    told: tokio::sync::watch::Sender<(usize, i64)>,
) -> i64 {
    let db = Connect::connect(server).await.unwrap();
    let sql = format!(
        "SELECT count(*), count(*) FILTER (WHERE extract(epoch FROM age(now(), state_change)) > 1) \
         FROM pg_stat_activity WHERE datname = '{database}' AND application_name = 'tallow' AND state LIKE 'idle in %'"
    );
    let (mut left, mut often) = (0, tokio::time::interval(Duration::from_millis(100)));
    while !stop.load(Ordering::Relaxed) {
        often.tick().await;
        let found =
            db.query_one_raw(Statement::from_string(db.get_database_backend(), sql.as_str())).await.unwrap();
        let found = found.unwrap();
        left += found.try_get_by_index::<i64>(1).unwrap();
        let idle = found.try_get_by_index::<i64>(0).unwrap();
        told.send_modify(|(looks, now)| (*looks, *now) = (*looks + 1, idle));
    }
    left
}

/// A write that is given up on half way leaves nothing, and the next does not wait for it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_write_given_up_on_half_way_leaves_nothing() {
    let shared = Shared::new();
    let store = shared.open().await;
    let (row, begun) = (launch("half", 0), Arc::new(tokio::sync::Notify::new()));
    let (writer, telling) = (store.clone(), begun.clone());
    let half = tokio::spawn(async move {
        let work = async |tx: &mut Writer| {
            tx.append_new(&[row]).await?;
            telling.notify_one();
            std::future::pending::<()>().await;
            Ok::<_, StoreError>(())
        };
        writer.write(deed("half"), work).await
    });
    begun.notified().await;
    half.abort();
    tokio::time::timeout(Duration::from_secs(5), log(&store, "whole")).await.unwrap().unwrap();
    assert_eq!(keys(&store).await, BTreeSet::from(["whole".to_owned()]));
    assert_eq!(store.head().await.unwrap().seq, 1);
}
