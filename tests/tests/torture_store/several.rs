//! Several daemons over one database.

use std::collections::BTreeSet;
use std::sync::Arc;

use daemon::notices::templates::Templates;
use daemon::records::Usage;
use daemon::store::Store;
use daemon::store::leases::Leader;
use daemon::sweep::{Mail, sweep};
use policies::zone::Instant;
use sea_orm::{ConnectionTrait, Database as Connect};
use tests::stores::{Database, server_for};

use super::ground::{NOW, Shared, desk, launch, size, take_in};

const DAY: i64 = 86_400_000_000;

fn mail() -> Mail {
    Mail {
        from: "tallow@service.example".to_owned(),
        reply_to: None,
        pages_url: None,
        templates: Templates::embedded().unwrap(),
    }
}

/// Four daemons log use of one carriage at once: the total is exact, and so is what its parts bore.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn four_daemons_count_every_use_of_one_item() {
    let each = size(250, 1_000);
    let shared = Shared::new();
    take_in(&desk(shared.open().await, NOW)).await;
    let mut daemons = tokio::task::JoinSet::new();
    for daemon in 0..4 {
        let desk = desk(shared.open().await, NOW);
        daemons.spawn(async move {
            for number in 0..each {
                let at = NOW.0 - DAY + i64::try_from(number).unwrap();
                assert!(desk.log_use(&[launch(&format!("D{daemon}-{number}"), at)]).await.unwrap().new);
            }
        });
    }
    while let Some(done) = daemons.join_next().await {
        done.unwrap();
    }
    let store = shared.open().await;
    let rows = store.newest::<Usage>().await.unwrap();
    let total: i64 = rows.values().filter_map(|row| row.count).sum();
    // Seven launches stand in the register already.
    let right = i64::try_from(4 * each + 7).unwrap();
    println!("four daemons, {each} launches each: {} counted", total / 1_000_000);
    assert_eq!(total, right * 1_000_000);
    let due = store.due_table().await.unwrap();
    let fall = due.iter().find(|row| (&*row.item, &*row.rule) == ("F-1", "fall-renewal")).unwrap();
    assert_eq!(fall.usage.as_ref().unwrap().1.to_string(), right.to_string());
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
}

/// Day after day two daemons sweep at the same instant: everybody is told once, and every number is given once.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn torture_17_two_daemons_sweep_at_the_same_instant() {
    let shared = Shared::new();
    take_in(&desk(shared.open().await, NOW)).await;
    let stores = [shared.open().await, shared.open().await];
    let mut swept = 0;
    for day in 0..size(10, 100) {
        let now = Instant(NOW.0 + i64::try_from(day).unwrap() * 30 * DAY);
        let barrier = Arc::new(tokio::sync::Barrier::new(2));
        let both = stores.clone().map(|store| {
            let (desk, barrier) = (desk(store, now), barrier.clone());
            tokio::spawn(async move {
                barrier.wait().await;
                sweep(&desk, &mail()).await.unwrap().notices
            })
        });
        for one in both {
            swept += one.await.unwrap();
        }
    }
    let notices = stores[0].notices(None, 10_000).await.unwrap();
    let told: BTreeSet<(&str, &str)> = notices.iter().map(|one| (&*one.occasion, &*one.recipient)).collect();
    let numbers: BTreeSet<&str> = notices.iter().map(|one| &*one.number).collect();
    println!("row 17: {} notices in the outbox", notices.len());
    assert!(notices.len() > 3, "hardly anything was owed: {}", notices.len());
    assert_eq!((told.len(), numbers.len(), swept), (notices.len(), notices.len(), notices.len()));
}

/// Looks at the sessions of this database for two seconds, and kills all of the program's once one was seen at work for
/// so many looks.
fn kill_at_work(looks: usize) -> String {
    format!(
        "DO $$ DECLARE seen int := 0; BEGIN \
            FOR look IN 1..4000 LOOP \
                PERFORM pg_stat_clear_snapshot(); \
                IF EXISTS (SELECT FROM pg_stat_activity WHERE datname = current_database() \
                           AND application_name = 'tallow' AND xact_start IS NOT NULL) THEN \
                    seen := seen + 1; \
                    IF seen >= {looks} THEN \
                        PERFORM pg_terminate_backend(pid) FROM pg_stat_activity \
                            WHERE datname = current_database() AND application_name = 'tallow'; \
                        RETURN; \
                    END IF; \
                END IF; \
                PERFORM pg_sleep(0.0005); \
            END LOOP; END $$"
    )
}

/// The leader's sessions are killed again and again while it sweeps: another sweep makes good what failed,
/// and nobody is told twice.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn torture_19_a_leader_whose_sessions_are_killed_misses_no_hour() {
    let Some(server) = server_for("torture_19") else { return };
    let database = Database::on(&server);
    let connection = database.address().replace("allow_unsafe_database=true&", "");
    let store = Store::open(database.address()).await.unwrap();
    take_in(&desk(store.clone(), NOW)).await;
    let people = 3;
    let mut failed = 0;
    let days = size(8, 60);
    for day in 0..days {
        let now = Instant(NOW.0 + i64::try_from(day).unwrap() * 200 * DAY);
        let (sweeping, kill) = (desk(store.clone(), now), kill_at_work(1 + day));
        // It has its connection before the sweep begins.
        let killer = Connect::connect(connection.as_str()).await.unwrap();
        let killing = tokio::spawn(async move { killer.execute_unprepared(&kill).await.map(drop) });
        let ended = tokio::spawn(async move { sweep(&sweeping, &mail()).await.map(drop) }).await.unwrap();
        killing.await.unwrap().unwrap();
        failed += usize::from(ended.is_err());
        sweep(&desk(store.clone(), now), &mail()).await.unwrap();
        let told = store.remembered_under("told ").await.unwrap();
        assert_eq!(told.len(), people, "day {day}: {told:?}");
    }
    let notices = store.notices(None, 10_000).await.unwrap();
    let told: BTreeSet<(&str, &str)> = notices.iter().map(|one| (&*one.occasion, &*one.recipient)).collect();
    println!("row 19: {failed} of {days} sweeps were killed, {} notices, each told once", notices.len());
    assert!(failed * 2 > days, "only {failed} of {days} sweeps were hit: too few to tell anything");
    assert_eq!(told.len(), notices.len());
    assert_eq!(store.check().await.unwrap(), Vec::<String>::new());
}

/// Of four daemons one leads; when it is gone without a word, another does once its lease has run out.
#[tokio::test]
async fn one_of_four_daemons_leads() {
    let Some(server) = server_for("one_of_four_daemons_leads") else { return };
    let database = Database::on(&server);
    let store = Store::open(database.address()).await.unwrap();
    let mut leaders: Vec<Leader> =
        (0..4).map(|one| Leader::new("sweep", format!("daemon {one}"), 75_000_000)).collect();
    for round in 0..20 {
        let now = Instant(NOW.0 + round * 30_000_000);
        let mut leading = Vec::new();
        for (one, leader) in leaders.iter_mut().enumerate() {
            leading.extend(leader.leads(&store, now).await.unwrap().then_some(one));
        }
        assert_eq!(leading, [0], "round {round}");
    }
    let late = |seconds: i64| Instant(NOW.0 + 19 * 30_000_000 + seconds * 1_000_000);
    assert!(!leaders[1].leads(&store, late(74)).await.unwrap());
    assert!(leaders[1].leads(&store, late(75)).await.unwrap());
    assert!(!leaders[0].leads(&store, late(76)).await.unwrap());
    leaders[1].resign(&store).await.unwrap();
    assert!(leaders[3].leads(&store, late(77)).await.unwrap());
}
