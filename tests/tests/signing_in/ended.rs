//! Signing takes a proof of within five minutes, at every address that signs.

use axum::http::StatusCode;
use daemon::accounts::totp;

use crate::room::{Browser, ENGINEER, PASSWORD, Room, SECOND};

const MINUTE: i64 = 60 * SECOND;

/// An engineer with a second factor, who came in so many minutes ago.
async fn since(room: &Room, minutes: i64) -> (Browser, String) {
    let seed = room.enrol_with_factor(ENGINEER).await;
    let code = totp::code_at(&seed, room.accounts.now()).unwrap();
    let mut browser = Browser::default();
    assert_eq!(browser.sign_in(room, ENGINEER, PASSWORD, &code).await.location(), "/");
    room.clock.forward(minutes * MINUTE);
    (browser, seed)
}

/// The concession of a rule that stops a launch: its first word is signed.
async fn waive(room: &Room, browser: &mut Browser) -> crate::room::Answer {
    let path = "/concession/F-1/fall-renewal";
    let page = browser.get(room, path).await;
    let (word, key) = (page.word(), page.value("key").unwrap());
    let sent = [("token", &*word), ("key", &*key), ("until", "2026-10-31"), ("conditions", "slack water")];
    browser.post(room, path, &sent).await
}

#[tokio::test]
async fn a_sign_in_of_five_minutes_ago_signs_no_more() {
    let room = Room::of(false).await;
    let (mut browser, seed) = since(&room, 4).await;
    assert!(waive(&room, &mut browser).await.location().starts_with("/second/"));
    room.clock.forward(MINUTE);
    let head = room.head().await;
    let stale = waive(&room, &mut browser).await;
    assert_eq!(stale.status, StatusCode::FORBIDDEN);
    assert!(stale.text.contains("<h1>Who signs?</h1>"), "{}", stale.text);
    // What is not signed goes on without.
    assert_eq!(browser.get(&room, "/account").await.status, StatusCode::OK);
    let word = browser.get(&room, "/account").await.word();
    for (path, draft) in [("/account/tokens", "/account"), ("/account/factor", "/account")] {
        let asked = browser.post(&room, path, &[("token", &*word), ("label", "x")]).await;
        assert_eq!(asked.location(), format!("/again?next={draft}"), "{path}");
    }
    assert!(room.accounts.tokens(ENGINEER).await.unwrap().is_empty());
    // A wrong code proves nothing, the right one five minutes more.
    let prove = async |browser: &mut Browser, code: &str| {
        let sent = [("token", &*word), ("next", "/"), ("password", PASSWORD), ("code", code)];
        browser.post(&room, "/again", &sent).await.status
    };
    assert_eq!(prove(&mut browser, "000000").await, StatusCode::FORBIDDEN);
    assert_eq!(waive(&room, &mut browser).await.status, StatusCode::FORBIDDEN);
    room.clock.forward(MINUTE);
    let code = totp::code_at(&seed, room.accounts.now()).unwrap();
    assert_eq!(prove(&mut browser, &code).await, StatusCode::SEE_OTHER);
    assert!(waive(&room, &mut browser).await.location().starts_with("/second/"));
    assert_eq!(room.head().await, head, "a first word alone is no record");
}
