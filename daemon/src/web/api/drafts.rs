//! Examination reports before they are signed: kept as they are written, with the version that a change starts from;
//! and the signature, which is a person's.

use axum::http::Method;
use axum::response::{IntoResponse, Response};
use serde_json::{Value, json};

use super::ask::{Field, Given, Sort, needed, optional};
use super::call::{Call, Sent};
use super::document::{free, object};
use super::endpoint::{Answering, Endpoint, header};
use super::json::Json;
use super::page;
use super::problem::{Problem, Spot, Wrong};
use crate::accounts::Come;
use crate::desk::{Drafted, Signing};
use crate::examine::{self, FieldFault, Form, told};
use crate::records::{ExaminationDraft, Item};
use crate::rights::Act;
use crate::web::routes::{At, Need};

const TEXT: [Field; 1] =
    [needed("text", Sort::Lines, "the form, as the form of the item and rule is given out")];
const SIGN: [Field; 1] =
    [optional("decision", Sort::Text, "why it passes all the same, where the readings are judged discard")];

pub(super) fn endpoints() -> Vec<Endpoint> {
    let drafts = (Act::DraftExamination, At::Page);
    let route = |method, path: &str| (method, format!("/api/v1/{path}"));
    vec![
        Endpoint::reads(
            "/api/v1/items/{tag}/form/{rule}".to_owned(),
            (Need::Reads(Act::ViewItem), At::Region),
            ("form", "The form of a report, filled in as far as the register goes"),
            object(&["text"], &[], &[]),
            |call| -> Answering { Box::pin(form(call)) },
        ),
        Endpoint::reads(
            "/api/v1/drafts/{number}".to_owned(),
            (Need::Does(Act::DraftExamination), At::Page),
            ("draft", "One draft, with its ETag"),
            free(),
            |call| -> Answering { Box::pin(read(call)) },
        ),
        Endpoint::does(
            route(Method::PUT, "drafts/{number}"),
            drafts,
            ("keep_draft", "Keep a draft, whatever is wrong with it, and learn what is"),
            (TEXT.to_vec(), object(&["number", "etag"], &[], &["faults", "lacks", "notes"])),
            |sent| -> Answering { Box::pin(keep(sent)) },
        )
        .asking([
            header("If-Match", "The ETag of the draft that is changed; needed where there is one."),
            header("If-None-Match", "* for a draft that is to be new."),
        ])
        .also(&[412, 428]),
        Endpoint::does(
            route(Method::POST, "drafts/{number}/sign"),
            (Act::SignExamination, At::Page),
            (
                "sign_draft",
                "Sign a draft: a person's, who signed in within five minutes; a token does not sign",
            ),
            (SIGN.to_vec(), free()),
            |sent| -> Answering { Box::pin(sign(sent)) },
        ),
    ]
}

async fn form(call: Call) -> Result<Response, Problem> {
    call.knows(&[])?;
    let (desk, tag, rule) = (&call.web().desk, call.name(0), call.name(1));
    let register = told::records(&desk.store).await?;
    let text = desk.with_fleet(|fleet| {
        let (item, rule) = (fleet.find(tag)?, desk.set.find_rule(rule)?);
        let fits = desk.set.rule(rule).applies_to.kind == fleet.item(item).kind;
        fits.then(|| examine::template(&desk.set, &register, fleet, item, rule))
    });
    match text.await? {
        Some(text) => Ok(Json(json!({ "text": text })).into_response()),
        None => Err(Problem::missing(format!("\"{rule}\" is no rule for \"{tag}\"; see /api/v1/due?item=…"))),
    }
}

fn draft_json(draft: &ExaminationDraft) -> Value {
    json!({
        "number": draft.key, "item": draft.item, "text": draft.text, "faults": draft.faults, "signed": draft.signed,
        "etag": page::mark_of(&draft.text),
    })
}

/// Whether somebody may draft or sign for the gear that a form names.
async fn may(call: &Call, act: Act, tag: Option<&str>) -> Result<(), Problem> {
    let item = match tag {
        Some(tag) => call.web().desk.store.current::<Item>(tag).await?,
        None => None,
    };
    call.may(act, item.as_ref().and_then(|item| item.station.as_deref()))
}

async fn stored(call: &Call) -> Result<Option<ExaminationDraft>, Problem> {
    let found = call.web().desk.store.current::<ExaminationDraft>(call.name(0)).await?;
    Ok(found.filter(|draft| !draft.void))
}

async fn read(call: Call) -> Result<Response, Problem> {
    call.knows(&[])?;
    let Some(draft) = stored(&call).await? else {
        return Err(Problem::missing(format!("No draft has the number \"{}\".", call.name(0))));
    };
    may(&call, Act::DraftExamination, draft.item.as_deref()).await?;
    let mark = page::mark_of(&draft.text);
    if let Some(same) = page::unchanged(&call, &mark) {
        return Ok(same);
    }
    Ok(page::marked(Json(draft_json(&draft)).into_response(), &mark))
}

/// Whether a draft may be written over what is stored: it is the version that the caller read, or says the same.
fn holds(call: &Call, text: &str, stored: Option<&ExaminationDraft>) -> bool {
    let mark = stored.filter(|draft| !draft.void).map(|draft| page::mark_of(&draft.text));
    match (mark, call.header("if-match"), call.header("if-none-match")) {
        (Some(mark), _, _) if mark == page::mark_of(text) => true,
        // A star names no version: whoever writes over a draft has read it.
        (Some(mark), Some(header), _) => header.trim() != "*" && page::names(header, &mark),
        (Some(_), None, _) | (None, Some(_), _) => false,
        (None, None, _) => true,
    }
}

async fn keep(sent: Sent) -> Result<Response, Problem> {
    let Sent { call, body } = sent;
    call.knows(&[])?;
    let given = Given::read(body, &TEXT)?;
    let text = given.raw("text").to_owned();
    let form = Form::read(&text);
    if form.cell("number") != call.name(0) {
        let wrong = format!("The form bears the number \"{}\"", form.cell("number"));
        let right = format!("Write number = \"{}\" in it, or send it to its own address.", call.name(0));
        return Err(Problem::unfit(vec![Wrong::field("text", wrong, right)]));
    }
    may(&call, Act::DraftExamination, form.cells.get("item").map(String::as_str)).await?;
    // What stands under the number may be of other gear, and the answer may show it.
    if let Some(draft) = stored(&call).await? {
        may(&call, Act::DraftExamination, draft.item.as_deref()).await?;
    }
    let kept = call.web().desk.draft_if(&text, call.name(0), |stored| holds(&call, &text, stored)).await?;
    let Drafted { number, faults, lacks, notes } = match kept {
        Ok(kept) => kept,
        Err(stored) => return Err(changed(&call, stored.as_ref(), &text)),
    };
    let mark = page::mark_of(&text);
    let told = json!({
        "number": number, "etag": mark, "faults": fields(&faults), "lacks": fields(&lacks), "notes": notes,
    });
    Ok(page::marked(Json(told).into_response(), &mark))
}

/// Both versions, to be put together.
fn changed(call: &Call, stored: Option<&ExaminationDraft>, text: &str) -> Problem {
    let named = call.header("if-match").is_some() || call.header("if-none-match").is_some();
    let wrong = Wrong {
        spot: Spot::Header("if-match"),
        detail: "The draft is not the version that was changed".to_owned(),
        right: "Read it again, put the two together, and name its ETag.".to_owned(),
    };
    let (sort, detail) = if named {
        ("changed", "Somebody else changed this draft meanwhile; nothing of it is lost.")
    } else {
        ("unconditional", "There is a draft of this number already.")
    };
    let problem = Problem::new(sort, detail).with(vec![wrong]);
    let stored = stored.map_or(Value::Null, draft_json);
    problem.beside("stored", stored).beside("yours", json!({ "text": text }))
}

fn fields(faults: &[FieldFault]) -> Vec<Value> {
    faults.iter().map(|fault| json!({ "field": fault.field, "detail": fault.message })).collect()
}

async fn sign(sent: Sent) -> Result<Response, Problem> {
    let Sent { call, body } = sent;
    call.knows(&[])?;
    let given = Given::read(body, &SIGN)?;
    let seen = call.seen()?;
    if matches!(seen.by, Come::Token(_)) {
        return Err(Problem::new(
            "not-a-person",
            "A program's token does not sign; the person signs on the page.",
        ));
    }
    if !call.web().door.accounts.is_fresh(seen) {
        let text =
            "Who signs has signed in within five minutes; sign in again under /again, then send this again.";
        return Err(Problem::new("forbidden", text));
    }
    let Some(draft) = stored(&call).await? else {
        return Err(Problem::missing(format!("No draft has the number \"{}\".", call.name(0))));
    };
    may(&call, Act::SignExamination, draft.item.as_deref()).await?;
    let by = seen.who.person.key.clone();
    let signing = Signing { number: draft.key, by, decision: given.owned("decision") };
    let done = call.web().desk.sign(&signing).await?;
    let dangers: Vec<&str> = done.dangers.iter().map(|defect| defect.key.as_str()).collect();
    let told = json!({
        "number": done.examination.key, "item": done.examination.item, "rule": done.examination.rule,
        "outcome": done.outcome, "not_accepted": done.examination.not_accepted, "corrected": done.corrected,
        "dangers": dangers, "warnings": done.warnings,
    });
    Ok((axum::http::StatusCode::CREATED, Json(told)).into_response())
}
