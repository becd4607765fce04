//! The alarms that stand while a page is made: every page of records says so on top, and readiness does.

use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::Web;
use super::visit::Visit;
use crate::alarms::{self, Alarm};

tokio::task_local! {
    /// Read once for a request.
    static STANDING: Vec<String>;
}

/// Makes an answer while what stands is known. Where that cannot be read, the page itself will say why.
pub(super) async fn known<T>(web: &Web, answer: impl Future<Output = T>) -> T {
    let standing = alarms::standing(&web.desk.store).await.unwrap_or_default();
    STANDING.scope(standing.iter().map(said).collect(), answer).await
}

/// What stands, for the page that is being made.
pub(super) fn standing() -> Vec<String> {
    STANDING.try_with(Vec::clone).unwrap_or_default()
}

fn said(alarm: &Alarm) -> String {
    let since = alarm.since.timestamp().strftime("%-d %b %Y %H:%M UTC");
    format!("{} (since {since})", alarm.text)
}

/// `/health/ready`: whether records can be read, and a line for each alarm that stands.
pub(super) async fn ready(visit: Visit) -> Response {
    match alarms::standing(&visit.web.desk.store).await {
        Ok(standing) => {
            let line = |alarm: &Alarm| format!("alarm {}: {}\n", alarm.about, said(alarm));
            let lines: String = standing.iter().map(line).collect();
            format!("ready\n{lines}").into_response()
        }
        Err(error) => (StatusCode::SERVICE_UNAVAILABLE, format!("not ready: {error}\n")).into_response(),
    }
}
