//! A form is taken from its own page and from nowhere else (P-63), and every answer bears its headers (P-64).

use axum::body::Body;
use axum::http::{Method, Request, StatusCode, header};
use daemon::web::routes::{Need, Row};

use crate::room::{Browser, ENGINEER, HOST, Room, form, pages};

/// Addresses of the table with something in place of what varies.
pub fn filled(path: &str) -> String {
    path.replace("{slug}", "bay")
        .replace("{*tag}", "F-1")
        .replace("{*number}", "TR-1")
        .replace("{*what}", "F-1/fall-renewal")
        .replace("{*key}", "K-1")
        .replace("{file}", "rules.toml")
        .replace("{id}", "fall-renewal")
        .replace("{digest}", "00")
        .replace("{number}", "1")
        .replace("{token}", "00")
}

/// Fields with which any form would go through, but for its word.
fn body(word: Option<&str>) -> String {
    let fields = [
        ("what", "launch"),
        ("key", "0123456789abcdef"),
        ("label", "x"),
        ("session", ""),
        ("email", ENGINEER),
    ];
    let word = word.map(|word| ("token", word));
    form(&fields.into_iter().chain(word).collect::<Vec<_>>())
}

#[tokio::test]
async fn every_form_is_refused_without_its_word_or_from_elsewhere() {
    let room = Room::of(false).await;
    // With a second factor and just come in: what is signed is refused for its word too, and for nothing else.
    let mut browser = room.signed_in_with_factor(ENGINEER).await;
    let word = browser.get(&room, "/account").await.word();
    let sessions = room.accounts.sessions(ENGINEER).await.unwrap().len();
    let (head, mut tried) = (room.head().await, 0);
    for row in pages().iter().filter(|row| row.method != Method::GET) {
        let path = filled(row.path);
        let sent = |word: Option<&str>| browser.request(row.method.clone(), &path, body(word));
        let with = |name: &'static str, value: Option<&str>| {
            let mut request = sent(Some(&word));
            request.headers_mut().remove("sec-fetch-site");
            if let Some(value) = value {
                request.headers_mut().insert(name, value.parse().unwrap());
            }
            request
        };
        let refused = [
            sent(None),
            sent(Some("")),
            sent(Some(&word.replace(|c: char| c.is_ascii_digit(), "x"))),
            with("sec-fetch-site", Some("cross-site")),
            with("sec-fetch-site", Some("same-site")),
            with("origin", Some("https://evil.example")),
            with("origin", Some("null")),
            with("origin", None),
        ];
        for request in refused {
            let said = format!("{path} {:?}", request.headers());
            let answer = room.ask(request).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{said}");
            let why = ["of an earlier sign-in", "not sent from a page of this service"];
            assert!(why.iter().any(|why| answer.text.contains(why)), "{said}: {}", answer.text);
            tried += 1;
        }
        for method in [Method::GET, Method::HEAD, Method::PUT, Method::DELETE] {
            let request = browser.request(method.clone(), &path, body(Some(&word)));
            let status = room.ask(request).await.status;
            // An address that is read as well shows its form; one that is not does not answer.
            let reads = pages().iter().any(|other| other.path == row.path && other.method == Method::GET);
            let fits = [Method::GET, Method::HEAD].contains(&method) && reads;
            // A page about a record that is not there says so.
            let right: &[StatusCode] = if fits {
                &[StatusCode::OK, StatusCode::NOT_FOUND]
            } else {
                &[StatusCode::METHOD_NOT_ALLOWED]
            };
            assert!(right.contains(&status), "{method} {path}: {status}");
            tried += 1;
        }
    }
    assert!(tried >= 12 * 10, "{tried}");
    assert_eq!(room.head().await, head, "nothing was recorded");
    assert_eq!(room.accounts.sessions(ENGINEER).await.unwrap().len(), sessions, "nobody was signed out");
}

/// What signs is refused for its word alone: with it the same form goes on to what it is about.
#[tokio::test]
async fn what_signs_is_taken_with_its_word() {
    let room = Room::of(false).await;
    let mut browser = room.signed_in_with_factor(ENGINEER).await;
    let word = browser.get(&room, "/account").await.word();
    let signs =
        |row: &&Row| matches!(row.need, Need::Does(act) if act.is_signed()) && row.method == Method::POST;
    let mut tried = 0;
    for row in pages().iter().filter(signs) {
        let path = filled(row.path);
        let answer = room.ask(browser.request(Method::POST, &path, body(Some(&word)))).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{path}: no such record is there");
        tried += 1;
    }
    assert!(tried >= 3, "{tried}");
}

#[tokio::test]
async fn a_form_of_its_own_page_is_taken_by_origin_too() {
    let room = Room::of(false).await;
    let mut browser = room.signed_in(ENGINEER).await;
    let word = browser.get(&room, "/account").await.word();
    let mut request = browser.request(Method::POST, "/sign-out", form(&[("token", &word)]));
    request.headers_mut().remove("sec-fetch-site");
    request.headers_mut().insert("origin", format!("http://{HOST}").parse().unwrap());
    assert_eq!(room.ask(request).await.location(), "/sign-in");
    assert_eq!(browser.get(&room, "/account").await.status, StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn what_is_no_form_or_too_large_is_refused_in_words() {
    let room = Room::of(false).await;
    let mut browser = room.signed_in(ENGINEER).await;
    let word = browser.get(&room, "/account").await.word();
    let large = form(&[("token", &word), ("note", &"x".repeat(65 * 1024))]);
    let answer = room.ask(browser.request(Method::POST, "/station/bay/log", large)).await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert!(answer.text.contains("A form takes 64 KiB"), "{}", answer.text);
    let mut json = browser.request(Method::POST, "/station/bay/log", "{}".to_owned());
    json.headers_mut().insert(header::CONTENT_TYPE, "application/json".parse().unwrap());
    assert_eq!(room.ask(json).await.status, StatusCode::UNSUPPORTED_MEDIA_TYPE);
}

/// P-64, over every row of the table, with and without a sign-in, and over what has no row.
#[tokio::test]
async fn every_answer_bears_its_headers() {
    let room = Room::of(false).await;
    let browser = room.signed_in(ENGINEER).await;
    let mut seen = std::collections::BTreeSet::new();
    let paths = pages().into_iter().map(|row| filled(row.path));
    for path in paths.chain(["/nowhere".to_owned(), "/%ff".to_owned(), "/?as_of=x".to_owned()]) {
        for method in [Method::GET, Method::POST, Method::DELETE] {
            for visitor in [&browser, &Browser::default()] {
                let answer = room.ask(visitor.request(method.clone(), &path, String::new())).await;
                seen.insert(answer.status.as_u16());
                let policy = answer.headers["content-security-policy"].to_str().unwrap();
                for part in [
                    "default-src 'none'",
                    "script-src 'self'",
                    "object-src 'none'",
                    "base-uri 'none'",
                    "frame-ancestors 'none'",
                ] {
                    assert!(policy.contains(part) && !policy.contains("unsafe"), "{path}: {policy}");
                }
                assert_eq!(answer.headers["x-content-type-options"], "nosniff", "{path}");
                assert_eq!(answer.headers["referrer-policy"], "no-referrer", "{path}");
                assert_eq!(answer.headers["cache-control"], "no-store", "{path}");
                assert_eq!(answer.headers["strict-transport-security"], "max-age=31536000", "{path}");
            }
        }
    }
    for status in [200, 400, 401, 403, 404, 405] {
        assert!(seen.contains(&status), "{status} was never answered: {seen:?}");
    }
}

/// Nothing but what says so itself is open to strangers, and what changes records never is.
#[tokio::test]
async fn strangers_read_nothing_and_record_nothing() {
    let room = Room::of(false).await;
    for row in pages() {
        let request = Request::builder().method(row.method.clone()).uri(filled(row.path));
        let status = room.ask(request.body(Body::empty()).unwrap()).await.status;
        if row.need == Need::Nothing {
            assert_ne!(status, StatusCode::UNAUTHORIZED, "{}", row.path);
        } else {
            assert_eq!(status, StatusCode::UNAUTHORIZED, "{} {}", row.method, row.path);
        }
    }
    let open: Vec<&str> =
        pages().iter().filter(|row| row.need == Need::Nothing).map(|row| row.path).collect();
    let right = [
        "/health/live",
        "/health/ready",
        "/metrics",
        "/calendar/{file}",
        "/n/{token}",
        "/sign-in",
        "/sign-in",
        "/sign-in/demo",
        "/sign-out",
        "/welcome",
        "/welcome",
        "/pages.css",
        "/app.js",
        "/queue.js",
        "/sw.js",
        "/manifest.webmanifest",
        "/icon.svg",
    ];
    assert_eq!(open, right);
}
