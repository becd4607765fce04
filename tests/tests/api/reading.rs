//! What is read: tables in pieces, versions, days that are replayed.

use serde_json::json;

use super::ground::{ENGINEER, MECHANIC, ground};

#[tokio::test]
async fn every_address_of_the_document_that_only_reads_answers() {
    let ground = ground().await;
    let token = ground.token(ENGINEER).await;
    let document: serde_json::Value = serde_json::from_str(daemon::web::api::DOCUMENT).unwrap();
    let mut read = 0;
    for (path, item) in document["paths"].as_object().unwrap() {
        let path = path
            .replace("{tag}", "F-1")
            .replace("{rule}", "fall-examination")
            .replace("{number}", "none-of-that-number");
        if item.get("get").is_none() || path.contains('{') {
            continue;
        }
        let answer = ground.get(&token, &path).await;
        let missing = path.contains("none-of-that-number");
        assert_eq!(answer.status.as_u16(), if missing { 404 } else { 200 }, "{path}: {}", answer.text);
        read += 1;
    }
    assert!(read > 30, "{read}");
}

#[tokio::test]
async fn the_due_table_is_filtered_and_replayed() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let told = ground.get(&token, "/api/v1/due?station=bay&as_of=2020-03-10").await.is(200);
    let by_calendar: Vec<String> = told["rows"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|row| row["rule"] != "fall-renewal")
        .map(|row| {
            format!("{} {} {} {}", row["item"], row["rule"], row["due_on"], row["standing"]).replace('"', "")
        })
        .collect();
    let wanted = ["F-1 fall-examination 2020-07-31 in date", "S-1 shackle-proof-load 2025-02-28 in date"];
    assert_eq!(by_calendar, wanted);
    let overdue = ground.get(&token, "/api/v1/due?standing=overdue").await.is(200);
    assert!(overdue["rows"].as_array().unwrap().iter().all(|row| row["standing"] == "overdue"));
    let before = ground.get(&token, "/api/v1/due?known_on=2019-01-01").await.is(200);
    assert_eq!(before["rows"], json!([]));
}

#[tokio::test]
async fn a_list_in_pieces_is_the_whole_list_whatever_comes_in_between() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let log = async |key: &str, at: &str| {
        let body = json!({ "what": "launch", "at": at });
        ground.post(&token, "/api/v1/stations/bay/use", key, &body).await.is(201);
    };
    for (key, day) in [("launch-b1", "01"), ("launch-b2", "02"), ("launch-b3", "03"), ("launch-b4", "04")] {
        log(key, &format!("2026-10-{day}T09:00:00Z")).await;
    }
    let mut keys = Vec::new();
    let mut next = String::new();
    for turn in 0.. {
        let told = ground.get(&token, &format!("/api/v1/use?limit=2{next}")).await.is(200);
        keys.extend(
            told["rows"].as_array().unwrap().iter().map(|row| row["key"].as_str().unwrap().to_owned()),
        );
        if turn == 0 {
            log("a-launch-before", "2026-10-05T09:00:00Z").await;
        }
        match told["next"].as_str() {
            Some(cursor) => next = format!("&cursor={cursor}"),
            None => break,
        }
    }
    let mut once = keys.clone();
    once.sort();
    once.dedup();
    assert_eq!(keys, once);
    assert_eq!(keys.len(), 5, "{keys:?}");
    let refused = ground.get(&token, &format!("/api/v1/work?limit=2{next}")).await.is(400);
    assert_eq!(refused["errors"][0]["parameter"], "cursor");
    ground.get(&token, "/api/v1/use?limit=501").await.is(400);
    ground.get(&token, "/api/v1/use?cursor=xyz").await.is(400);
}

#[tokio::test]
async fn a_version_that_still_holds_is_not_sent_again_and_a_record_ends_it() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let bearer = format!("Bearer {token}");
    let paths = ["/api/v1/due", "/api/v1/items/F-1", "/api/v1/items/F-1/history", "/api/v1/readiness"];
    for (number, path) in paths.into_iter().enumerate() {
        let first = ground.get(&token, path).await;
        let mark = first.header("etag").to_owned();
        assert!(mark.starts_with('"'), "{path}: {mark}");
        let headers = [("authorization", bearer.as_str()), ("if-none-match", mark.as_str())];
        let again = ground.send("GET", path, &headers, "").await;
        assert_eq!((again.status.as_u16(), again.text.as_str()), (304, ""), "{path}");
        let key = format!("launch-{number}");
        let body = json!({ "what": "launch", "at": "2026-10-11T09:00:00Z" });
        ground.post(&token, "/api/v1/stations/bay/use", &key, &body).await.is(201);
        assert_eq!(ground.send("GET", path, &headers, "").await.status.as_u16(), 200, "{path}");
    }
}

#[tokio::test]
async fn the_chain_tells_what_happened_since() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let before = ground.get(&token, "/api/v1/chain").await.is(200);
    let body = json!({ "what": "launch" });
    ground.post(&token, "/api/v1/stations/bay/use", "one-launch", &body).await.is(201);
    let since = ground.get(&token, &format!("/api/v1/chain?after={}", before["seq"])).await.is(200);
    assert_eq!(since["changes"].as_array().unwrap().len(), 1);
    assert_eq!(since["changes"][0]["action"], format!("log: {MECHANIC}"));
    assert_eq!(since["changes"][0]["hash"], since["hash"]);
}

#[tokio::test]
async fn search_and_derivation_are_there() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let found = ground.get(&token, "/api/v1/items?q=lc-").await.is(200);
    assert_eq!(found["rows"][0]["item"], "LC-1");
    assert_eq!(found["rows"].as_array().unwrap().len(), 1);
    let why = ground.get(&token, "/api/v1/items/F-1/why/fall-examination").await.is(200);
    assert!(why.is_object(), "{why}");
    ground.get(&token, "/api/v1/items/F-1/why/line-renewal").await.is(404);
    ground.get(&token, "/api/v1/items/X-1").await.is(404);
}
