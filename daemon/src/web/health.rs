//! Whether the service can be relied on now, for whatever keeps or watches it.

use std::time::Duration;

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde_json::json;

use super::Web;
use super::api::Json;
use crate::alarms;
use crate::pulse;
use crate::sending::{self, Cause};
use crate::store::StoreError;

/// A sweep comes every half minute; one older than this is late.
const FRESH: Duration = Duration::from_mins(5);

/// What was looked at, and whether it is well.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Found {
    clock: bool,
    alarms: Vec<String>,
}

async fn look(web: &Web) -> Result<Found, StoreError> {
    let store = &web.desk.store;
    store.head().await?;
    let held = sending::all_held(store).await?;
    let alarms = alarms::standing(store).await?;
    Ok(Found {
        clock: !held.iter().any(|held| held.cause == Cause::Clock),
        alarms: alarms.into_iter().map(|alarm| alarm.about).collect(),
    })
}

/// Ready: the store answers, the last sweep is fresh and the clock is believed; what is not, is named. Alarms that
/// stand are named beside it: a page that tells of them must stay within reach.
pub(super) async fn ready(web: &Web) -> Response {
    let found = look(web).await;
    let store = found.is_ok();
    let found = found.unwrap_or_default();
    // The demo's clock stands still, and it sweeps once.
    let swept = web.door.is_demo() || pulse::last_sweep().is_some_and(|(age, _)| age < FRESH);
    let ready = store && swept && found.clock;
    let told = json!({
        "ready": ready, "store": store, "sweep": swept, "clock": store && found.clock, "alarms": found.alarms,
    });
    let status = if ready { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    (status, Json(told)).into_response()
}
