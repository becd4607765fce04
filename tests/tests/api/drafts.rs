//! Drafts of examination reports: kept against the version they started from; signed by people.

use serde_json::json;

use super::ground::{ENGINEER, Ground, MECHANIC, OTHER_MECHANIC, ground};

const DRAFT: &str = "/api/v1/drafts/TE-1";

async fn put(ground: &Ground, token: &str, more: &[(&str, &str)], text: &str) -> super::ground::Answer {
    let bearer = format!("Bearer {token}");
    let own = [("authorization", bearer.as_str()), ("content-type", "application/json")];
    let headers: Vec<(&str, &str)> = own.iter().chain(more).copied().collect();
    ground.send("PUT", DRAFT, &headers, json!({ "text": text }).to_string()).await
}

fn form(note: &str) -> String {
    format!("number = \"TE-1\"\nitem = \"F-1\"\nrule = \"fall-examination\"\nexaminer = \"{note}\"\n")
}

#[tokio::test]
async fn two_who_write_the_same_draft_lose_nothing() {
    let ground = ground().await;
    let token = ground.token(ENGINEER).await;
    ground.get(&token, DRAFT).await.is(404);
    let first = put(&ground, &token, &[("if-none-match", "*")], &form("A. One")).await;
    let kept = first.is(200);
    assert!(kept["lacks"].as_array().is_some_and(|lacks| !lacks.is_empty()), "{kept}");
    let mark = first.header("etag").to_owned();
    assert_eq!(ground.get(&token, DRAFT).await.header("etag"), mark);
    put(&ground, &token, &[("if-match", &mark)], &form("B. Two")).await.is(200);
    let lost = put(&ground, &token, &[("if-match", &mark)], &form("C. Three")).await.is(412);
    assert!(lost["stored"]["text"].as_str().unwrap().contains("B. Two"), "{lost}");
    assert!(lost["yours"]["text"].as_str().unwrap().contains("C. Three"), "{lost}");
    put(&ground, &token, &[], &form("D. Four")).await.is(428);
    // The same once more, as on bad signal.
    put(&ground, &token, &[("if-match", &mark)], &form("B. Two")).await.is(200);
    let stored = ground.get(&token, DRAFT).await.is(200);
    assert!(stored["text"].as_str().unwrap().contains("B. Two"));
    let other = put(&ground, &token, &[], "number = \"TE-2\"\n").await.is(422);
    assert_eq!(other["errors"][0]["pointer"], "/text");
}

#[tokio::test]
async fn a_draft_is_not_written_over_unseen() {
    let ground = ground().await;
    let token = ground.token(ENGINEER).await;
    put(&ground, &token, &[], &form("A. One")).await.is(200);
    let unseen = put(&ground, &token, &[("if-match", "*")], &form("B. Two")).await.is(412);
    assert!(unseen["stored"]["text"].as_str().unwrap().contains("A. One"), "{unseen}");
    assert!(ground.get(&token, DRAFT).await.is(200)["text"].as_str().unwrap().contains("A. One"));
}

#[tokio::test]
async fn a_draft_of_another_station_is_neither_read_nor_written() {
    let ground = ground().await;
    let (own, other) = (ground.token(MECHANIC).await, ground.token(OTHER_MECHANIC).await);
    put(&ground, &own, &[], &form("A. One")).await.is(200);
    ground.get(&own, DRAFT).await.is(200);
    let refused = ground.get(&other, DRAFT).await;
    refused.is(403);
    assert!(!refused.text.contains("A. One"), "{}", refused.text);
    let listed = async |token: &str| ground.get(token, "/api/v1/drafts").await.is(200)["rows"].clone();
    assert_eq!(listed(&own).await.as_array().map(Vec::len), Some(1));
    assert_eq!(listed(&other).await.as_array().map(Vec::len), Some(0));
    // Nor by a form of their own gear under its number, whose refusal would show it.
    let theirs = "number = \"TE-1\"\nitem = \"L-1\"\nrule = \"line-renewal\"\n";
    for headers in [&[][..], &[("if-match", "\"x\"")], &[("if-match", "*")]] {
        let refused = put(&ground, &other, headers, theirs).await;
        refused.is(403);
        assert!(!refused.text.contains("A. One"), "{}", refused.text);
    }
}

#[tokio::test]
async fn a_token_does_not_sign_and_a_person_is_told_what_lacks() {
    let ground = ground().await;
    let token = ground.token(ENGINEER).await;
    put(&ground, &token, &[], &form("A. One")).await.is(200);
    let bearer = format!("Bearer {token}");
    let headers = [("authorization", bearer.as_str()), ("content-type", "application/json")];
    let refused = ground.send("POST", &format!("{DRAFT}/sign"), &headers, "{}").await.is(403);
    assert_eq!(refused["type"], "/api/v1/problems#not-a-person");
    let (cookie, word) = ground.session(ENGINEER).await;
    let headers = [
        ("cookie", cookie.as_str()),
        ("tallow-word", word.as_str()),
        ("sec-fetch-site", "same-origin"),
        ("content-type", "application/json"),
    ];
    let told = ground.send("POST", &format!("{DRAFT}/sign"), &headers, "{}").await.is(422);
    assert!(told["detail"].as_str().unwrap().contains("the draft is kept"), "{told}");
    ground.send("POST", "/api/v1/drafts/TE-9/sign", &headers, "{}").await.is(404);
    let form = ground.get(&token, "/api/v1/items/F-1/form/fall-examination").await.is(200);
    assert!(form["text"].as_str().unwrap().contains("F-1"));
}
