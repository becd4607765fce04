//! Tables of the service's own: notices, and drafts of examination reports.

use std::sync::Arc;

use policies::zone::Instant;
use serde_json::json;

use super::{Placed, Table, placed};
use crate::records::{ExaminationDraft, Item};
use crate::rights::{self, Act, Place};
use crate::store::outbox::Listed;
use crate::web::api::call::Call;
use crate::web::api::page::mark_of;
use crate::web::api::problem::Problem;
use crate::web::routes::Need;

/// So many of the newest notices are listed.
const NEWEST: u64 = 1_000;

pub(super) fn tables() -> [Table; 2] {
    [
        Table {
            name: "notices",
            need: Need::Does(Act::KeepPeople),
            says: "The newest 1,000 notices: what was, is and will be sent, and what was answered",
            columns: &[
                "composed_at",
                "number",
                "kind",
                "occasion",
                "person",
                "recipient",
                "subject",
                "state",
                "attempts",
                "urgent",
                "sent_at",
                "last_error",
                "supersedes",
                "superseded_by",
                "lines",
                "answers",
            ],
            by: &["state", "person", "kind", "number"],
            replays: false,
            marked: false,
            rows: |call| Box::pin(notices(call)),
        },
        Table {
            name: "drafts",
            need: Need::Does(Act::DraftExamination),
            says: "Examination reports that are not signed yet",
            columns: &["number", "item", "faults", "etag"],
            by: &["number", "item"],
            replays: false,
            marked: true,
            rows: |call| Box::pin(drafts(call)),
        },
    ]
}

async fn notices(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let listed = call.web().desk.store.notices(None, NEWEST).await?;
    Ok(listed.iter().map(notice).collect())
}

fn text(at: Instant) -> String {
    at.timestamp().to_string()
}

fn notice(one: &Listed) -> Placed {
    let lines: Vec<String> =
        one.lines.iter().map(|told| format!("{} {}: {}", told.item, told.rule, told.stage)).collect();
    let answers: Vec<String> = one
        .answers
        .iter()
        .map(|answer| format!("{} {} by {}", text(answer.said_at), answer.word, answer.sender))
        .collect();
    let row = json!({
        "composed_at": text(one.composed_at), "number": one.number, "kind": one.kind, "occasion": one.occasion,
        "person": one.person, "recipient": one.recipient, "subject": one.subject, "state": one.state,
        "attempts": one.attempts, "urgent": one.urgent, "sent_at": one.sent_at.map(text),
        "last_error": one.last_error, "supersedes": one.supersedes, "superseded_by": one.superseded_by,
        "lines": lines, "answers": answers,
    });
    placed(row, ["composed_at", "number"])
}

async fn drafts(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let drafts = call.web().desk.store.newest::<ExaminationDraft>().await?;
    let items = call.web().desk.store.newest::<Item>().await?;
    let seen = call.seen()?;
    // Whose draft somebody may not write they do not read either.
    let own = |draft: &&ExaminationDraft| {
        let item = draft.item.as_ref().and_then(|tag| items.get(tag));
        let station = item.and_then(|item| item.station.as_deref());
        rights::may(&seen.who, Act::DraftExamination, Place::Of(station)).is_ok()
    };
    let waiting = drafts.values().filter(|draft| !draft.void && !draft.signed).filter(own);
    let row = |draft: &ExaminationDraft| {
        json!({
            "number": draft.key, "item": draft.item, "faults": draft.faults, "etag": mark_of(&draft.text),
        })
    };
    Ok(waiting.map(|draft| placed(row(draft), ["number"])).collect())
}
