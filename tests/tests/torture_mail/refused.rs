//! Servers that say no: to one mail, for now or for good, or in the midst of a conversation.

use std::time::Duration;

use daemon::clock::Clock;
use daemon::notices::delivery::Stop;
use daemon::store::Store;
use daemon::store::outbox::State;
use mail_parser::MessageParser;
use tests::harness::{Room, wait_for};
use tests::scripted_mail::{Act, At, ScriptedServer};

use crate::daemon_room::{PEOPLE, notices, room, wait_states};
use crate::post_room::{PostRoom, fresh, id_and_date, relay};

const LIMIT: Duration = Duration::from_secs(10);

/// One connection is closed with 421, one without a word, one with half a line; each after its first mail.
#[tokio::test(flavor = "multi_thread")]
async fn torture_09_a_connection_closed_between_mails_is_opened_again_and_no_notice_is_failed() {
    let server = ScriptedServer::start(|seen| match (seen.connection, seen.at, seen.before) {
        (0, At::Mail, 1) => Act::say("421 4.3.2 closing for maintenance"),
        (1, At::Mail, 1) => Act::hang_up(),
        (2, At::Mail, 1) => Act::Cut(b"25".to_vec()),
        (3, At::Rcpt, 1) => Act::say("421 4.3.2 closing"),
        (4, At::Data, 1) => Act::Cut(b"354 go o".to_vec()),
        _ => Act::Usual,
    });
    let people: Vec<String> = (0..8).map(|n| format!("p{n}@bay.example")).collect();
    let room = PostRoom::with(&people.iter().map(String::as_str).collect::<Vec<_>>()).await;
    let drained = room.drain(&relay(server.port(), LIMIT), 1).await;
    assert_eq!((drained.sent, drained.hindered), (8, None));
    let notices = room.notices().await;
    assert!(notices.iter().all(|notice| notice.state == "sent" && notice.attempts == 1), "{notices:?}");
    assert_eq!(server.count(At::Greeting), 6);
    for person in &people {
        let copies = server.accepted_for(person);
        assert_eq!(copies.len(), 1, "{person}");
        assert_eq!(copies[0].bytes, room.frozen(person).await);
    }
}

/// A server that takes us in and then breaks off with every mail is left alone; no notice is failed for it.
#[tokio::test(flavor = "multi_thread")]
async fn torture_09_a_server_that_breaks_off_with_every_mail_is_left_alone() {
    let server = ScriptedServer::start(|seen| match seen.at {
        At::Mail => Act::say("421 4.3.2 too busy"),
        _ => Act::Usual,
    });
    let people: Vec<String> = (0..9).map(|n| format!("p{n}@bay.example")).collect();
    let room = PostRoom::with(&people.iter().map(String::as_str).collect::<Vec<_>>()).await;
    let drained = room.drain(&relay(server.port(), LIMIT), 1).await;
    assert!(drained.hindered.unwrap().contains("421"));
    assert_eq!(server.count(At::Mail), 3);
    let states = room.states().await;
    assert!(states.iter().all(|state| state == "deferred" || state == "queued"), "{states:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn torture_10_greylisted_is_tried_again_after_a_minute_and_sent_once() {
    let server = ScriptedServer::start(|seen| match (seen.connection, seen.at) {
        (0, At::Rcpt) => Act::say("450 4.2.0 greylisted, come again"),
        _ => Act::Usual,
    });
    let people = ["a@bay.example", "b@bay.example", "c@bay.example"];
    let room = PostRoom::with(&people).await;
    let relay = relay(server.port(), LIMIT);
    room.drain(&relay, 1).await;
    assert_eq!(room.states().await, ["deferred"; 3]);
    room.clock.pass_seconds(59);
    room.drain(&relay, 1).await;
    assert_eq!(server.count(At::Greeting), 1, "earlier than a minute");
    // A minute and up to a fifth more.
    room.clock.pass_seconds(14);
    room.drain(&relay, 1).await;
    assert_eq!(room.states().await, ["sent"; 3]);
    for person in people {
        assert_eq!(server.accepted_for(person).len(), 1);
    }
}

/// The waits of RFC 5321's schedule: 1, 5, 15, 30, 60 minutes, then every hour, for five days; never earlier, at most
/// a fifth later.
#[tokio::test(flavor = "multi_thread")]
async fn torture_10_a_server_that_never_says_yes_is_asked_by_the_schedule_and_given_up_after_five_days() {
    let server = ScriptedServer::start(|seen| match seen.at {
        At::Rcpt => Act::say("451 4.7.1 not yet"),
        _ => Act::Usual,
    });
    let room = PostRoom::with(&["a@bay.example"]).await;
    let mut post = room.post(&relay(server.port(), LIMIT), 1);
    let mut asked = Vec::new();
    let start = room.clock.now().0;
    while room.states().await != ["failed"] {
        let before = server.count(At::Rcpt);
        post.drain(&Stop::never()).await.unwrap();
        if server.count(At::Rcpt) > before {
            asked.push((room.clock.now().0 - start) / 1_000_000);
        }
        room.clock.pass_seconds(30);
    }
    let waits: Vec<i64> = asked.windows(2).map(|two| two[1] - two[0]).collect();
    for (wait, minutes) in waits.iter().zip([1, 5, 15, 30].into_iter().chain(std::iter::repeat(60))) {
        // It is looked every 30 s.
        assert!((minutes * 60..=minutes * 72 + 30).contains(wait), "{minutes} min: {wait} s");
    }
    let days = |days: i64| days * 24 * 3_600;
    assert!((days(5)..days(5) + 5_000).contains(asked.last().unwrap()), "{:?}", asked.last());
    let trouble = room.store.in_trouble(room.clock.now()).await.unwrap();
    assert_eq!((trouble.len(), trouble[0].state.as_str()), (1, "failed"));
}

#[test]
fn torture_11_one_of_three_is_refused_for_good_and_two_are_sent() {
    let server = ScriptedServer::start(|seen| match seen.at {
        At::Rcpt if seen.line.contains(PEOPLE[1]) => Act::say(b"550 5.1.1 no \xff\xfe such person".to_vec()),
        _ => Act::Usual,
    });
    let room = room(Room::empty(), server.port(), "");
    let daemon = room.serve();
    let ended = wait_states(&room, &["sent", "failed"]);
    assert_eq!([0, 1, 2].map(|n| ended[PEOPLE[n]]["state"].as_str().unwrap()), ["sent", "failed", "sent"]);
    assert!(ended[PEOPLE[1]]["last_error"].as_str().unwrap().contains("550 5.1.1 no"));
    assert!(daemon.wait_log("refused for good").contains(PEOPLE[1]));
    assert_eq!(daemon.stop(), (Some(0), true));
    assert_eq!([0, 1, 2].map(|n| server.accepted_for(PEOPLE[n]).len()), [1, 0, 1]);
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let trouble = runtime.block_on(async {
        let store = Store::open(&room.address()).await.unwrap();
        store.in_trouble(daemon::clock::SystemClock.now()).await.unwrap()
    });
    assert_eq!(trouble.len(), 1, "whoever must be told can find it");
    assert_eq!((trouble[0].recipient.as_str(), trouble[0].state.as_str()), (PEOPLE[1], State::Failed.word()));
}

/// The mechanic's notice has dates attached: it goes once more without them. The line at Outer Bar has none.
#[test]
fn torture_12_too_large_goes_once_without_attachments_and_is_then_set_aside() {
    let server = ScriptedServer::start(|seen| match seen.at {
        At::Dot if seen.to == PEOPLE[1] => Act::say("552 5.3.4 too large"),
        At::Dot if seen.mail.windows(7).any(|seven| seven == b"due.ics") => Act::say("552 too large"),
        _ => Act::Usual,
    });
    let room = room(Room::empty(), server.port(), "");
    let daemon = room.serve();
    let frozen = wait_for("the first notice", || notices(&room).get(PEOPLE[2]).cloned());
    let ended = wait_states(&room, &["sent", "parked"]);
    assert_eq!(ended[PEOPLE[2]]["state"], "sent");
    assert_eq!(ended[PEOPLE[2]]["attempts"], 2);
    let short = server.accepted_for(PEOPLE[2]);
    assert_eq!(short.len(), 1);
    let parsed = MessageParser::new().parse(&short[0].bytes).unwrap();
    assert_eq!(parsed.attachment_count(), 0);
    assert_eq!(parsed.subject(), frozen["subject"].as_str());
    assert!(parsed.body_text(0).unwrap().contains("F-1") && parsed.body_html(0).unwrap().contains("F-1"));
    assert!(id_and_date(&short[0].bytes).0.contains(".v2@"), "another message has another Message-ID");
    assert_eq!(ended[PEOPLE[1]]["state"], "parked");
    assert_eq!(ended[PEOPLE[1]]["attempts"], 1, "there is nothing to leave out");
    assert!(daemon.wait_log("set aside for a person").contains(PEOPLE[1]));
    assert_eq!(daemon.stop(), (Some(0), true));
    room.tallow("verify").done();
}

/// Too large with its dates, and without them: two offers, no more.
#[tokio::test(flavor = "multi_thread")]
async fn torture_12_too_large_even_without_attachments_is_offered_twice_in_all() {
    let server = ScriptedServer::start(|seen| match seen.at {
        At::Dot => Act::say("552 5.3.4 too large"),
        _ => Act::Usual,
    });
    let room = PostRoom::with(&["a@bay.example"]).await;
    let relay = relay(server.port(), LIMIT);
    for _ in 0..4 {
        room.drain(&relay, 1).await;
        room.clock.pass(120);
    }
    assert_eq!(room.states().await, ["parked"]);
    assert_eq!(server.count(At::Dot), 2);
    assert_eq!(room.store.in_trouble(room.clock.now()).await.unwrap().len(), 1);
}

/// Addresses that hold a line break or nothing at all, as an older program or another hand may have stored them.
#[tokio::test(flavor = "multi_thread")]
async fn torture_16_a_mailbox_with_control_characters_is_set_aside_and_the_others_go() {
    let server = ScriptedServer::start(|_| Act::Usual);
    let bad = ["a@bay.example\r\nRCPT TO:<x@y.example>", "b\0@bay.example", "\r\n", ""];
    let room = PostRoom::with(&["first@bay.example"]).await;
    let mut notices: Vec<_> = (10..).zip(bad).map(|(n, to)| fresh(n, "a@bay.example", 500).to(to)).collect();
    notices.push(fresh(20, "last@bay.example", 500));
    room.outbox.enqueue(&notices).await;
    room.drain(&relay(server.port(), LIMIT), 2).await;
    assert_eq!(room.states().await, ["sent", "parked", "parked", "parked", "parked", "sent"]);
    let recipients: Vec<_> = server.accepted().into_iter().map(|mail| mail.to).collect();
    assert_eq!(recipients.len(), 2);
    assert!(recipients.iter().all(|to| ["first@bay.example", "last@bay.example"].contains(&to.as_str())));
    assert_eq!(room.store.in_trouble(room.clock.now()).await.unwrap().len(), 4);
}

trait To {
    fn to(self, recipient: &str) -> Self;
}

impl To for daemon::store::outbox::Fresh {
    fn to(mut self, recipient: &str) -> Self {
        recipient.clone_into(&mut self.recipient);
        self
    }
}
