//! What can be done, each as the command line does it.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};
use sha2::Digest;

use super::ground::{CLERK, ENGINEER, Ground, MECHANIC, ground};

async fn state_of(ground: &Ground, token: &str, tag: &str) -> Vec<String> {
    let told = ground.get(token, &format!("/api/v1/states?item={tag}")).await.is(200);
    let rows = told["rows"].as_array().unwrap();
    rows.iter().map(|row| row["state"].as_str().unwrap().to_owned()).collect()
}

#[tokio::test]
async fn a_launch_moves_the_use_and_names_who_logged_it() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let told = ground
        .post(&token, "/api/v1/stations/bay/use", "launch-0001", &json!({ "what": "launch", "note": "calm" }))
        .await
        .is(201);
    assert_eq!(told["rows"][0]["key"], "launch-0001 LC-1 launches");
    let counted =
        json!({ "what": "count", "meter": "launches", "amount": "2.5", "at": "2026-10-10T10:00:00+01:00" });
    let told = ground.post(&token, "/api/v1/stations/bay/use", "counted-01", &counted).await.is(201);
    assert_eq!(told["rows"][0]["count"], "2.5");
    let due = ground.get(&token, "/api/v1/due?rule=fall-renewal").await.is(200);
    assert_eq!(due["rows"][0]["used"], "10.5");
    let none = json!({ "what": "count", "meter": "launches" });
    assert_eq!(
        ground.post(&token, "/api/v1/stations/bay/use", "counted-02", &none).await.is(422)["errors"][0]["pointer"],
        "/amount"
    );
    ground
        .post(&token, "/api/v1/stations/bay/use", "recover-01", &json!({ "what": "recovery" }))
        .await
        .is(422);
}

#[tokio::test]
async fn work_is_judged_and_moves_its_date() {
    let ground = ground().await;
    let engineer = ground.token(ENGINEER).await;
    let body = json!({ "item": "F-1", "rule": "fall-renewal", "at": "2026-10-11", "outcome": "done" });
    ground.post(&engineer, "/api/v1/work", "work-0001", &body).await.is(201);
    let due = ground.get(&engineer, "/api/v1/due?rule=fall-renewal").await.is(200);
    assert_eq!(due["rows"][0]["used"], "0");
    let mechanic = ground.token(MECHANIC).await;
    let examination = json!({ "item": "F-1", "rule": "fall-examination", "outcome": "passed" });
    let refused = ground.post(&mechanic, "/api/v1/work", "work-0002", &examination).await.is(422);
    assert!(refused["detail"].as_str().unwrap().contains("competen"), "{refused}");
    let for_other = json!({ "item": "F-1", "rule": "fall-renewal", "by": ENGINEER });
    assert_eq!(
        ground.post(&mechanic, "/api/v1/work", "work-0003", &for_other).await.is(422)["errors"][0]["pointer"],
        "/by"
    );
}

/// The paper comes with its certificate, and is handed out again byte for byte.
#[tokio::test]
async fn a_certificate_comes_with_its_paper() {
    let ground = ground().await;
    let token = ground.token(ENGINEER).await;
    let paper = format!("%PDF-1.4\n% {}\n%%EOF\n", "scanned ".repeat(100_000));
    let mut body = json!({
        "item": "F-1", "number": "PT-1", "issuer": "Test House", "issued_on": "2026-10-01",
        "file": STANDARD.encode(&paper), "file_name": "PT-1.pdf",
    });
    assert!(body.to_string().len() > 1024 * 1024, "more than any other body may hold");
    ground.post(&token, "/api/v1/certificates", "paper-0001", &body).await.is(201);
    ground.post(&token, "/api/v1/certificates", "paper-0001", &body).await.is(201);
    let told = ground.get(&token, "/api/v1/certificates?item=F-1").await.is(200);
    let files: Vec<&str> =
        told["rows"].as_array().unwrap().iter().filter_map(|row| row["file"].as_str()).collect();
    let digest: String =
        sha2::Sha256::digest(&paper).iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"));
    assert_eq!(files, [format!("sha256:{digest} PT-1.pdf")]);
    let back = ground.get(&token, &format!("/file/{digest}")).await;
    assert!(back.status == 200 && back.text == paper, "{}", back.status);
    let refused = [
        ("file", json!("no base64"), "/file"),
        ("file", json!(STANDARD.encode("plain text")), "/file"),
        ("file_name", json!("PT-1.png"), "/file"),
        ("file", Value::Null, "/file"),
    ];
    body["number"] = json!("PT-2");
    for (at, (field, value, pointer)) in refused.into_iter().enumerate() {
        let mut other = body.clone();
        other[field] = value;
        if other[field].is_null() {
            other.as_object_mut().unwrap().remove(field);
        }
        let key = format!("refused-{at}");
        let told = ground.post(&token, "/api/v1/certificates", &key, &other).await.is(422);
        assert_eq!(told["errors"][0]["pointer"], pointer, "{told}");
    }
    let huge = json!({ "item": "F-1", "file": "A".repeat(30 * 1024 * 1024) });
    ground.post(&token, "/api/v1/certificates", "huge-00001", &huge).await.is(413);
    let told = ground.get(&token, "/api/v1/certificates?item=F-1").await.is(200);
    assert!(!told.to_string().contains("PT-2"), "nothing of what is refused is kept");
}

#[tokio::test]
async fn gear_is_set_aside_and_only_an_engineer_releases_it() {
    let ground = ground().await;
    let (mechanic, engineer) = (ground.token(MECHANIC).await, ground.token(ENGINEER).await);
    let aside = json!({ "state": "quarantined", "reason": "broken wires", "at": "2026-10-11T09:00:00Z" });
    ground.post(&mechanic, "/api/v1/items/F-1/state", "aside-001", &aside).await.is(201);
    let back = json!({ "state": "released", "reason": "looked at again" });
    ground.post(&mechanic, "/api/v1/items/F-1/state", "back-0001", &back).await.is(403);
    ground.post(&engineer, "/api/v1/items/F-1/state", "back-0001", &back).await.is(201);
    let mut states = state_of(&ground, &mechanic, "F-1").await;
    states.sort();
    assert_eq!(states, ["quarantined", "released"]);
}

#[tokio::test]
async fn gear_comes_and_goes_by_the_interface() {
    let ground = ground().await;
    let (clerk, mechanic) = (ground.token(CLERK).await, ground.token(MECHANIC).await);
    let item = json!({ "item": "F-2", "kind": "fall", "cells": { "station": "bay", "manufactured_on": "2026-09-02" } });
    let told = ground.post(&clerk, "/api/v1/items", "item-0002", &item).await.is(201);
    assert_eq!(told["done"], "item add");
    let fit = json!({ "host": "LC-1", "position": "fall", "at": "2026-10-11T10:00:00Z" });
    let taken = ground.post(&mechanic, "/api/v1/items/F-2/fit", "fit-00001", &fit).await.is(422);
    assert!(
        taken["detail"].as_str().unwrap().contains("F-1") || taken["errors"][0].to_string().contains("F-1"),
        "{taken}"
    );
    let off = json!({ "at": "2026-10-11T09:00:00Z" });
    ground.post(&mechanic, "/api/v1/items/F-1/remove", "remove-01", &off).await.is(201);
    ground.post(&mechanic, "/api/v1/items/F-2/fit", "fit-00001", &fit).await.is(201);
    let fitted = ground.get(&mechanic, "/api/v1/items/F-2/history").await.is(200);
    assert_eq!(fitted["places"].as_array().map(Vec::len), Some(1), "{fitted}");
    let history = ground.get(&mechanic, "/api/v1/items/F-1/history").await.is(200);
    assert!(history["places"].as_array().is_some_and(|places| !places.is_empty()), "{history}");
    let correction =
        json!({ "file": "items", "record": "F-2", "cells": { "serial": "SN-77" }, "reason": "read again" });
    ground.post(&clerk, "/api/v1/corrections", "correct-1", &correction).await.is(201);
    assert_eq!(ground.get(&clerk, "/api/v1/items/F-2").await.is(200)["serial"], "SN-77");
    let unknown = json!({ "file": "items", "record": "F-2", "cells": { "colour": "red" }, "reason": "x" });
    ground.post(&clerk, "/api/v1/corrections", "correct-2", &unknown).await.is(422);
}

/// An order from its raising to its certificate, and a part issued, moved and counted; each is one record however often
/// it is sent, and says what it did.
#[tokio::test]
async fn a_clerk_keeps_stores_by_the_interface() {
    let ground = ground().await;
    ground
        .import(
            "parts.csv",
            "part,description,kind,lead_time,unit\nFALL-1,Launching fall,fall,3 weeks,each\n",
        )
        .await;
    let (clerk, mechanic) = (ground.token(CLERK).await, ground.token(MECHANIC).await);
    let order = json!({ "part": "FALL-1", "quantity": 4, "place": "stores", "needed_by": "2026-11-20" });
    ground.post(&mechanic, "/api/v1/orders", "order-001", &order).await.is(403);
    for _ in 0..2 {
        let told = ground.post(&clerk, "/api/v1/orders", "order-001", &order).await.is(201);
        assert_eq!(told["notes"][0], "OS-2026-001: 4 of FALL-1, deliver by 20 Nov 2026", "{told}");
    }
    let listed = ground.get(&clerk, "/api/v1/orders?part=FALL-1").await.is(200);
    assert_eq!(listed["rows"].as_array().map(Vec::len), Some(1), "{listed}");
    assert_eq!(
        (&listed["rows"][0]["quantity"], &listed["rows"][0]["by"]),
        (&json!("4"), &json!("clerk@service.example"))
    );
    let receive = "/api/v1/orders/OS-2026-001/receive";
    ground.post(&clerk, receive, "receive-1", &json!({ "quantity": "5" })).await.is(422);
    ground.post(&clerk, receive, "receive-1", &json!({})).await.is(201);
    let issue = json!({ "quantity": 1, "place": "stores" });
    let held = ground.post(&clerk, "/api/v1/parts/FALL-1/issue", "issue-001", &issue).await.is(422);
    assert!(held.to_string().contains("came without its certificate"), "{held}");
    ground.post(&clerk, receive, "receive-2", &json!({ "certificate": "MC-9" })).await.is(201);
    ground.post(&clerk, "/api/v1/parts/FALL-1/issue", "issue-001", &issue).await.is(201);
    let to_bay = json!({ "quantity": "1", "from": "stores", "to": "bay" });
    ground.post(&clerk, "/api/v1/parts/FALL-1/move", "move-0001", &to_bay).await.is(201);
    let nowhere = json!({ "quantity": "1", "from": "bay", "to": "bay" });
    let there = ground.post(&clerk, "/api/v1/parts/FALL-1/move", "move-0002", &nowhere).await.is(422);
    assert_eq!(there["detail"], "it is there already; give another to", "no option of the command line");
    let counted = json!({ "place": "stores", "found": 1 });
    let told = ground.post(&clerk, "/api/v1/parts/FALL-1/count", "count-001", &counted).await.is(201);
    assert_eq!(told["notes"][0], "1 of FALL-1 at stores: -1 against the records");
    ground.post(&clerk, "/api/v1/parts/FALL-9/count", "count-002", &counted).await.is(422);
    let attic = json!({ "place": "attic", "found": 1 });
    ground.post(&clerk, "/api/v1/parts/FALL-1/count", "count-003", &attic).await.is(422);
    let slip = json!({ "place": "stores", "found": 10 });
    let asked = ground.post(&clerk, "/api/v1/parts/FALL-1/count", "count-004", &slip).await.is(422);
    assert!(asked.to_string().contains("say so with confirm_count"), "{asked}");
    let again = json!({ "place": "stores", "found": 10, "confirm_count": true });
    ground.post(&clerk, "/api/v1/parts/FALL-1/count", "count-004", &again).await.is(201);
    let moves = ground.get(&clerk, "/api/v1/stock?part=FALL-1").await.is(200);
    let mut moves: Vec<String> = moves["rows"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| ["place", "quantity", "reason"].map(|name| row[name].as_str().unwrap()).join(" "))
        .collect();
    moves.sort();
    assert_eq!(
        moves,
        [
            "bay 1 receipt",
            "stores -1 count",
            "stores -1 issue",
            "stores -1 issue",
            "stores 4 receipt",
            "stores 9 count"
        ]
    );
}

#[tokio::test]
async fn a_concession_is_an_engineers() {
    let ground = ground().await;
    let (engineer, clerk) = (ground.token(ENGINEER).await, ground.token(CLERK).await);
    let body = json!({ "rule": "line-renewal", "until": "2026-11-01", "conditions": "in calm weather only" });
    ground.post(&clerk, "/api/v1/items/L-1/concessions", "conced-01", &body).await.is(403);
    ground.post(&engineer, "/api/v1/items/L-1/concessions", "conced-01", &body).await.is(201);
    let told = ground.get(&clerk, "/api/v1/concessions?item=L-1").await.is(200);
    assert_eq!(told["rows"][0]["conditions"], "in calm weather only");
}

#[tokio::test]
async fn a_session_needs_the_word_of_its_page() {
    let ground = ground().await;
    let (cookie, word) = ground.session(MECHANIC).await;
    let body = json!({ "what": "launch" }).to_string();
    let base =
        [("cookie", cookie.as_str()), ("content-type", "application/json"), ("idempotency-key", "session-1")];
    let send = async |more: &[(&str, &str)]| -> Value {
        let headers: Vec<(&str, &str)> = base.iter().chain(more).copied().collect();
        let answer = ground.send("POST", "/api/v1/stations/bay/use", &headers, body.clone()).await;
        json!(answer.status.as_u16())
    };
    let own = ("sec-fetch-site", "same-origin");
    assert_eq!(send(&[]).await, 403);
    assert_eq!(send(&[own]).await, 403);
    assert_eq!(send(&[own, ("tallow-word", "another")]).await, 403);
    assert_eq!(send(&[("sec-fetch-site", "cross-site"), ("tallow-word", &word)]).await, 403);
    assert_eq!(ground.launches().await, 1);
    assert_eq!(send(&[own, ("tallow-word", &word)]).await, 201);
    assert_eq!(ground.launches().await, 2);
}
