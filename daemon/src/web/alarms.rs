//! The alarms that stand while a page is made: every page of records says so on top, and readiness does.

use super::Web;
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
