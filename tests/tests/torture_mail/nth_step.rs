//! Every step of a sending fails once, one after the other, until a run meets no fault: what is stored then is whole,
//! and every mail arrives, twice only where the step came after its body began.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tests::scripted_mail::{Act, At, ScriptedServer};

use crate::post_room::{PostRoom, relay};

const PEOPLE: [&str; 2] = ["a@bay.example", "b@bay.example"];
/// A relay that breaks off is tried again within a quarter hour, and so is what is in doubt.
const ROUNDS: usize = 6;

type Fault = (&'static str, fn() -> Act);

const FAULTS: [Fault; 4] = [
    ("hangs up", Act::hang_up),
    ("says half a line", || Act::Cut(b"25".to_vec())),
    ("says 421", || Act::say("421 4.3.2 closing")),
    ("says what is no reply", || Act::say("what?")),
];

/// One run whose nth step goes wrong; the step, none where there were fewer.
async fn struck(nth: usize, (word, act): Fault) -> Option<At> {
    let (count, hit) = (AtomicUsize::new(0), Arc::new(Mutex::new(None)));
    let strikes = hit.clone();
    let server = ScriptedServer::start(move |seen| {
        if count.fetch_add(1, Ordering::SeqCst) != nth {
            return Act::Usual;
        }
        *strikes.lock().unwrap() = Some((seen.at, seen.to.to_owned()));
        act()
    });
    let room = PostRoom::with(&PEOPLE).await;
    for _ in 0..ROUNDS {
        room.drain(&relay(server.port(), Duration::from_secs(10)), 1).await;
        assert_eq!(room.store.check().await.unwrap(), Vec::<String>::new());
        room.clock.pass(20);
    }
    let hit = hit.lock().unwrap().clone();
    let states = room.states().await;
    assert_eq!(states, ["sent", "sent"], "step {nth}, {hit:?}, the server {word}");
    for person in PEOPLE {
        let copies = server.accepted_for(person);
        let doubted = hit.as_ref().is_some_and(|(at, to)| [At::Body, At::Dot].contains(at) && to == person);
        assert!((1..=1 + usize::from(doubted)).contains(&copies.len()), "{nth}, {hit:?}: {}", copies.len());
        let frozen = room.frozen(person).await;
        assert!(copies.iter().all(|copy| copy.bytes == frozen), "{nth}, {hit:?}");
    }
    hit.map(|(at, _)| at)
}

#[tokio::test(flavor = "multi_thread")]
async fn every_step_of_a_sending_fails_once() {
    for fault in FAULTS {
        let mut steps = Vec::new();
        while let Some(at) = struck(steps.len(), fault).await {
            steps.push(at);
        }
        println!("the server {}: {} steps, {steps:?}", fault.0, steps.len());
        assert!(steps.len() > 10 && steps.contains(&At::Dot) && steps.contains(&At::Quit), "{steps:?}");
    }
}
