//! What somebody who knew a password could have made with it ends with the password.

use axum::http::StatusCode;

use crate::room::{Browser, ENGINEER, PASSWORD, Room, SECOND};

const NEW: &str = "seven calm mornings";
const DAY: i64 = 24 * 60 * 60 * SECOND;

async fn change(room: &Room, browser: &mut Browser, keeps: &str) -> crate::room::Answer {
    let word = browser.get(room, "/account").await.word();
    let fields =
        [("token", &*word), ("old", PASSWORD), ("password", NEW), ("repeated", NEW), ("keeps", keeps)];
    browser.post(room, "/account/password", &fields).await
}

async fn is_worth(room: &Room, token: &str) -> bool {
    matches!(room.accounts.by_token(token).await.unwrap(), daemon::accounts::Worth::In(_))
}

#[tokio::test]
async fn a_changed_password_ends_tokens_and_calendars_and_says_so() {
    let room = Room::of(false).await;
    let mut browser = room.signed_in(ENGINEER).await;
    let token = room.accounts.make_token(ENGINEER, "reports", None).await.unwrap();
    let calendar = room.accounts.make_calendar(ENGINEER, Some("bay")).await.unwrap();
    assert!(browser.get(&room, "/account").await.text.contains("your tokens and calendars end too"));
    let said = change(&room, &mut browser, "").await;
    assert_eq!(said.status, StatusCode::OK, "{}", said.text);
    assert!(said.text.contains("2 tokens and calendars ended with it"), "{}", said.text);
    assert!(!is_worth(&room, &token).await);
    assert_eq!(room.accounts.subscribed(&calendar).await.unwrap(), None);
}

#[tokio::test]
async fn they_go_on_where_that_is_ticked() {
    let room = Room::of(false).await;
    let mut browser = room.signed_in(ENGINEER).await;
    let token = room.accounts.make_token(ENGINEER, "reports", None).await.unwrap();
    assert_eq!(change(&room, &mut browser, "yes").await.location(), "/account");
    assert!(is_worth(&room, &token).await);
}

#[tokio::test]
async fn a_password_set_by_a_code_ends_them_too() {
    let room = Room::of(false).await;
    room.enrol(ENGINEER).await;
    let token = room.accounts.make_token(ENGINEER, "reports", None).await.unwrap();
    let calendar = room.accounts.make_calendar(ENGINEER, None).await.unwrap();
    let code = room.accounts.invite(ENGINEER).await.unwrap();
    assert!(is_worth(&room, &token).await, "an invitation alone ends nothing");
    let page = Browser::default().get(&room, "/welcome").await.text;
    assert!(page.contains("its calendars end with it"), "{page}");
    room.accounts.welcome(&code, NEW).await.unwrap();
    assert!(!is_worth(&room, &token).await);
    assert_eq!(room.accounts.subscribed(&calendar).await.unwrap(), None);
}

#[tokio::test]
async fn a_token_ends_after_a_year_where_no_days_are_given() {
    let room = Room::of(false).await;
    room.enrol(ENGINEER).await;
    let token = room.accounts.make_token(ENGINEER, "reports", None).await.unwrap();
    room.clock.forward(365 * DAY - SECOND);
    assert!(is_worth(&room, &token).await);
    room.clock.forward(SECOND);
    assert!(!is_worth(&room, &token).await);
}
