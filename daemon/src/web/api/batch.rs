//! Many requests at once, as a phone sends them that was out of reach: each is done, or refused, by itself.

use std::sync::Arc;

use axum::http::Method;
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use super::ask::{Field, Given, Sort, needed};
use super::call::Sent;
use super::deeds::{self, Body, Deed};
use super::document;
use super::endpoint::{Answering, Endpoint};
use super::json::Json;
use super::once;
use super::problem::{Problem, Wrong};
use crate::accounts::Seen;
use crate::rights::{Act, Place};
use crate::web::routes::At;
use crate::web::{Web, gate};

/// Most requests at once.
const MOST: usize = 100;

const FIELDS: [Field; 1] =
    [needed("requests", Sort::Requests, "at most 100 objects, each with key, to (an address) and body")];

pub(super) fn endpoint() -> Endpoint {
    let take = |sent: Sent| -> Answering { Box::pin(take(sent)) };
    let route = (Method::PUT, "/api/v1/batch".to_owned());
    let names = ("batch", "Do many requests in their order; each is answered by itself");
    let body = (FIELDS.to_vec(), document::outcomes());
    Endpoint::does(route, (Act::OwnAccount, At::Region), names, body, take)
}

async fn take(sent: Sent) -> Result<Response, Problem> {
    let Sent { call, body } = sent;
    call.knows(&[])?;
    let requests = body.get("requests").and_then(Value::as_array).cloned();
    Given::read(body, &FIELDS)?;
    let requests = requests.unwrap_or_default();
    if requests.len() > MOST {
        let wrong =
            Wrong::field("requests", format!("These are {} requests", requests.len()), "Send 100 at most.");
        return Err(Problem::unfit(vec![wrong]));
    }
    let (web, seen) = (Arc::clone(call.web()), Arc::clone(call.seen()?));
    let mut outcomes = Vec::with_capacity(requests.len());
    for (at, request) in requests.iter().enumerate() {
        let key = request.get("key").and_then(Value::as_str).unwrap_or_default();
        outcomes.push(match one(&web, &seen, request).await {
            Ok(told) => json!({ "key": key, "status": 201, "body": told }),
            Err(problem) => {
                let instance = format!("urn:tallow:batch:{at}");
                json!({ "key": key, "status": problem.status().as_u16(), "problem": problem.json(&instance) })
            }
        });
    }
    Ok(Json(json!({ "outcomes": outcomes })).into_response())
}

async fn one(web: &Arc<Web>, seen: &Arc<Seen>, request: &Value) -> Result<Value, Problem> {
    let (key, deed, names, body) = read(request)?;
    let station = names.first().filter(|_| deed.at == At::Station);
    let place = station.map_or(Place::Own, |slug| Place::Of(Some(slug)));
    gate::allowed(seen, deed.act, place)?;
    once::once(deed, web, Arc::clone(seen), (names, body), key).await
}

fn read(request: &Value) -> Result<(String, Deed, Vec<String>, Body), Problem> {
    let Some(fields) = request.as_object() else {
        let wrong = Wrong::field("requests", "This is no object", "Give key, to and body.");
        return Err(Problem::unfit(vec![wrong]));
    };
    if let Some(other) = fields.keys().find(|name| !["key", "to", "body"].contains(&name.as_str())) {
        let wrong = Wrong::field(other, format!("\"{other}\" is no field here"), "Give key, to and body.");
        return Err(Problem::unfit(vec![wrong]));
    }
    let key = once::key(fields.get("key").and_then(Value::as_str))?;
    let to = fields.get("to").and_then(Value::as_str).unwrap_or_default();
    let found = deeds::deeds().into_iter().find_map(|deed| Some((deed, deed.names(to)?)));
    let Some((deed, names)) = found else {
        let right = "Name one that takes a key with POST, such as /api/v1/stations/qua/use.";
        return Err(Problem::unfit(vec![Wrong::field("to", format!("\"{to}\" is no such address"), right)]));
    };
    let Some(body) = fields.get("body").and_then(Value::as_object) else {
        return Err(Problem::unfit(vec![Wrong::field("body", "There is no body", "Give an object.")]));
    };
    Ok((key, deed, names, body.clone()))
}
