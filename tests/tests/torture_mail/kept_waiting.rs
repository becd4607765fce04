//! Servers that keep one waiting.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use daemon::notices::delivery::Stop;
use tests::harness::{Room, wait_for};
use tests::scripted_mail::{Act, At, ScriptedServer};

use crate::daemon_room::{PEOPLE, accepted_once, notices, room, wait_states};
use crate::post_room::{PostRoom, relay};

fn state(room: &Room, recipient: &str) -> String {
    notices(room)[recipient]["state"].as_str().unwrap().to_owned()
}

/// In service 9 min 50 s of the 10 min that the answer to a mail may take; here 9.5 s of 10.
#[test]
fn torture_06_an_answer_just_within_the_limit_is_no_timeout() {
    let server = ScriptedServer::start(|seen| match seen.at {
        At::Dot => Act::Wait(Duration::from_millis(9_500)),
        _ => Act::Usual,
    });
    let room = room(Room::empty(), server.port(), "connections = 3\n[smtp.limits]\ndot = 10\n");
    let daemon = room.serve();
    let sent = wait_states(&room, &["sent"]);
    accepted_once(&server);
    assert!(sent.values().all(|notice| notice["attempts"] == 1));
    assert_eq!(daemon.stop(), (Some(0), true));
    accepted_once(&server);
}

#[test]
fn torture_07_no_answer_after_the_dot_is_uncertain_at_the_limit_and_holds_up_nobody() {
    let silent = PEOPLE[0];
    let server = ScriptedServer::start(move |seen| match seen.at {
        At::Dot if seen.to == silent => Act::Silence,
        _ => Act::Usual,
    });
    let room = room(Room::empty(), server.port(), "connections = 2\n[smtp.limits]\ndot = 8\n");
    let daemon = room.serve();
    wait_for("the others to be sent", || {
        PEOPLE[1..].iter().all(|person| state(&room, person) == "sent").then_some(())
    });
    assert_eq!(state(&room, silent), "data_begun", "it still waits for its answer");
    wait_for("its limit", || (state(&room, silent) == "uncertain").then_some(()));
    let dot = server.heard().iter().find(|heard| heard.at == At::Dot && heard.connection == 0).unwrap().when;
    assert!(dot.elapsed() > Duration::from_secs(7), "given up too early");
    accepted_once(&server);
    assert_eq!(daemon.stop(), (Some(0), true));
}

/// In service one octet a minute against 5 min; here five a second against 2 s.
#[tokio::test(flavor = "multi_thread")]
async fn torture_08_a_greeting_that_drips_is_given_up_and_tried_again_by_backoff() {
    let server = ScriptedServer::start(|seen| match seen.at {
        At::Greeting => {
            Act::Drip("220 mail.example at your service, whenever".into(), Duration::from_millis(200))
        }
        _ => Act::Usual,
    });
    let room = PostRoom::with(&["a@bay.example", "b@bay.example", "c@bay.example"]).await;
    let mut post = room.post(&relay(server.port(), Duration::from_secs(2)), 2);
    let begun = Instant::now();
    let drained = post.drain(&Stop::never()).await.unwrap();
    assert!(begun.elapsed() < Duration::from_secs(2 + 5), "{:?}", begun.elapsed());
    assert!(drained.hindered.unwrap().contains("greeting"));
    assert_eq!(room.states().await, ["queued"; 3], "no attempt is spent on a server that does not greet");
    for (seconds, connections) in [(30, 1), (29, 1), (14, 2), (119, 2), (26, 3)] {
        room.clock.pass_seconds(seconds);
        post.drain(&Stop::never()).await.unwrap();
        assert_eq!(server.count(At::Greeting), connections, "after {seconds} s more");
    }
}

/// At each step one connection meets a server that says nothing more; the other one sends all the rest meanwhile.
#[tokio::test(flavor = "multi_thread")]
async fn torture_23_a_tarpit_at_any_step_ends_at_its_limit_while_the_other_connection_sends() {
    let steps = [At::Greeting, At::Hello, At::Auth, At::Mail, At::Rcpt, At::Data, At::Dot, At::Quit];
    let trials = steps.map(|step| tokio::spawn(tarpit(step)));
    for (step, trial) in steps.into_iter().zip(trials) {
        trial.await.unwrap_or_else(|error| panic!("at {step:?}: {error}"));
    }
}

const TARPIT: Duration = Duration::from_secs(8);

async fn tarpit(step: At) {
    let taken = Arc::new(AtomicBool::new(false));
    let server = ScriptedServer::offering(&["AUTH PLAIN"], None, move |seen| {
        let first = seen.at == step && !taken.swap(true, Ordering::SeqCst);
        if first { Act::Silence } else { Act::Usual }
    });
    let people: Vec<String> = (0..12).map(|n| format!("p{n}@bay.example")).collect();
    let room = PostRoom::with(&people.iter().map(String::as_str).collect::<Vec<_>>()).await;
    let mut relay = relay(server.port(), TARPIT);
    relay.user = Some("tallow".into());
    relay.password = Some("secret".to_owned().into());
    let begun = Instant::now();
    room.post(&relay, 2).drain(&Stop::never()).await.unwrap();
    assert!(begun.elapsed() < TARPIT + Duration::from_secs(5), "{:?}", begun.elapsed());
    let accepted = server.accepted();
    let in_time = accepted.iter().filter(|mail| mail.at - begun < TARPIT).count();
    assert!(in_time >= 11, "{in_time} of 12 went out while one connection was kept waiting");
    let mut recipients: Vec<_> = accepted.iter().map(|mail| mail.to.clone()).collect();
    recipients.sort();
    recipients.dedup();
    assert_eq!(recipients.len(), accepted.len(), "nobody got two");
    let states = room.states().await;
    let left = states.iter().filter(|state| *state != "sent").count();
    let expected = usize::from(matches!(step, At::Mail | At::Rcpt | At::Data | At::Dot));
    assert_eq!(left, expected, "{states:?}");
    if step == At::Dot {
        assert!(states.contains(&"uncertain".to_owned()), "{states:?}");
    }
}

/// Told to stop while a server says nothing: before the body the notice is put back, with nothing sent.
#[test]
fn told_to_stop_before_the_body_puts_the_notice_back() {
    let server = ScriptedServer::start(|seen| match (seen.connection, seen.at) {
        (0, At::Rcpt) => Act::Silence,
        _ => Act::Usual,
    });
    let room = room(Room::empty(), server.port(), "connections = 1\n");
    let daemon = room.serve();
    wait_for("the silence", || (server.count(At::Rcpt) == 1).then_some(()));
    let begun = Instant::now();
    assert_eq!(daemon.stop(), (Some(0), true));
    assert!(begun.elapsed() < Duration::from_secs(20), "{:?}", begun.elapsed());
    assert!(server.accepted().is_empty());
    let mut states: Vec<_> = PEOPLE.iter().map(|person| state(&room, person)).collect();
    states.sort();
    assert_eq!(states, ["deferred", "queued", "queued"]);
    let daemon = room.serve();
    wait_states(&room, &["sent"]);
    accepted_once(&server);
    assert_eq!(daemon.stop(), (Some(0), true));
}

/// Once the body has gone out, the answer is waited for: given up, the mail would go out twice.
#[test]
fn told_to_stop_after_the_body_waits_for_the_answer() {
    let server = ScriptedServer::start(|seen| match (seen.connection, seen.at) {
        (0, At::Dot) => Act::Wait(Duration::from_secs(4)),
        _ => Act::Usual,
    });
    let room = room(Room::empty(), server.port(), "connections = 1\n");
    let daemon = room.serve();
    let first = wait_for("the first mail", || server.accepted().first().cloned());
    assert_eq!(daemon.stop(), (Some(0), true));
    assert_eq!(state(&room, &first.to), "sent");
    assert_eq!(server.accepted().len(), 1);
    let daemon = room.serve();
    wait_states(&room, &["sent"]);
    accepted_once(&server);
    assert_eq!(daemon.stop(), (Some(0), true));
}
