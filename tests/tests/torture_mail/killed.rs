//! The daemon goes down with a notice in hand.

use std::process::Command;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use daemon::clock::Clock;
use daemon::notices::delivery::{Pace, Post, SmtpCourier, Stop};
use daemon::store::Store;
use policies::zone::Instant;
use tests::harness::{Daemon, Room, wait_for};
use tests::scripted_mail::{Act, At, ScriptedServer};

use crate::daemon_room::{PEOPLE, accepted_once, notices, room, wait_states};
use crate::post_room::{PostRoom, id_and_date, relay};

/// Whose process a script kills: known only once it runs.
#[derive(Clone, Default)]
struct Victim(Arc<Mutex<Option<u32>>>);

impl Victim {
    fn is(&self, daemon: &Daemon) {
        *self.0.lock().unwrap() = Some(daemon.id());
    }

    /// Kills it as a power cut would.
    fn kill(&self) {
        let id = wait_for("the daemon's number", || *self.0.lock().unwrap());
        let killed = Command::new("sh").args(["-c", &format!("kill -9 {id}")]).status().unwrap();
        assert!(killed.success());
        *self.0.lock().unwrap() = None;
    }
}

/// A clock so much later than the machine's.
struct Later(Duration);

impl Clock for Later {
    fn now(&self) -> Instant {
        let now = daemon::clock::SystemClock.now();
        Instant(now.0 + i64::try_from(self.0.as_micros()).unwrap())
    }
}

/// The server has heard RCPT and DATA, and the daemon is killed before it has noted that a body begins.
#[test]
fn torture_04_killed_before_the_body_sends_once() {
    let victim = Victim::default();
    let killer = victim.clone();
    let server = ScriptedServer::start(move |seen| match (seen.connection, seen.at) {
        (0, At::Data) => {
            let killer = killer.clone();
            Act::Run(Arc::new(move || killer.kill()))
        }
        _ => Act::Usual,
    });
    let room = room(Room::in_file(), server.port(), "connections = 1\n");
    let daemon = room.serve();
    victim.is(&daemon);
    wait_for("the kill", || (server.count(At::Data) == 1).then_some(()));
    wait_for("the end", || std::fs::metadata(format!("/proc/{}/exe", daemon.id())).is_err().then_some(()));
    assert!(server.accepted().is_empty());
    drop(daemon);
    let daemon = room.serve();
    let sent = wait_states(&room, &["sent"]);
    accepted_once(&server);
    let attempts: Vec<i64> = sent.values().map(|notice| notice["attempts"].as_i64().unwrap()).collect();
    assert_eq!(attempts.iter().sum::<i64>(), 4, "one of three was tried twice: {attempts:?}");
    assert_eq!(daemon.stop(), (Some(0), true));
}

/// The server has the whole mail, and the daemon is killed before it reads the answer.
#[test]
fn torture_05_killed_before_the_answer_is_uncertain_and_sends_the_same_bytes_once_more() {
    let victim = Victim::default();
    let killer = victim.clone();
    let server = ScriptedServer::start(move |seen| match (seen.connection, seen.at) {
        (0, At::Dot) => {
            let killer = killer.clone();
            Act::Run(Arc::new(move || killer.kill()))
        }
        _ => Act::Usual,
    });
    let room = room(Room::in_file(), server.port(), "connections = 1\n");
    let daemon = room.serve();
    victim.is(&daemon);
    let first = wait_for("the first mail", || server.accepted().first().cloned());
    wait_for("the end", || std::fs::metadata(format!("/proc/{}/exe", daemon.id())).is_err().then_some(()));
    drop(daemon);
    let daemon = room.serve();
    let after = wait_states(&room, &["sent", "uncertain"]);
    assert_eq!(after[&first.to]["state"], "uncertain");
    assert_eq!(after.values().filter(|notice| notice["state"] == "uncertain").count(), 1, "counted");
    assert_eq!(daemon.stop(), (Some(0), true));
    once_more(&room, &server, 14);
    assert_eq!(server.accepted_for(&first.to).len(), 1, "too early for the second copy");
    once_more(&room, &server, 16);
    let copies = server.accepted_for(&first.to);
    assert_eq!(copies.len(), 2);
    assert_eq!(copies[0].bytes, copies[1].bytes);
    assert_eq!(id_and_date(&copies[0].bytes), id_and_date(&copies[1].bytes));
    assert!(notices(&room).values().all(|notice| notice["state"] == "sent"));
    for person in PEOPLE.into_iter().filter(|person| *person != first.to) {
        assert_eq!(server.accepted_for(person).len(), 1, "{person}");
    }
}

/// Another daemon on the same store, so many minutes later.
fn once_more(room: &Room, server: &ScriptedServer, minutes: u64) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let store = Store::open(&room.address()).await.unwrap();
        let couriers = SmtpCourier::several(&relay(server.port(), Duration::from_secs(20)), 1);
        let outbox = store.outbox("later".into());
        let clock = Arc::new(Later(Duration::from_mins(minutes)));
        let mut post = Post::new(outbox, couriers, clock, "tallow@service.example".into(), Pace::of(0));
        post.drain(&Stop::never()).await.unwrap();
        store.close().await.unwrap();
    });
}

/// A second doubt is one for a person: two copies may be there, and a third would help nobody.
#[tokio::test(flavor = "multi_thread")]
async fn torture_05_a_second_doubt_is_set_aside() {
    let server = ScriptedServer::start(|seen| match seen.at {
        At::Dot => Act::hang_up(),
        _ => Act::Usual,
    });
    let room = PostRoom::with(&["a@bay.example"]).await;
    let relay = relay(server.port(), Duration::from_secs(10));
    room.drain(&relay, 1).await;
    assert_eq!(room.states().await, ["uncertain"]);
    room.clock.pass(14);
    room.drain(&relay, 1).await;
    assert_eq!(server.accepted().len(), 1);
    room.clock.pass(2);
    room.drain(&relay, 1).await;
    assert_eq!(room.states().await, ["parked"]);
    room.clock.pass(24 * 60);
    room.drain(&relay, 1).await;
    let copies = server.accepted();
    assert_eq!(copies.len(), 2);
    assert_eq!(copies[0].bytes, copies[1].bytes);
    assert_eq!(copies[0].bytes, room.frozen("a@bay.example").await);
    assert_eq!(room.store.in_trouble(room.clock.now()).await.unwrap().len(), 1);
}

/// Five daemons go down with the same notice in hand. It is set aside; the others go.
#[test]
fn torture_59_a_notice_that_kills_the_daemon_is_set_aside_and_the_others_go() {
    const POISON: &str = "mechanic@bar.example";
    let victim = Victim::default();
    let killer = victim.clone();
    let server = ScriptedServer::start(move |seen| match seen.at {
        At::Rcpt if seen.line.contains(POISON) => {
            let killer = killer.clone();
            Act::Run(Arc::new(move || killer.kill()))
        }
        _ => Act::Usual,
    });
    let room = room(Room::in_file(), server.port(), "connections = 2\n");
    for death in 1..=5 {
        let daemon = room.serve();
        victim.is(&daemon);
        let gone = || std::fs::metadata(format!("/proc/{}/exe", daemon.id())).is_err().then_some(());
        wait_for(&format!("death {death}"), gone);
    }
    let daemon = room.serve();
    victim.is(&daemon);
    let ended = wait_states(&room, &["sent", "parked"]);
    assert_eq!(ended[POISON]["state"], "parked");
    assert_eq!(ended[POISON]["attempts"], 5);
    assert!(daemon.wait_log("set aside for a person").contains(POISON));
    assert!(server.accepted_for(POISON).is_empty());
    for person in PEOPLE.into_iter().filter(|person| *person != POISON) {
        let copies = server.accepted_for(person);
        // The other connection may have been killed in the midst of its mail once: two daemons, two copies at most.
        assert!((1..=2).contains(&copies.len()), "{person}: {}", copies.len());
        assert!(copies.iter().all(|copy| copy.bytes == copies[0].bytes));
    }
    assert_eq!(daemon.stop(), (Some(0), true));
}
