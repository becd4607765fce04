//! Links in notices.

use axum::http::{Method, StatusCode};
use daemon::accounts::links;
use daemon::notices::templates::Templates;
use daemon::sweep::{Mail, sweep};

use crate::room::{Browser, Room, SECOND, form};

const DAY: i64 = 24 * 60 * 60 * SECOND;

/// Sweeps once; the addresses of the links in the notices that it wrote.
async fn told(room: &Room) -> Vec<String> {
    let mail = Mail {
        from: "tallow@service.example".to_owned(),
        reply_to: None,
        pages_url: Some("https://tallow.service.example".to_owned()),
        templates: Templates::embedded().unwrap(),
    };
    sweep(&room.desk, &mail).await.unwrap();
    let secret = links::secret(&room.desk).await.unwrap();
    let notices = room.desk.store.notices(None, 100).await.unwrap();
    notices.iter().map(|notice| format!("/n/{}", links::token_of(&secret, &notice.number).unwrap())).collect()
}

/// Torture row 50: a program that looks at every link of a notice changes nothing and uses nothing up.
#[tokio::test]
async fn torture_50_looking_at_every_link_changes_nothing() {
    let room = Room::of(false).await;
    let links = told(&room).await;
    assert!(!links.is_empty());
    let head = room.head().await;
    for _ in 0..100 {
        for method in [Method::GET, Method::HEAD] {
            let request = Browser::default().request(method, &links[0], String::new());
            assert_eq!(room.ask(request).await.status, StatusCode::OK);
        }
    }
    assert_eq!(room.head().await, head);
    for link in links {
        assert_eq!(Browser::default().get(&room, &link).await.status, StatusCode::OK, "{link}");
    }
}

/// Torture row 51: whoever it was forwarded to reads what the notice told, and can do nothing with it.
#[tokio::test]
async fn torture_51_a_stranger_with_a_link_reads_one_notice_and_records_nothing() {
    let room = Room::of(false).await;
    let links = told(&room).await;
    let mut pages = Vec::new();
    for link in &links {
        pages.push(Browser::default().get(&room, link).await);
    }
    let page = pages.iter().find(|page| page.text.contains("Thorough examination of the fall")).unwrap();
    assert!(
        page.text.contains("This page only reads.") && !page.text.contains("method=\"post\""),
        "{}",
        page.text
    );
    assert!(!page.headers.contains_key("set-cookie"), "a link is no sign-in");
    let head = room.head().await;
    for (method, right) in [(Method::POST, 405), (Method::PUT, 405), (Method::DELETE, 405)] {
        let request = Browser::default().request(method, &links[0], form(&[("what", "launch")]));
        assert_eq!(room.ask(request).await.status.as_u16(), right);
    }
    let token = links[0].trim_start_matches("/n/");
    let mut stranger =
        Browser { cookies: vec![("tallow".to_owned(), token.to_owned())], ..Browser::default() };
    assert_eq!(stranger.get(&room, "/item/F-1").await.status, StatusCode::UNAUTHORIZED);
    let sent = [("token", token), ("key", "0123456789abcdef"), ("what", "launch")];
    assert_eq!(stranger.post(&room, "/station/bay/log", &sent).await.status, StatusCode::UNAUTHORIZED);
    assert_eq!(room.head().await, head);
    assert_eq!(
        stranger.get(&room, "/n/00000000000000000000000000000000").await.status,
        StatusCode::NOT_FOUND
    );
}

#[tokio::test]
async fn a_link_follows_from_its_number_and_lapses() {
    let room = Room::of(false).await;
    let links = told(&room).await;
    let preview = told(&room).await;
    assert_eq!(links, preview, "composed again it is the same");
    let token = links[0].trim_start_matches("/n/");
    assert_eq!(token.len(), 32);
    let now = room.desk.now();
    for (days, found) in [(0, true), (34, true), (35, false)] {
        let then = policies::zone::Instant(now.0 + days * DAY);
        assert_eq!(room.accounts.notice_of(token, then).await.unwrap().is_some(), found, "{days} days on");
    }
}
