//! What is refused: always as a problem, with the place and what would be right.

use serde_json::{Value, json};

use super::ground::{Answer, Ground, MECHANIC, ground};

const USE: &str = "/api/v1/stations/bay/use";

#[track_caller]
fn problem(answer: &Answer, status: u16, sort: &str) -> Value {
    let told = answer.is(status);
    assert_eq!(answer.header("content-type"), "application/problem+json");
    assert_eq!(told["type"], format!("/api/v1/problems#{sort}"));
    assert_eq!(told["status"], status);
    for member in ["title", "detail", "right"] {
        assert!(told[member].as_str().is_some_and(|text| !text.is_empty()), "{member}: {told}");
    }
    assert!(told["instance"].as_str().unwrap().starts_with("urn:tallow:request:"), "{told}");
    told
}

async fn send(ground: &Ground, token: &str, media: &str, body: &str) -> Answer {
    let bearer = format!("Bearer {token}");
    let headers =
        [("authorization", bearer.as_str()), ("content-type", media), ("idempotency-key", "some-key-1")];
    ground.send("POST", USE, &headers, body.to_owned()).await
}

#[tokio::test]
async fn each_sort_of_no_is_a_problem() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    problem(&ground.get(&token, "/api/v1/nothing").await, 404, "missing");
    let bearer = format!("Bearer {token}");
    let wrong = ground.send("DELETE", "/api/v1/due", &[("authorization", &bearer)], "").await;
    problem(&wrong, 405, "method");
    assert!(wrong.header("allow").contains("GET"), "{:?}", wrong.headers);
    problem(&ground.send("GET", "/api/v1/due", &[], "").await, 401, "unsigned");
    // What it says of the answer's form is so, whatever the page in its place would have been sent as.
    let headers = [("authorization", bearer.as_str()), ("accept-encoding", "gzip")];
    let plain = ground.send("GET", "/api/v1/nothing", &headers, "").await;
    problem(&plain, 404, "missing");
    assert!(!plain.headers.contains_key("content-encoding"), "{:?}", plain.headers);
    problem(&ground.get("not-a-token", "/api/v1/due").await, 401, "unsigned");
    problem(&send(&ground, &token, "text/plain", "{}").await, 415, "media-type");
    problem(&send(&ground, &token, "application/json", "{").await, 400, "unreadable");
    problem(&send(&ground, &token, "application/json", "[]").await, 400, "unreadable");
    let large = format!("{{\"what\":\"{}\"}}", "x".repeat(600 * 1024));
    problem(&send(&ground, &token, "application/json", &large).await, 413, "too-large");
    problem(&ground.get(&token, "/api/v1/due?as_of=yesterday").await, 400, "unreadable");
    let twice = problem(&ground.get(&token, "/api/v1/due?item=a&item=b&x=1").await, 400, "unreadable");
    assert_eq!(twice["errors"].as_array().unwrap().len(), 2);
}

#[tokio::test]
async fn a_body_is_wrong_at_its_fields() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let told =
        problem(&send(&ground, &token, "application/json", r#"{"what":"swim","how":1}"#).await, 422, "unfit");
    let at: Vec<&str> =
        told["errors"].as_array().unwrap().iter().map(|error| error["pointer"].as_str().unwrap()).collect();
    assert!(at.contains(&"/what") && at.contains(&"/how"), "{told}");
    let body = json!({ "item": "F-1", "rule": "fall-examination", "outcome": "passed",
        "measurements": { "diameter": "999" }, "by": MECHANIC });
    let refused = ground.post(&token, "/api/v1/work", "work-999", &body).await;
    let told = problem(&refused, 422, "unfit");
    assert_eq!(told["errors"][0]["pointer"], "/measurements", "{told}");
}

#[tokio::test]
async fn a_request_needs_a_key_that_can_be_one() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    for key in ["short", "with space in it", &"x".repeat(65)] {
        let told = ground.post(&token, USE, key, &json!({ "what": "launch" })).await;
        assert_eq!(problem(&told, 400, "unreadable")["errors"][0]["header"], "idempotency-key");
    }
    assert_eq!(ground.launches().await, 1);
}
