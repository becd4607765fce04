//! Guessing at a password.

use axum::http::StatusCode;
use daemon::accounts::{Entry, Refused, totp};

use crate::room::{Browser, ENGINEER, MECHANIC, PASSWORD, Room, SECOND};

/// Torture row 53, and P-61: 10,000 guesses in an hour, from 1,000 addresses, at one account.
#[tokio::test]
async fn torture_53_ten_thousand_guesses_are_throttled_and_the_owner_comes_in() {
    let room = Room::of(false).await;
    let seed = room.enrol_with_factor(ENGINEER).await;
    let (mut judged, mut owner) = (0, 0);
    for guess in 0..10_000_i64 {
        let from = format!("10.0.{}.{}", guess % 1_000 / 250, guess % 250);
        let entry = Entry { email: ENGINEER, password: "a guess", code: "000000", from: &from };
        let answer = room.accounts.sign_in(&entry, "").await.unwrap();
        judged += i32::from(answer.unwrap_err() == Refused::Wrong);
        if guess % 2_000 == 1_000 {
            let code = totp::code_at(&seed, room.accounts.now()).unwrap();
            let entry = Entry { email: ENGINEER, password: PASSWORD, code: &code, from: "10.9.9.9" };
            owner += i32::from(room.accounts.sign_in(&entry, "").await.unwrap().is_ok());
        }
        room.clock.forward(360_000);
    }
    println!(
        "P-61: {judged} of 10,000 guesses were judged within an hour; the owner came in {owner} of 5 times"
    );
    assert!((1..=100).contains(&judged), "{judged}");
    assert_eq!(owner, 5);
}

/// Whoever has the password has a code to guess: each is counted before it is looked at, so that a right one among
/// many does not come through.
#[tokio::test]
async fn codes_are_counted_before_they_are_looked_at() {
    let room = Room::of(false).await;
    let seed = room.enrol_with_factor(ENGINEER).await;
    room.clock.forward(60 * SECOND);
    let entry = |code, from| Entry { email: ENGINEER, password: PASSWORD, code, from };
    for _ in 0..3 {
        assert!(room.accounts.sign_in(&entry("000000", "10.0.0.1"), "").await.unwrap().is_err());
        room.clock.forward(SECOND / 10);
    }
    let code = totp::code_at(&seed, room.accounts.now()).unwrap();
    let among = room.accounts.sign_in(&entry(&code, "10.0.0.1"), "").await.unwrap();
    assert!(matches!(among, Err(Refused::Wait(_))), "{among:?}");
    room.clock.forward(60 * SECOND);
    let code = totp::code_at(&seed, room.accounts.now()).unwrap();
    assert!(room.accounts.sign_in(&entry(&code, "10.0.0.2"), "").await.unwrap().is_ok());
}

/// At the same moment too: the guess is counted before it is judged.
#[tokio::test]
async fn of_many_guesses_at_once_one_is_judged() {
    let room = Room::of(false).await;
    room.enrol(MECHANIC).await;
    let mut tasks = tokio::task::JoinSet::new();
    for guess in 0..40 {
        let accounts = room.accounts.clone();
        tasks.spawn(async move {
            let from = format!("10.0.0.{guess}");
            let entry = Entry { email: MECHANIC, password: "a guess", code: "", from: &from };
            accounts.sign_in(&entry, "").await.unwrap().unwrap_err()
        });
    }
    let said = tasks.join_all().await;
    assert_eq!(said.iter().filter(|said| **said == Refused::Wrong).count(), 1);
}

#[tokio::test]
async fn the_form_says_how_long_to_wait_and_tells_nothing_apart() {
    let room = Room::of(false).await;
    room.enrol(MECHANIC).await;
    let mut said = Vec::new();
    for (email, address) in
        [(MECHANIC, "10.0.0.1"), ("nobody@bay.example", "10.0.0.2"), ("engineer@service.example", "10.0.0.3")]
    {
        let mut browser = Browser { address: Some(address.to_owned()), ..Browser::default() };
        let first = browser.sign_in(&room, email, "a guess", "").await;
        let second = browser.sign_in(&room, email, "a guess", "").await;
        assert_eq!((first.status, second.status), (StatusCode::UNAUTHORIZED, StatusCode::TOO_MANY_REQUESTS));
        assert_eq!(second.headers["retry-after"], "1");
        let of =
            |text: &str| text.split("id=\"wrong\">").nth(1).unwrap().split('<').next().unwrap().to_owned();
        said.push((of(&first.text), of(&second.text)));
    }
    assert!(said.iter().all(|one| *one == said[0]), "{said:?}");
    // One address is made to wait, whichever account it guesses at; another is not.
    let entry = |email, from| Entry { email, password: PASSWORD, code: "", from };
    let at_once = room.accounts.sign_in(&entry("head@service.example", "10.0.0.1"), "").await.unwrap();
    assert!(matches!(at_once, Err(Refused::Wait(_))));
    room.clock.forward(2 * SECOND);
    assert!(room.accounts.sign_in(&entry(MECHANIC, "10.0.0.9"), "").await.unwrap().is_ok());
}
