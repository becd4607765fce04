//! What is read one at a time: an item, its history, why something is due, a rule, a report, the chain, the odds.

use axum::response::{IntoResponse, Response};
use policies::due::Evaluator;
use serde_json::{Value, json};

use super::{ALL, HOUSE, REPLAY, UNCHANGED, judged, rules, value};
use crate::cli::odds_learnt;
use crate::examine::told;
use crate::items::Look;
use crate::items::history::history;
use crate::records::Work;
use crate::rights::Act;
use crate::store::current::Newest;
use crate::web::api::call::Call;
use crate::web::api::document::{free, object};
use crate::web::api::endpoint::{Answering, Asked, Endpoint, Of};
use crate::web::api::json::Json;
use crate::web::api::page;
use crate::web::api::problem::{Problem, Wrong};
use crate::web::routes::{At, Need};
use crate::why::Why;

/// Changes of one answer.
const CHANGES: u64 = 500;
const AFTER: Asked = Asked {
    name: "after",
    says: "Only links behind this number; with the last seq that was read, what happened since.",
    of: Of::Number(usize::MAX),
    needed: false,
};

pub(super) fn endpoints() -> Vec<Endpoint> {
    let reads = |need, path: &str, id, says, schema, read: fn(Call) -> Answering| {
        Endpoint::reads(format!("/api/v1/{path}"), (need, At::Region), (id, says), schema, read)
    };
    let replayed = |endpoint: Endpoint| endpoint.asking(REPLAY).asking([UNCHANGED]).also(&[304]);
    vec![
        reads(ALL, "items/{tag}", "item", "One item, with its attributes", free(), |call| {
            Box::pin(async move { marked(call, &[], item).await })
        })
        .asking([UNCHANGED])
        .also(&[304]),
        replayed(reads(
            ALL,
            "items/{tag}/history",
            "history",
            "Where an item has been and what was done to it",
            free(),
            |call| Box::pin(async move { marked(call, &["as_of", "known_on"], item_history).await }),
        )),
        replayed(reads(
            ALL,
            "items/{tag}/why/{rule}",
            "why",
            "The whole derivation of one date",
            free(),
            |call| Box::pin(async move { marked(call, &["as_of", "known_on"], why).await }),
        )),
        reads(Need::Reads(Act::ViewRules), "rules/{rule}", "rule", "One rule", free(), |call| {
            Box::pin(async move { marked(call, &[], rule).await })
        })
        .asking([UNCHANGED])
        .also(&[304]),
        reads(
            ALL,
            "examinations/{number}",
            "examination",
            "One signed report, with its defects",
            free(),
            |call| Box::pin(async move { marked(call, &[], report).await }),
        )
        .asking([UNCHANGED])
        .also(&[304]),
        replayed(reads(
            HOUSE,
            "odds",
            "odds",
            "What the odds have learnt, and when gear will wear to its limits",
            free(),
            |call| Box::pin(async move { marked(call, &["as_of", "known_on"], odds).await }),
        )),
        reads(
            Need::Does(Act::ViewRegion),
            "chain",
            "chain",
            "The newest link of the record chain, and the links behind a number, 500 at most",
            object(&["hash"], &["seq"], &["changes"]),
            |call| Box::pin(chain(call)),
        )
        .asking([AFTER]),
    ]
}

/// Reads something that changes with the records, unless the caller has it already.
async fn marked<F: Future<Output = Result<Value, Problem>>>(
    call: Call,
    known: &[&str],
    read: impl FnOnce(std::sync::Arc<Call>) -> F,
) -> Result<Response, Problem> {
    call.knows(known)?;
    let mark = page::mark(&call).await?;
    if let Some(same) = page::unchanged(&call, &mark) {
        return Ok(same);
    }
    let told = read(std::sync::Arc::new(call)).await?;
    Ok(page::marked(Json(told).into_response(), &mark))
}

type Shared = std::sync::Arc<Call>;

async fn item(call: Shared) -> Result<Value, Problem> {
    let item = call.item(call.name(0)).await?;
    let attributes: serde_json::Map<String, Value> = crate::records::attributes(item.attributes.as_deref())
        .map(|(column, text)| (column.to_owned(), Value::String(text.to_owned())))
        .collect();
    Ok(json!({
        "item": item.key, "kind": item.kind, "station": item.station, "set": item.set_name, "serial": item.serial,
        "manufactured_on": item.manufactured_on, "entered_service_on": item.entered_service_on,
        "certificate": item.certificate, "part": item.part, "cut_from": item.cut_from, "quantity": item.quantity,
        "attributes": attributes,
    }))
}

async fn item_history(call: Shared) -> Result<Value, Problem> {
    let (asked, desk) = (call.replay()?, &call.web().desk);
    let item = call.item(call.name(0)).await?;
    let register = desk.store.register(asked.known_before).await?;
    if !register.items.contains_key(&item.key) {
        return Err(Problem::missing(format!("{} was not known then.", item.key)));
    }
    let look = Look::of(&desk.set, &register, desk.now());
    match history(&look, &item, asked.judged) {
        Some(history) => value(&history),
        None => {
            Err(Problem::missing(format!("The rules in force no longer know the kind \"{}\".", item.kind)))
        }
    }
}

async fn why(call: Shared) -> Result<Value, Problem> {
    let (asked, desk) = (call.replay()?, &call.web().desk);
    let (tag, rule) = (call.name(0), call.name(1));
    let Some(id) = desk.set.find_rule(rule) else {
        return Err(Problem::missing(format!("No rule is called \"{rule}\"; /api/v1/rules lists them.")));
    };
    let works: Newest<Work> = desk.store.newest_known(asked.known_before).await?;
    let told = judged::fleet(&call, asked, |fleet| {
        let item = fleet.find(tag)?;
        let facts = fleet.item(item);
        let station = fleet.station_of(facts).map(|station| &*station.slug);
        let evaluator = Evaluator::without_forecasts(&desk.set, fleet, asked.judged);
        let applies = evaluator.applies(facts, item, id, station) || evaluator.kept(item, id).is_some();
        let why = Why::of(&desk.set, fleet, asked.judged, tag, rule).filter(|_| applies);
        why.filter(|_| desk.set.rule(id).has_due_row()).map(|why| why.with_wear(works.values()).json())
    });
    told.await?.ok_or_else(|| {
        Problem::missing(format!("\"{rule}\" gives \"{tag}\" no due row; see /api/v1/due?item=…"))
    })
}

async fn rule(call: Shared) -> Result<Value, Problem> {
    let set = &call.web().desk.set;
    match set.find_rule(call.name(0)) {
        Some(id) => Ok(rules::told(set, set.rule(id))),
        None => Err(Problem::missing(format!(
            "No rule is called \"{}\"; /api/v1/rules lists them.",
            call.name(0)
        ))),
    }
}

async fn report(call: Shared) -> Result<Value, Problem> {
    let desk = &call.web().desk;
    let register = told::records(&desk.store).await?;
    let Some(report) = told::report(&desk.set, &register, call.name(0)) else {
        return Err(Problem::missing(format!("No signed report has the number \"{}\".", call.name(0))));
    };
    let fields: Vec<Value> =
        report.fields.iter().map(|(heading, text)| json!({ "heading": heading, "text": text })).collect();
    Ok(json!({
        "number": report.number, "item": report.item, "fields": fields, "defects": report.defects,
        "duties": report.duties, "accepted": report.accepted,
    }))
}

async fn odds(call: Shared) -> Result<Value, Problem> {
    let (asked, desk) = (call.replay()?, &call.web().desk);
    let works: Newest<Work> = desk.store.newest_known(asked.known_before).await?;
    judged::fleet(&call, asked, |fleet| odds_learnt(&desk.set, fleet, asked.day, works.values())).await
}

async fn chain(call: Call) -> Result<Response, Problem> {
    call.knows(&["after"])?;
    let after = call.asked("after").map(str::parse::<i64>).transpose();
    let Some(after) = after.ok().filter(|after| after.is_none_or(|after| after >= 0)) else {
        let wrong = Wrong::parameter("after", "This is no number of a link", "Give the seq of an answer.");
        return Err(Problem::unreadable(wrong));
    };
    let store = &call.web().desk.store;
    let head = store.head().await?;
    let links = match after {
        Some(after) => store.links_after(after, CHANGES).await?,
        None => Vec::new(),
    };
    let changes: Vec<Value> = links
        .into_iter()
        .map(|link| {
            let at = policies::zone::Instant(link.at).timestamp().to_string();
            json!({ "seq": link.seq, "at": at, "actor": link.actor, "action": link.action, "hash": link.hash })
        })
        .collect();
    Ok(Json(json!({ "seq": head.seq, "hash": head.hash, "changes": changes })).into_response())
}
