//! Who may what: the interface's rows stand in the table of routes, and each is asked as each role. What is right is
//! written down in [`crate::whose`], apart from the program.

use axum::http::Method;
use daemon::rights::{self, Act};
use daemon::web::routes::{At, Need, table};
use serde_json::json;

use super::ground::{CLERK, ENGINEER, HEAD, MECHANIC, OTHER_MECHANIC, READER, TEST_HOUSE, ground};
use crate::whose::{Where, whose};

#[tokio::test]
async fn every_address_answers_each_role_as_the_rights_say_at_the_own_and_another_station() {
    let ground = ground().await;
    let mut asked = 0;
    for (email, role, own) in [
        (ENGINEER, "engineer", "bay"),
        (HEAD, "head", "bay"),
        (CLERK, "clerk", "bay"),
        (MECHANIC, "mechanic", "bay"),
        (OTHER_MECHANIC, "mechanic", "bar"),
        (TEST_HOUSE, "test house", "bay"),
        (READER, "reader", "bay"),
    ] {
        let token = ground.token(email).await;
        let bearer = format!("Bearer {token}");
        let headers = [("authorization", bearer.as_str()), ("content-type", "text/plain")];
        for row in
            table().iter().filter(|row| row.path.starts_with("/api/") || row.path.starts_with("/table/"))
        {
            for station in ["bay", "bar"] {
                let path = row.path.replace("{station}", station);
                let path = path.split('/').map(|part| if part.starts_with('{') { "none" } else { part });
                let path = path.collect::<Vec<_>>().join("/");
                let answer = ground.send(row.method.as_str(), &path, &headers, "").await;
                let at = match row.at {
                    At::Station if station == own => Where::Own,
                    At::Station => Where::Elsewhere,
                    At::Region | At::Page => Where::Somewhere,
                };
                let may = match row.need {
                    Need::Nothing => true,
                    // Nobody of this service holds the competence.
                    Need::Reads(Act::ClearDefect) | Need::Does(Act::ClearDefect) => false,
                    Need::Reads(act) | Need::Does(act) => whose(act, at).contains(&role),
                };
                let refused = answer.status.as_u16() == 403;
                assert_eq!(refused, !may, "{email} {} {path}: {}", row.method, answer.text);
                // Nothing is done by it: the body is no JSON.
                assert!(row.method == Method::GET || !answer.status.is_success(), "{path}");
                asked += 1;
            }
        }
    }
    assert!(asked > 1_000, "{asked}");
}

#[tokio::test]
async fn strangers_get_nothing_and_whose_token_is_revoked_is_a_stranger_at_once() {
    let ground = ground().await;
    for row in table().iter().filter(|row| row.path.starts_with("/api/") && row.need != Need::Nothing) {
        let path = row.path.replace(['{', '}'], "x");
        let answer =
            ground.send(row.method.as_str(), &path, &[("content-type", "application/json")], "{}").await;
        assert_eq!(answer.status.as_u16(), 401, "{path}");
        assert_eq!(answer.header("www-authenticate"), "Bearer");
    }
    let token = ground.token(MECHANIC).await;
    ground.get(&token, "/api/v1/items").await.is(200);
    ground.accounts.revoke_token(MECHANIC, "test").await.unwrap();
    assert_eq!(ground.get(&token, "/api/v1/items").await.is(401)["type"], "/api/v1/problems#unsigned");
    ground
        .post(&token, "/api/v1/stations/bay/use", "launch-0001", &json!({ "what": "launch" }))
        .await
        .is(401);
    assert_eq!(ground.launches().await, 1);
}

#[tokio::test]
async fn gear_of_another_station_is_not_a_mechanics() {
    let ground = ground().await;
    let token = ground.token(OTHER_MECHANIC).await;
    let refused = [
        ("/api/v1/items/F-1/state", json!({ "state": "quarantined", "reason": "x" })),
        ("/api/v1/items/F-1/remove", json!({})),
        ("/api/v1/work", json!({ "item": "F-1", "rule": "fall-renewal" })),
        ("/api/v1/stations/bay/holds", json!({ "what": "shock" })),
        (
            "/api/v1/certificates",
            json!({ "item": "F-1", "number": "1", "issuer": "x", "issued_on": "2026-01-01" }),
        ),
    ];
    for (number, (path, body)) in refused.iter().enumerate() {
        let answer = ground.post(&token, path, &format!("refused-{number}"), body).await;
        assert_eq!(answer.status.as_u16(), 403, "{path}: {}", answer.text);
    }
    assert!(rights::ACTS.contains(&Act::LogUse));
}
