//! A mail server that cannot be found, or that takes nothing from us: every notice waits, none is lost or failed.

use std::time::Duration;

use daemon::notices::delivery::Stop;
use daemon::notices::smtp::Tls;
use daemon::sending;
use tests::harness::{Room, wait_for};
use tests::scripted_mail::{Act, At, Authority, Certificate, GOOD, ScriptedServer};

use crate::daemon_room::{accepted_once, notices, room, settings, wait_states};
use crate::post_room::{PostRoom, relay};

const LIMIT: Duration = Duration::from_secs(10);
const PEOPLE: [&str; 4] = ["a@bay.example", "b@bay.example", "c@bay.example", "d@bay.example"];

/// One that holds for another host, one that has run out, and no offer of encryption at all.
#[test]
fn torture_13_no_encryption_that_holds_means_that_nothing_is_sent() {
    let faults = [
        (Some(Certificate { name: "relay.elsewhere.example", ..GOOD }), "STARTTLS"),
        (Some(Certificate { until: 2021, ..GOOD }), "STARTTLS"),
        (None, "8BITMIME"),
    ];
    for (certificate, offer) in faults {
        let authority = certificate.map(Authority::new);
        let trusted = authority.as_ref().map(|authority| authority.file().display().to_string());
        let server = ScriptedServer::offering(&[offer], authority, |_| Act::Usual);
        let encrypted = format!(
            "connections = 2\nca_file = \"{}\"\n",
            trusted.unwrap_or_else(|| "/etc/ssl/certs/ca-certificates.crt".into())
        );
        let room = room(Room::empty(), 0, "");
        let text = room.read("tallow.toml");
        let text = text
            .replace("port = 0", &format!("port = {}", server.port()))
            .replace("tls = \"none\"", "tls = \"starttls\"")
            .replace("host = \"127.0.0.1\"", "host = \"localhost\"");
        room.write("tallow.toml", &format!("{text}{encrypted}"));
        let daemon = room.serve();
        let told = daemon.wait_log("the mail server takes nothing");
        assert!(told.contains("ERROR"), "{told}");
        assert!(notices(&room).values().all(|notice| notice["state"] == "queued" && notice["attempts"] == 0));
        assert!(room.tallow("notices list").done().starts_with("the mail server takes nothing since "));
        assert_eq!(daemon.stop(), (Some(0), true));
        assert!(server.accepted().is_empty());
        let beyond = [At::Auth, At::Mail, At::Rcpt, At::Data, At::Body];
        assert!(!server.heard().iter().any(|heard| beyond.contains(&heard.at)), "{:?}", server.heard());
        // The relay is mended: everything goes, once.
        let mended = ScriptedServer::start(|_| Act::Usual);
        settings(&room, mended.port(), "");
        let daemon = room.serve();
        wait_states(&room, &["sent"]);
        accepted_once(&mended);
        assert_eq!(daemon.stop(), (Some(0), true));
    }
}

/// People are told at once, and what they are told stays true: it is tried again within a quarter hour (and a fifth).
#[tokio::test(flavor = "multi_thread")]
async fn torture_13_the_trouble_is_there_to_read_and_the_relay_is_tried_again_within_the_quarter_hour() {
    let server = ScriptedServer::start(|_| Act::Usual);
    let room = PostRoom::with(&PEOPLE).await;
    let mut stripped = relay(server.port(), LIMIT);
    (stripped.tls, stripped.host) = (Tls::StartTls, "localhost".into());
    let mut post = room.post(&stripped, 2);
    let mut tries = 0;
    for minute in 0..120 {
        post.drain(&Stop::never()).await.unwrap();
        let trouble = sending::relay_trouble(&room.store).await.unwrap().unwrap();
        assert!(trouble.why.contains("does not offer STARTTLS"), "{}", trouble.why);
        let again = (trouble.again_at.0 - trouble.tried_at.0) / 60_000_000;
        assert!((1..=18).contains(&again), "minute {minute}: again after {again} min");
        tries = trouble.tries;
        room.clock.pass(1);
    }
    assert!((7..=12).contains(&tries), "{tries} tries in two hours");
    assert_eq!(server.count(At::Greeting), usize::try_from(tries).unwrap(), "one connection a try");
    assert_eq!(server.count(At::Mail), 0);
    assert_eq!(room.states().await, ["queued"; 4]);
    room.clock.pass(180);
    assert_eq!(room.store.in_trouble(daemon::clock::Clock::now(&*room.clock)).await.unwrap().len(), 4);
}

/// Six hours without a name server that answers, then all is well.
#[tokio::test(flavor = "multi_thread")]
async fn torture_14_a_relay_that_cannot_be_found_for_six_hours_costs_six_hours() {
    let server = ScriptedServer::start(|_| Act::Usual);
    let room = PostRoom::with(&PEOPLE).await;
    let mut lost = relay(server.port(), LIMIT);
    (lost.host, lost.tls) = ("mail.nowhere.example".into(), Tls::StartTls);
    let mut post = room.post(&lost, 2);
    for _ in 0..6 * 60 {
        post.drain(&Stop::never()).await.unwrap();
        room.clock.pass(1);
    }
    let notices = room.notices().await;
    assert!(notices.iter().all(|notice| notice.state == "queued" && notice.attempts == 0), "{notices:?}");
    let trouble = sending::relay_trouble(&room.store).await.unwrap().unwrap();
    assert!((20..=30).contains(&trouble.tries), "{}", trouble.tries);
    let drained = room.paced(&relay(server.port(), LIMIT), 2, 1).drain(&Stop::never()).await.unwrap();
    assert_eq!(drained.sent, PEOPLE.len());
    assert!(sending::relay_trouble(&room.store).await.unwrap().is_none());
    let accepted = server.accepted();
    assert_eq!(accepted.len(), PEOPLE.len());
    // One a second: what is late must not come in a flood. The clocks differ by how long a mail takes.
    for two in accepted.windows(2) {
        assert!(two[1].at - two[0].at > Duration::from_millis(900), "{:?}", two[1].at - two[0].at);
    }
    for person in PEOPLE {
        assert_eq!(server.accepted_for(person)[0].bytes, room.frozen(person).await);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn torture_15_a_refused_sign_in_is_tried_once_a_quarter_hour() {
    let server = ScriptedServer::offering(&["AUTH PLAIN LOGIN"], None, |seen| match seen.at {
        At::Auth => Act::say("535 5.7.8 the password was changed"),
        _ => Act::Usual,
    });
    let room = PostRoom::with(&PEOPLE).await;
    let mut relay = relay(server.port(), LIMIT);
    relay.user = Some("tallow".into());
    relay.password = Some("old".to_owned().into());
    let mut post = room.post(&relay, 2);
    for minute in 0..60 {
        post.drain(&Stop::never()).await.unwrap();
        assert!(server.count(At::Auth) <= minute / 15 + 1, "minute {minute}: {}", server.count(At::Auth));
        room.clock.pass(1);
    }
    assert!((3..=4).contains(&server.count(At::Auth)), "{}", server.count(At::Auth));
    assert_eq!(server.count(At::Mail), 0);
    assert_eq!(room.states().await, ["queued"; 4]);
    let trouble = sending::relay_trouble(&room.store).await.unwrap().unwrap();
    assert!(trouble.why.contains("535") && trouble.why.contains("AUTH"), "{}", trouble.why);
}

#[test]
fn torture_15_a_refused_sign_in_is_told_in_the_log() {
    let server = ScriptedServer::offering(&["AUTH PLAIN"], None, |seen| match seen.at {
        At::Auth => Act::say("535 5.7.8 no"),
        _ => Act::Usual,
    });
    let room = room(Room::empty(), server.port(), "user = \"tallow\"\npassword_file = \"secret\"\n");
    room.write("secret", "old\n");
    let daemon = room.serve();
    let told = daemon.wait_log("the mail server takes nothing");
    assert!(told.contains("ERROR") && told.contains("535") && !told.contains("old"), "{told}");
    wait_for("the notices", || (notices(&room).len() == 3).then_some(()));
    assert_eq!(server.count(At::Auth), 1);
    assert_eq!(daemon.stop(), (Some(0), true));
}
