//! What hands do to gear, and the papers that come with it.

use super::*;
use crate::records::{Certificate, Fitting};

async fn fitted(beach: &Beach, item: &str) -> Option<Fitting> {
    let all = beach.desk.store.newest::<Fitting>().await.unwrap().into_values();
    all.filter(|row| row.item == item && !row.void && row.removed_at.is_none()).max_by_key(|row| row.at)
}

#[tokio::test]
async fn gear_is_removed_and_fitted_and_swapped_once() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let item = mechanic.get("/item/F-0417").await.text;
    for way in ["/fit/F-0417", "/remove/F-0417", "/state/F-0417", "/certificate/F-0417"] {
        assert!(item.contains(&format!("href=\"{way}\"")), "{way}");
        assert_eq!(mechanic.get(way).await.status, StatusCode::OK, "{way}");
    }
    assert!(!item.contains("href=\"/release/F-0417\"") && !item.contains("/concession/F-0417"));
    let stay = fitted(&beach, "F-0417").await.unwrap();
    let full = [("host", stay.host.as_str()), ("position", stay.position.as_str())];
    let there = mechanic.fill("/fit/F-0417", &key(1), &full).await;
    assert_eq!(there.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(there.text.contains("remove it there first"), "{}", said(&there));
    assert!(!wrong_at(&mechanic.fill("/fit/F-0417", &key(1), &[("position", "x")]).await, "host").is_empty());
    let ahead = mechanic.fill("/remove/F-0417", &key(1), &[("at", "2026-12-24T08:00")]).await;
    assert!(ahead.text.contains("more than five minutes ahead"), "{}", said(&ahead));

    let head = beach.head().await;
    assert_eq!(mechanic.ten("/remove/F-0417", &key(2), &[]).await, "/item/F-0417");
    assert!(fitted(&beach, "F-0417").await.is_none());
    assert!(mechanic.get("/station/qua").await.text.contains("empty"), "a required position is empty");
    assert_eq!(mechanic.ten("/fit/F-0417", &key(3), &full).await, "/item/F-0417");
    assert_eq!(fitted(&beach, "F-0417").await.unwrap().host, stay.host);
    assert_eq!(beach.head().await, head + 2);
    assert_eq!(beach.desk.store.check().await.unwrap(), Vec::<String>::new());
}

/// The page that a form leads to says what it did, to who is signed in; made-up words lead to nothing said.
#[tokio::test]
async fn what_a_form_did_is_said_on_the_page_it_leads_to() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let to = led(&mechanic.fill("/remove/F-0417", &key(1), &[]).await);
    assert_eq!(to, format!("/item/F-0417?done={}", key(1)));
    let done = "</span> Removed F-0417 from LC-2/07, ";
    let page = mechanic.get(&to).await;
    assert!(page.text.contains(done), "{}", page.text);
    assert!(!mechanic.get("/item/F-0417").await.text.contains(done));
    let mut stranger = Hand { router: beach.router.clone(), cookie: String::new(), word: String::new() };
    assert!(!stranger.get(&to).await.text.contains("Removed"));
    for made_up in ["x", "..", "%01", "0123456789abcdef", ""] {
        let page = mechanic.get(&format!("/item/F-0417?done={made_up}")).await;
        assert!(page.status == StatusCode::OK && !page.text.contains("class=\"done\""), "{made_up}");
    }
}

/// A page is kept for a moment, for its own reader alone.
#[tokio::test]
async fn nobody_is_handed_another_readers_page() {
    let beach = Beach::new().await;
    let (mut mechanic, mut clerk) = (beach.person(MECHANIC).await, beach.person(CLERK).await);
    let own = mechanic.get("/station/qua").await.text;
    assert!(own.contains("action=\"/station/qua/log\"") && own.contains(MECHANIC));
    for _ in 0..2 {
        let others = clerk.get("/station/qua").await.text;
        assert!(!others.contains("/station/qua/log") && !others.contains(MECHANIC), "{others}");
        let mut stranger = Hand { router: beach.router.clone(), cookie: String::new(), word: String::new() };
        assert!(!stranger.get("/station/qua").await.text.contains(MECHANIC));
        assert!(mechanic.get("/station/qua").await.text.contains("/station/qua/log"));
    }
}

#[tokio::test]
async fn gear_is_set_aside_with_a_reason() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let unsaid = mechanic.fill("/state/F-0417", &key(1), &[("reason", "x")]).await;
    assert!(wrong_at(&unsaid, "state").contains("which of these"));
    let why = mechanic.fill("/state/F-0417", &key(1), &[("state", "quarantined")]).await;
    assert!(wrong_at(&why, "reason").contains("says nothing"), "{}", said(&why));
    let head = beach.head().await;
    let sent = [("state", "quarantined"), ("reason", "chafed")];
    assert_eq!(mechanic.ten("/state/F-0417", &key(1), &sent).await, "/item/F-0417");
    assert_eq!(beach.head().await, head + 1);
    assert!(mechanic.get("/item/F-0417").await.text.contains("Not to be used"));
    let mut engineer = beach.person(ENGINEER).await;
    assert!(engineer.get("/item/F-0417").await.text.contains("href=\"/release/F-0417\""));
}

/// A form with a file, as a browser sends it.
fn parts(fields: &[(&str, &str)], file: Option<(&str, &[u8])>) -> Vec<u8> {
    let mut body = Vec::new();
    for (name, text) in fields {
        body.extend(
            format!("--cut\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n")
                .into_bytes(),
        );
    }
    let (name, bytes) = file.unwrap_or(("", b""));
    let disposition = format!("form-data; name=\"file\"; filename=\"{name}\"");
    body.extend(
        format!(
            "--cut\r\nContent-Disposition: {disposition}\r\nContent-Type: application/octet-stream\r\n\r\n"
        )
        .into_bytes(),
    );
    body.extend(bytes);
    body.extend(b"\r\n--cut--\r\n");
    body
}

#[tokio::test]
async fn a_certificate_comes_in_with_its_paper() {
    let beach = Beach::new().await;
    let mut clerk = beach.person(CLERK).await;
    let path = "/certificate/F-0417";
    // The clerk belongs to the stores: gear of a station is its own mechanic's, or the engineer's.
    assert_eq!(clerk.get(path).await.status, StatusCode::FORBIDDEN);
    let mut hand = beach.person(ENGINEER).await;
    let kind = "multipart/form-data; boundary=cut";
    let word = hand.word.clone();
    let fields = |number: &'static str, issued: &'static str| {
        vec![
            ("token".to_owned(), word.clone()),
            ("key".to_owned(), key(1)),
            ("number".to_owned(), number.to_owned()),
            ("issuer".to_owned(), "Independent Gear Surveys".to_owned()),
            ("issued_on".to_owned(), issued.to_owned()),
        ]
    };
    let sent = |number: &'static str, issued: &'static str, file: Option<(&str, &[u8])>| {
        let fields = fields(number, issued);
        parts(&fields.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect::<Vec<_>>(), file)
    };
    let pdf: &[u8] = b"%PDF-1.4\n1 0 obj<<>>endobj\ntrailer<<>>\n%%EOF\n";
    let slip = hand.ask(Method::POST, path, kind, sent("TR-9001", "yesterday", None)).await;
    assert!(!wrong_at(&slip, "issued_on").is_empty());
    assert!(slip.text.contains("value=\"TR-9001\""));
    let script =
        hand.ask(Method::POST, path, kind, sent("TR-9001", "2026-10-01", Some(("a.pdf", b"MZ")))).await;
    assert_eq!(script.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", said(&script));
    let large = vec![0; 20 * 1024 * 1024 + 128 * 1024];
    let large =
        hand.ask(Method::POST, path, kind, sent("TR-9001", "2026-10-01", Some(("a.pdf", &large)))).await;
    assert_eq!(large.status, StatusCode::PAYLOAD_TOO_LARGE);
    for _ in 0..10 {
        let taken = hand
            .ask(Method::POST, path, kind, sent("TR-9001", "2026-10-01", Some(("C:\\x\\a.pdf", pdf))))
            .await;
        assert_eq!(led(&taken), "/item/F-0417");
    }
    let held = beach.desk.store.newest::<Certificate>().await.unwrap();
    let own: Vec<_> = held.values().filter(|row| row.number == "TR-9001").collect();
    assert_eq!(own.len(), 1);
    let item = hand.get("/item/F-0417").await.text;
    let file = links(&item).into_iter().find(|href| href.starts_with("/file/")).unwrap();
    let paper = hand.get(&file).await;
    assert_eq!((paper.status, paper.text.as_bytes()), (StatusCode::OK, pdf));
}
