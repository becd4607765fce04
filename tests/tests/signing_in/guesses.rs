//! Guessing at a password.

use axum::http::StatusCode;
use daemon::accounts::{Entry, Refused, totp};

use crate::room::{Browser, ENGINEER, MECHANIC, PASSWORD, Room, SECOND};

/// So many guesses within an hour, from 1,000 addresses, at one account; `owner` comes by now and then. How many were
/// judged, and how often the owner came in.
async fn flooded(room: &Room, (email, code): (&str, &str), owner: impl AsyncFn() -> bool) -> (i32, i32) {
    let (mut judged, mut came) = (0, 0);
    for guess in 0..10_000_i64 {
        let from = format!("10.0.{}.{}", guess % 1_000 / 250, guess % 250);
        let entry = Entry { email, password: "a guess", code, from: &from };
        let answer = room.accounts.sign_in(&entry, "").await.unwrap();
        judged += i32::from(answer.unwrap_err() == Refused::Wrong);
        if guess % 2_000 == 1_000 {
            came += i32::from(owner().await);
        }
        room.clock.forward(360_000);
    }
    (judged, came)
}

/// Torture row 53, and P-61: 10,000 guesses in an hour, from 1,000 addresses, at one account. The owner's own browser
/// knows them, since they came in there before.
#[tokio::test]
async fn torture_53_ten_thousand_guesses_are_throttled_and_the_owner_comes_in() {
    let room = Room::of(false).await;
    let seed = room.enrol_with_factor(ENGINEER).await;
    let known = room.accounts.know_browser(ENGINEER, "").await.unwrap();
    let (judged, owner) = flooded(&room, (ENGINEER, "000000"), async || {
        let code = totp::code_at(&seed, room.accounts.now()).unwrap();
        let entry = Entry { email: ENGINEER, password: PASSWORD, code: &code, from: "10.9.9.9" };
        room.accounts.sign_in_known(&entry, "", &known).await.unwrap().is_ok()
    })
    .await;
    println!(
        "P-61: {judged} of 10,000 guesses were judged within an hour; the owner came in {owner} of 5 times"
    );
    assert!((1..=100).contains(&judged), "{judged}");
    assert_eq!(owner, 5);
}

/// The same by strangers who give no codes: the owner comes in by the code from any browser.
#[tokio::test]
async fn torture_53_by_the_code_the_owner_comes_in_from_a_browser_that_is_not_known() {
    let room = Room::of(false).await;
    let seed = room.enrol_with_factor(ENGINEER).await;
    let (judged, owner) = flooded(&room, (ENGINEER, ""), async || {
        let code = totp::code_at(&seed, room.accounts.now()).unwrap();
        let entry = Entry { email: ENGINEER, password: PASSWORD, code: &code, from: "10.9.9.9" };
        room.accounts.sign_in(&entry, "").await.unwrap().is_ok()
    })
    .await;
    assert!((1..=100).contains(&judged), "{judged}");
    assert_eq!(owner, 5);
}

/// Nor is somebody without a second factor kept out by strangers, in a browser that they came in by before.
#[tokio::test]
async fn torture_53_without_a_second_factor_a_known_browser_comes_in() {
    let room = Room::of(false).await;
    room.enrol(MECHANIC).await;
    let known = room.accounts.know_browser(MECHANIC, "").await.unwrap();
    let entry = Entry { email: MECHANIC, password: PASSWORD, code: "", from: "10.0.0.1" };
    let (judged, owner) = flooded(&room, (MECHANIC, ""), async || {
        room.accounts.sign_in_known(&entry, "", &known).await.unwrap().is_ok()
    })
    .await;
    assert!((1..=100).contains(&judged), "{judged}");
    assert_eq!(owner, 5);
}

/// A known browser is no open door: guesses from there wait as any, and its word is good for its own account alone.
#[tokio::test]
async fn a_known_browser_waits_for_its_own_guesses_and_for_no_other_account() {
    let room = Room::of(false).await;
    room.enrol(MECHANIC).await;
    room.enrol("head@service.example").await;
    let known = room.accounts.know_browser(MECHANIC, "").await.unwrap();
    let ask = async |email: &'static str, known: &str| {
        let guess = Entry { email, password: "a guess", code: "", from: "10.0.0.1" };
        room.accounts.sign_in_known(&guess, "", known).await.unwrap().unwrap_err()
    };
    assert_eq!(ask(MECHANIC, &known).await, Refused::Wrong);
    assert!(matches!(ask(MECHANIC, &known).await, Refused::Wait(_)));
    assert_eq!(ask("head@service.example", &known).await, Refused::Wrong, "counted as a stranger's");
    assert!(matches!(ask("head@service.example", &known).await, Refused::Wait(_)));
    // Of the right day, sealed by somebody else.
    let (stem, seal) = known.rsplit_once('-').unwrap();
    let forged = format!("{stem}-{}", seal.chars().rev().collect::<String>());
    room.clock.forward(60 * SECOND);
    assert_eq!(ask(MECHANIC, &forged).await, Refused::Wrong);
    assert_eq!(
        ask(MECHANIC, &known).await,
        Refused::Wrong,
        "the forged word is a stranger's, in a lane apart"
    );
    // Of several who use one telephone each is known, and a year later nobody.
    let both = room.accounts.know_browser("head@service.example", &known).await.unwrap();
    room.clock.forward(60 * SECOND);
    for email in [MECHANIC, "head@service.example"] {
        let entry = Entry { email, password: PASSWORD, code: "", from: "" };
        for _ in 0..3 {
            assert!(room.accounts.sign_in_known(&entry, "", &both).await.unwrap().is_ok(), "{email}");
        }
    }
    room.clock.forward(366 * 24 * 60 * 60 * SECOND);
    assert_eq!(ask(MECHANIC, &both).await, Refused::Wrong);
    assert!(matches!(ask(MECHANIC, "").await, Refused::Wait(_)), "both are strangers' now");
}

/// The browser keeps its word by itself, through signing out and in again.
#[tokio::test]
async fn a_browser_is_known_after_somebody_came_in() {
    let room = Room::of(false).await;
    let mut browser = room.signed_in(MECHANIC).await;
    let known = browser.cookie("tallow-known").unwrap().to_owned();
    let word = browser.get(&room, "/account").await.word();
    browser.post(&room, "/sign-out", &[("token", &word)]).await;
    assert_eq!(browser.cookie("tallow-known"), Some(known.as_str()));
    let mut stranger = Browser::default();
    assert_eq!(stranger.sign_in(&room, MECHANIC, "a guess", "").await.status, StatusCode::UNAUTHORIZED);
    let shut = Browser::default().sign_in(&room, MECHANIC, PASSWORD, "").await;
    assert_eq!(shut.status, StatusCode::TOO_MANY_REQUESTS);
    assert_eq!(browser.sign_in(&room, MECHANIC, PASSWORD, "").await.status, StatusCode::SEE_OTHER);
}

/// Whoever has the password and many addresses has 240 codes an hour to try, however many addresses those are.
#[tokio::test]
async fn codes_from_many_addresses_are_counted_together() {
    let room = Room::of(false).await;
    let seed = room.enrol_with_factor(ENGINEER).await;
    let known = room.accounts.know_browser(ENGINEER, "").await.unwrap();
    for guess in 0..240 {
        let from = format!("10.0.{}.{}", guess / 250, guess % 250);
        let entry = Entry { email: ENGINEER, password: PASSWORD, code: "000000", from: &from };
        assert!(room.accounts.sign_in(&entry, "").await.unwrap().is_err());
    }
    let code = totp::code_at(&seed, room.accounts.now()).unwrap();
    let entry = Entry { email: ENGINEER, password: PASSWORD, code: &code, from: "10.9.9.9" };
    assert!(
        room.accounts.sign_in(&entry, "").await.unwrap().is_err(),
        "the right one among many is not looked at"
    );
    assert!(room.accounts.sign_in_known(&entry, "", &known).await.unwrap().is_ok());
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
