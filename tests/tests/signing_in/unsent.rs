//! What was filled in outlives a sign-in that ended meanwhile, and leads nowhere else.

use axum::http::{Method, StatusCode, header};

use crate::room::{Answer, Browser, ENGINEER, MECHANIC, PASSWORD, Room, SECOND, form};

const MINUTE: i64 = 60 * SECOND;
const LOG: &str = "/station/bay/log";

/// Hidden fields of the first form of a page that goes there.
fn fields(page: &Answer, action: &str) -> Vec<(String, String)> {
    let form = page.text.split(&format!("action=\"{action}\"")).nth(1).expect(&page.text);
    let form = form.split("</form>").next().unwrap();
    let inputs = form.split("<input type=\"hidden\" name=\"").skip(1);
    inputs
        .map(|input| {
            let (name, rest) = input.split_once('"').unwrap();
            let value = rest.strip_prefix(" value=\"").unwrap().split('"').next().unwrap();
            (name.to_owned(), value.replace("&#60;", "<").replace("&#62;", ">").replace("&#38;", "&"))
        })
        .collect()
}

fn with<'f>(fields: &'f [(String, String)], more: &[(&'f str, &'f str)]) -> Vec<(&'f str, &'f str)> {
    let own = fields.iter().map(|(name, value)| (name.as_str(), value.as_str()));
    own.chain(more.iter().copied()).collect()
}

/// A mechanic whose sign-in ends while a launch is filled in; what the browser then sends.
async fn ended(room: &Room) -> (Browser, Vec<(String, String)>) {
    let mut browser = room.signed_in(MECHANIC).await;
    let page = browser.get(room, "/station/bay").await;
    let sent = [
        ("token", page.word()),
        ("key", page.value("key").unwrap()),
        ("what", "launch".to_owned()),
        ("note", "calm & <clear>".to_owned()),
    ];
    room.clock.forward(31 * MINUTE);
    (browser, sent.map(|(name, value)| (name.to_owned(), value)).to_vec())
}

#[tokio::test]
async fn what_was_filled_in_is_sent_after_signing_in_again() {
    let room = Room::of(false).await;
    let (mut browser, sent) = ended(&room).await;
    let head = room.head().await;
    let page = browser.post(&room, LOG, &with(&sent, &[])).await;
    assert_eq!(page.status, StatusCode::UNAUTHORIZED);
    assert!(page.text.contains("what you filled in is kept in this page"), "{}", page.text);
    // A wrong password loses nothing either.
    let carried = fields(&page, "/sign-in");
    let wrong = with(&carried, &[("email", MECHANIC), ("password", "another one")]);
    let page = browser.post(&room, "/sign-in", &wrong).await;
    assert_eq!(page.status, StatusCode::UNAUTHORIZED);
    room.clock.forward(MINUTE);
    let carried = fields(&page, "/sign-in");
    let right = with(&carried, &[("email", MECHANIC), ("password", PASSWORD)]);
    let page = browser.post(&room, "/sign-in", &right).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.text);
    assert!(
        page.text.contains("Send what you filled in?") && !page.text.contains("<clear>"),
        "{}",
        page.text
    );
    assert_eq!(room.head().await, head, "nothing is sent by signing in");
    assert!(page.text.contains("<dt>Station</dt><dd>bay/log</dd>"), "{}", page.text);
    let again = fields(&page, LOG);
    assert!(again.contains(&("note".to_owned(), "calm & <clear>".to_owned())), "{again:?}");
    assert_eq!(browser.post(&room, LOG, &with(&again, &[])).await.status, StatusCode::SEE_OTHER);
    assert_eq!(browser.post(&room, LOG, &with(&again, &[])).await.status, StatusCode::SEE_OTHER);
    assert_eq!(room.head().await, head + 1, "once, under the key that it had");
}

#[tokio::test]
async fn a_form_of_an_earlier_sign_in_is_refused_and_shown_to_be_sent() {
    let room = Room::of(false).await;
    let (mut browser, sent) = ended(&room).await;
    browser.sign_in(&room, MECHANIC, PASSWORD, "").await;
    let head = room.head().await;
    let page = browser.post(&room, LOG, &with(&sent, &[])).await;
    assert_eq!(page.status, StatusCode::FORBIDDEN);
    assert_eq!(room.head().await, head);
    let again = fields(&page, LOG);
    assert_eq!(browser.post(&room, LOG, &with(&again, &[])).await.status, StatusCode::SEE_OTHER);
    assert_eq!(room.head().await, head + 1);
}

#[tokio::test]
async fn nothing_is_carried_from_elsewhere_nor_leads_elsewhere() {
    let room = Room::of(false).await;
    let (browser, sent) = ended(&room).await;
    for (name, value) in [("sec-fetch-site", "cross-site"), ("sec-fetch-site", "same-site")] {
        let mut request = browser.request(Method::POST, LOG, form(&with(&sent, &[])));
        request.headers_mut().insert(name, value.parse().unwrap());
        let page = room.ask(request).await;
        assert_eq!(page.status, StatusCode::UNAUTHORIZED);
        assert!(!page.text.contains("unsent."), "{}", page.text);
    }
    let secrets = [("old", PASSWORD), ("password", "a"), ("repeated", "a"), ("next", "/")];
    for path in ["/account/password", "/again"] {
        let page = room.ask(browser.request(Method::POST, path, form(&secrets))).await;
        assert!(!page.text.contains(PASSWORD) && !page.text.contains("unsent."), "{path}");
    }
    let mut browser = Browser::default();
    for next in ["//evil.example/x", "https://evil.example/x", "/\\evil.example"] {
        let word = browser.get(&room, "/sign-in").await.word();
        let sent = [
            ("token", word.as_str()),
            ("email", MECHANIC),
            ("password", PASSWORD),
            ("next", next),
            ("unsent.note", "x"),
        ];
        let page = browser.post(&room, "/sign-in", &sent).await;
        assert!(!page.text.contains("evil.example"), "{}", page.text);
        assert!(page.headers.get(header::LOCATION).is_none_or(|to| to == "/"), "{:?}", page.headers);
    }
}

#[tokio::test]
async fn what_is_signed_is_kept_while_its_signer_proves_who_they_are() {
    let room = Room::of(false).await;
    let seed = room.enrol_with_factor(ENGINEER).await;
    let code = || daemon::accounts::totp::code_at(&seed, room.accounts.now()).unwrap();
    let mut browser = Browser::default();
    browser.sign_in(&room, ENGINEER, PASSWORD, &code()).await;
    room.clock.forward(6 * MINUTE);
    let path = "/concession/F-1/fall-renewal";
    let page = browser.get(&room, path).await;
    let (word, key) = (page.word(), page.value("key").unwrap());
    let sent = [
        ("token", word.as_str()),
        ("key", key.as_str()),
        ("until", "2026-10-31"),
        ("conditions", "slack water only"),
    ];
    let page = browser.post(&room, path, &sent).await;
    assert_eq!(page.status, StatusCode::FORBIDDEN, "{}", page.text);
    let carried = fields(&page, "/again");
    let code = code();
    let proof = with(&carried, &[("password", PASSWORD), ("code", &code)]);
    let page = browser.post(&room, "/again", &proof).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.text);
    assert!(page.text.contains("slack water only"), "{}", page.text);
    let to = browser.post(&room, path, &with(&fields(&page, path), &[])).await;
    assert!(to.location().starts_with("/second/"), "{}", to.text);
}
