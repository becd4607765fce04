//! A server that goes away: its wire is cut while it commits, swallows everything, or it is started again.

use std::process::Command;
use std::time::{Duration, Instant};

use daemon::store::{Store, StoreError};
use tests::harness::{Proxy, Wire};
use tests::stores::{Database, port_of, server_for};

use super::ground::{keys, log, size};

/// The wire is cut while a write commits, after the server heard of it or before. What is acknowledged is there, what
/// is refused is not, and nothing is there twice.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn torture_62_a_commit_whose_answer_is_lost_is_looked_up() {
    let Some(server) = server_for("torture_62") else { return };
    let database = Database::on(&server);
    let wire = Proxy::to(port_of(&server), "COMMIT");
    let store = Store::open(&database.through(wire.port())).await.unwrap();
    let times = size(6, 50);
    for number in 0..times {
        let (kept, lost) = (format!("kept-{number}"), format!("lost-{number}"));
        wire.set(Wire::CutAfterWord);
        log(&store, &kept).await.unwrap();
        assert_eq!(wire.state(), Wire::Whole, "the wire was cut");
        wire.set(Wire::CutBeforeWord);
        let refused = log(&store, &lost).await.unwrap_err();
        assert!(refused.is_away(), "{refused:?}");
        assert_eq!(wire.state(), Wire::Whole, "the wire was cut");
        // The same key again is no second record.
        assert!(log(&store, &kept).await.is_err());
        log(&store, &lost).await.unwrap();
    }
    println!(
        "row 62: {times} commits whose answer was lost were found, {times} that never came were refused"
    );
    assert_eq!(keys(&store).await.len(), 2 * times);
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
}

async fn within(
    limit: u64,
    what: &str,
    done: impl Future<Output = Result<(), StoreError>>,
) -> Result<(), StoreError> {
    let begun = Instant::now();
    let done = tokio::time::timeout(Duration::from_secs(limit), done).await;
    let done = done.unwrap_or_else(|_| panic!("{what}: no answer within {limit} s"));
    println!(
        "{what}: {} after {:.1} s",
        if done.is_ok() { "done" } else { "failed" },
        begun.elapsed().as_secs_f64()
    );
    done
}

async fn read(store: &Store) -> Result<(), StoreError> {
    store.head().await.map(drop)
}

/// A network that swallows everything: whatever waits for the database fails within ten seconds, and works again
/// within fifteen of its return, over the same store.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_silent_network_fails_requests_within_ten_seconds() {
    let Some(server) = server_for("a_silent_network") else { return };
    let database = Database::on(&server);
    let wire = Proxy::to(port_of(&server), "COMMIT");
    let store = Store::open(&database.through(wire.port())).await.unwrap();
    // Every connection of the pool is in use once, and idle when the wire falls silent.
    let warm = (0..8).map(|_| read(&store));
    futures_util::future::try_join_all(warm).await.unwrap();
    log(&store, "before").await.unwrap();
    wire.set(Wire::Silent);
    for round in 0..3 {
        let reads = within(10, "a read", read(&store));
        let writes = log(&store, "meanwhile");
        let (read, written) = tokio::join!(reads, within(10, "a write", writes));
        let away = |done: Result<(), StoreError>| done.is_err_and(|error| error.is_away());
        assert!(away(read) && away(written), "round {round}");
    }
    wire.set(Wire::Whole);
    let returned = Instant::now();
    while log(&store, "after").await.is_err() {
        assert!(returned.elapsed() < Duration::from_secs(15), "no recovery");
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    println!("recovered {:.1} s after the network's return", returned.elapsed().as_secs_f64());
    read(&store).await.unwrap();
    let kept = keys(&store).await;
    assert!(kept.contains("before") && kept.contains("after") && !kept.contains("meanwhile"), "{kept:?}");
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
}

/// A server of its own, gone with this value.
struct Server {
    folder: tempfile::TempDir,
    address: String,
}

impl Server {
    fn start() -> Server {
        let folder = tempfile::tempdir().unwrap();
        let address = postgres("start", &folder.path().join("pg"));
        Server { folder, address }
    }

    fn restart(&self) {
        postgres("restart", &self.folder.path().join("pg"));
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        postgres("stop", &self.folder.path().join("pg"));
    }
}

fn postgres(what: &str, folder: &std::path::Path) -> String {
    let script = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../ops/postgres");
    let told = Command::new(script).arg(what).arg(folder).output().unwrap();
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    String::from_utf8(told.stdout).unwrap().trim().to_owned()
}

/// The server crashes and comes up again while records are written: requests fail, then go on, over the same store,
/// and what was acknowledged is there.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn torture_62_a_server_that_crashes_and_comes_up_again() {
    if server_for("torture_62").is_none() {
        return;
    }
    let server = Server::start();
    let database = Database::on(&server.address);
    let store = Store::open(database.address()).await.unwrap();
    let (mut acknowledged, mut failed, mut number) = (Vec::new(), 0, 0);
    for _ in 0..size(2, 20) {
        std::thread::scope(|scope| {
            let restarting = scope.spawn(|| server.restart());
            tokio::task::block_in_place(|| {
                tokio::runtime::Handle::current().block_on(async {
                    while !restarting.is_finished() {
                        let key = format!("R-{number}");
                        number += 1;
                        match log(&store, &key).await {
                            Ok(()) => acknowledged.push(key),
                            Err(_) => failed += 1,
                        }
                    }
                });
            });
        });
        within(10, "the first write after it", async {
            while log(&store, &format!("R-{number}")).await.is_err() {
                number += 1;
            }
            Ok(())
        })
        .await
        .unwrap();
        number += 1;
    }
    let kept = keys(&store).await;
    let lost = acknowledged.iter().filter(|key| !kept.contains(*key)).count();
    println!("row 62: {} acknowledged, {failed} failed, {lost} lost", acknowledged.len());
    assert_eq!(lost, 0);
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
}
