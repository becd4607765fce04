//! What is done once, however often it is sent.

use serde_json::json;

use super::ground::{CLERK, ENGINEER, MECHANIC, OTHER_MECHANIC, ground};

const USE: &str = "/api/v1/stations/bay/use";

#[tokio::test]
async fn torture_45_the_same_request_ten_times_at_once_is_one_record() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let body = json!({ "what": "launch" });
    let sent = (0..10).map(|_| ground.post(&token, USE, "phone-7-launch-1", &body));
    let answers = futures_util::future::join_all(sent).await;
    let first = answers[0].is(201);
    assert!(answers.iter().all(|answer| answer.is(201) == first));
    assert_eq!(ground.launches().await, 2, "one was there before");
}

#[tokio::test]
async fn torture_46_the_same_key_with_another_body_is_refused_and_the_first_stands() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let at = "2026-10-11T09:00:00Z";
    let first =
        ground.post(&token, USE, "phone-7-launch-1", &json!({ "what": "launch", "at": at })).await.is(201);
    let later = json!({ "what": "launch", "at": "2026-10-11T10:00:00Z" });
    let refused = ground.post(&token, USE, "phone-7-launch-1", &later).await.is(422);
    assert_eq!(refused["type"], "/api/v1/problems#key-used");
    let shock = json!({ "what": "shock" });
    let other = ground.post(&token, "/api/v1/stations/bay/holds", "phone-7-launch-1", &shock).await.is(422);
    assert_eq!(other["type"], "/api/v1/problems#key-used");
    let again =
        ground.post(&token, USE, "phone-7-launch-1", &json!({ "at": at, "what": "launch" })).await.is(201);
    assert_eq!(again, first);
    assert_eq!(ground.launches().await, 2);
}

#[tokio::test]
async fn a_deed_done_again_without_its_kept_answer_makes_no_second_record() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let body = json!({ "what": "launch" });
    let first = ground.post(&token, USE, "phone-7-launch-1", &body).await.is(201);
    // As after a crash between the commit and the answer: the key stands, its answer does not.
    let (store, name) = (&ground.desk.store, "phone-7-launch-1");
    let now = ground.desk.now();
    let kept = store.begin_request(MECHANIC, name, "", now, policies::zone::Instant(0)).await.unwrap();
    store.begin_request("nobody", "forget-all", "", now, policies::zone::Instant(i64::MAX)).await.unwrap();
    store
        .begin_request(
            MECHANIC,
            name,
            &kept.digest,
            policies::zone::Instant(kept.at),
            policies::zone::Instant(0),
        )
        .await
        .unwrap();
    let again = ground.post(&token, USE, name, &body).await.is(201);
    assert_eq!(again, first);
    assert_eq!(ground.launches().await, 2);
}

/// Copies of what cannot be done twice: each is answered with what the first was.
#[tokio::test]
async fn torture_45_copies_of_a_cut_and_of_a_split_get_the_first_answer() {
    let ground = ground().await;
    let clerk = ground.token(CLERK).await;
    let wire = json!({ "item": "DR-1", "kind": "wire", "cells": { "length_m": "80", "manufactured_on": "2026-01-02" } });
    ground.post(&clerk, "/api/v1/items", "item-drum-1", &wire).await.is(201);
    let batch = json!({ "item": "BA-1", "kind": "line", "cells": { "quantity": "9", "manufactured_on": "2026-01-02" } });
    ground.post(&clerk, "/api/v1/items", "item-batch-1", &batch).await.is(201);
    let engineer = ground.token(ENGINEER).await;
    let cut = json!({ "pieces": { "P-1": "30" }, "keep_m": "50", "on": "2026-10-12" });
    let split = json!({ "item": "BA-2", "quantity": 2, "at": "2026-10-12" });
    for (path, key, body) in
        [("/api/v1/items/DR-1/cut", "cut-0001", &cut), ("/api/v1/items/BA-1/split", "split-001", &split)]
    {
        let sent = (0..10).map(|_| ground.post(&engineer, path, key, body));
        let answers = futures_util::future::join_all(sent).await;
        let first = answers[0].is(201);
        assert!(answers.iter().all(|answer| answer.is(201) == first), "{path}");
        // As after a crash between the answer and its way out, and much later.
        assert_eq!(ground.post(&engineer, path, key, body).await.is(201), first, "{path}");
    }
    let items = ground.desk.store.newest::<daemon::records::Item>().await.unwrap();
    assert!(items.contains_key("P-1") && items.contains_key("BA-2"));
}

#[tokio::test]
async fn what_was_refused_can_be_put_right_under_its_key() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    ground
        .post(&token, USE, "phone-7-launch-1", &json!({ "what": "launch", "hosts": ["X-9"] }))
        .await
        .is(422);
    ground.post(&token, USE, "phone-7-launch-1", &json!({ "what": "launch" })).await.is(201);
    assert_eq!(ground.launches().await, 2);
}

#[tokio::test]
async fn a_batch_is_answered_one_by_one() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let bearer = format!("Bearer {token}");
    let headers = [("authorization", bearer.as_str()), ("content-type", "application/json")];
    let launch = json!({ "key": "phone-7-launch-1", "to": USE, "body": { "what": "launch", "at": "2026-10-11T09:00:00Z" } });
    let body = json!({ "requests": [
        launch,
        launch,
        { "key": "phone-7-launch-2", "to": "/api/v1/stations/bar/use", "body": { "what": "launch" } },
        { "key": "phone-7-state-3", "to": "/api/v1/items/F-1/state", "body": { "state": "quarantined", "reason": "a broken wire" } },
        { "key": "phone-7-other-4", "to": "/api/v1/drafts/X/sign", "body": {} },
        { "key": "bad", "to": USE, "body": { "what": "launch" } },
        7
    ] });
    let told = ground.send("PUT", "/api/v1/batch", &headers, body.to_string()).await.is(200);
    let outcomes = told["outcomes"].as_array().unwrap();
    let statuses: Vec<u64> = outcomes.iter().map(|outcome| outcome["status"].as_u64().unwrap()).collect();
    assert_eq!(statuses, [201, 201, 403, 201, 422, 400, 422], "{told}");
    assert_eq!(outcomes[0]["body"], outcomes[1]["body"]);
    assert_eq!(ground.launches().await, 2);
    let many: Vec<_> = (0..101).map(|_| launch.clone()).collect();
    let refused =
        ground.send("PUT", "/api/v1/batch", &headers, json!({ "requests": many }).to_string()).await;
    refused.is(422);
    let other = ground.token(OTHER_MECHANIC).await;
    ground.post(&other, USE, "phone-8-launch-1", &json!({ "what": "launch" })).await.is(403);
}
