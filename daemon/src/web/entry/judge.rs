//! Readings judged as they are typed. It records nothing.

use std::collections::HashMap;

use axum::response::Response;
use policies::assess::Verdict;
use serde::Serialize;

use super::doing::Doing;
use crate::web::fault::Fault;
use crate::web::queue::json;
use crate::web::visit::Visit;

/// What the criteria say.
#[derive(Serialize)]
struct Said {
    /// `accept`, `watch` or `discard`; empty where nothing can be judged.
    verdict: String,
    /// What is said, a line each.
    says: Vec<String>,
    /// What is wrong with a reading.
    wrong: Vec<String>,
}

/// Judges what the address brings.
///
/// # Errors
/// No rule of that name, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let web = &visit.web;
    let asked: HashMap<String, String> = visit.pairs().into_iter().collect();
    let cell = |name: &str| asked.get(name).map(|text| text.trim().to_owned()).unwrap_or_default();
    let Some(rule) = web.desk.set.find_rule(&cell("rule")).map(|id| web.desk.set.rule(id)) else {
        return Err(Fault::asked("No such rule.", "Name item and rule as the form does."));
    };
    let mut doing = Doing::of(rule, &cell("item"), |name| match name {
        "at" | "by" | "certificate" | "note" => String::new(),
        // Nothing is decided yet, so that nothing but the readings can be wrong.
        "outcome" => "failed".to_owned(),
        name => cell(name),
    });
    "judged".clone_into(&mut doing.key);
    doing.at = web.desk.now().timestamp().to_string();
    if doing.readings.is_empty() {
        return json(&Said { verdict: String::new(), says: Vec::new(), wrong: Vec::new() });
    }
    let looked = doing.look_now(web).await?;
    let wrong = looked.faults.iter().filter(|fault| fault.column == "measurements");
    let said = Said {
        verdict: looked.verdict.as_ref().map(Verdict::to_string).unwrap_or_default(),
        wrong: wrong
            .map(|fault| fault.message.replace(", add --confirm-reading", ", say so below"))
            .collect(),
        says: looked.says,
    };
    json(&said)
}
