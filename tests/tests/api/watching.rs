//! Figures and health: read from this machine alone or by a token, without secrets and without people.

use std::path::PathBuf;

use daemon::alarms;
use serde_json::json;

use super::ground::{MECHANIC, ground, with};

#[tokio::test]
async fn figures_tell_counts_and_ages_and_no_planted_secret() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let calendar = ground.accounts.make_calendar(MECHANIC, None).await.unwrap();
    ground.get(&token, &format!("/calendar/{calendar}.ics?secret=PLANTED-1")).await;
    ground.get(&token, "/api/v1/items/PLANTED-2").await.is(404);
    ground.get("PLANTED-3", "/api/v1/items").await.is(401);
    ground.send("GET", "/PLANTED-4", &[("cookie", "tallow=PLANTED-5")], "").await;
    let body = json!({ "what": "launch", "note": "PLANTED-6" });
    ground.post(&token, "/api/v1/stations/bay/use", "PLANTED-7-key", &body).await.is(201);
    alarms::raise(&ground.desk.store, "backup", "PLANTED-8", ground.desk.now()).await.unwrap();
    let told = ground.send("GET", "/metrics", &[], "").await;
    assert_eq!(told.status.as_u16(), 200, "{}", told.text);
    for secret in ["PLANTED", token.as_str(), calendar.as_str(), "@", "mechanic", "F-1", "LC-1"] {
        assert!(!told.text.contains(secret), "{secret}: {}", told.text);
    }
    for line in [
        "# TYPE tallow_stations gauge",
        "tallow_http_requests_total{route=\"/api/v1/items/{tag}\",status=\"404\"}",
        "tallow_http_requests_total{route=\"/calendar/{file}\",status=\"200\"}",
        "tallow_chain_seq ",
        "tallow_due_rows{standing=",
        "tallow_notices_in_trouble 0",
        "tallow_uptime_seconds ",
        "tallow_build_info{version=",
    ] {
        assert!(told.text.contains(line), "{line}: {}", told.text);
    }
    assert!(told.text.ends_with("# EOF\n"));
    assert!(told.header("content-type").starts_with("application/openmetrics-text"));
}

#[tokio::test]
async fn figures_are_for_this_machine_or_for_who_has_their_token() {
    let closed = ground().await;
    let passed_on = closed.send("GET", "/metrics", &[("x-forwarded-for", "203.0.113.9")], "").await;
    assert_eq!(passed_on.status.as_u16(), 403);
    let file: PathBuf = std::env::temp_dir().join(format!("tallow-figures-{}", std::process::id()));
    std::fs::write(&file, "figures-token\n").unwrap();
    let by_token = with(|door| daemon::web::Door { figures: Some(file.clone()), ..door }).await;
    assert_eq!(by_token.send("GET", "/metrics", &[], "").await.status.as_u16(), 403);
    let wrong = by_token.send("GET", "/metrics", &[("authorization", "Bearer other")], "").await;
    assert_eq!(wrong.status.as_u16(), 403);
    let right = by_token.send("GET", "/metrics", &[("authorization", "Bearer figures-token")], "").await;
    assert_eq!(right.status.as_u16(), 200, "{}", right.text);
    std::fs::remove_file(&file).unwrap();
}

#[tokio::test]
async fn ready_names_what_is_not_well() {
    let ground = ground().await;
    assert_eq!(ground.send("GET", "/health/live", &[], "").await.status.as_u16(), 200);
    assert_eq!(ground.send("GET", "/health/ready", &[], "").await.is(200)["ready"], true);
    alarms::raise(&ground.desk.store, "backup", "no room", ground.desk.now()).await.unwrap();
    let told = ground.send("GET", "/health/ready", &[], "").await.is(200);
    assert_eq!(
        (&told["ready"], &told["alarms"], &told["store"]),
        (&json!(true), &json!(["backup"]), &json!(true))
    );
    alarms::clear(&ground.desk.store, "backup", ground.desk.now()).await.unwrap();
    let now = ground.desk.now();
    daemon::sending::hold(&ground.desk.store, daemon::sending::Cause::Clock, "it says 1970", now)
        .await
        .unwrap();
    assert_eq!(ground.send("GET", "/health/ready", &[], "").await.is(503)["clock"], false);
}
