//! Tables of the policy set in force: kinds and rules.

use std::sync::Arc;

use policies::kinds::Kind;
use policies::load::PolicySet;
use policies::rule::Rule;
use serde_json::{Value, json};

use super::{Placed, Table, placed};
use crate::rights::Act;
use crate::web::api::call::Call;
use crate::web::api::problem::Problem;
use crate::web::routes::Need;
use crate::web::words;

pub(super) fn tables() -> [Table; 2] {
    let table = Table {
        name: "rules",
        need: Need::Reads(Act::ViewRules),
        says: "Every rule in force, with its authority and source",
        columns: &[
            "rule",
            "title",
            "kind",
            "work",
            "clauses",
            "by",
            "overdue",
            "authority",
            "source",
            "before_use",
            "covers",
            "records",
        ],
        by: &["rule", "kind", "work", "authority", "q"],
        replays: false,
        marked: true,
        rows: |call| Box::pin(all(call)),
    };
    let kinds = Table {
        name: "kinds",
        says: "What gear is: kinds, with their attributes, meters and positions",
        columns: &["kind", "attributes", "meters", "positions"],
        by: &["kind"],
        rows: |call| Box::pin(kinds(call)),
        ..table
    };
    [table, kinds]
}

#[expect(clippy::unused_async, reason = "every table is read by such a function")]
async fn all(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let set = &call.web().desk.set;
    Ok(set.rules.iter().map(|rule| placed(told(set, rule), ["rule"])).collect())
}

/// A rule in words.
pub(super) fn told(set: &PolicySet, rule: &Rule) -> Value {
    let covers: Vec<&str> = rule.covers.iter().map(|id| set.rule(*id).id.as_str()).collect();
    let records: Vec<String> = rule
        .records
        .iter()
        .map(|reading| match &reading.unit {
            Some(unit) => format!("{} ({unit})", reading.name),
            None => reading.name.clone(),
        })
        .collect();
    json!({
        "rule": rule.id, "title": rule.title, "kind": set.kinds.kind(rule.applies_to.kind).name,
        "work": rule.work.word(), "clauses": words::clauses(set, rule), "by": rule.by, "overdue": rule.overdue.word(),
        "authority": rule.authority.word(), "source": rule.source, "before_use": rule.before_use, "covers": covers,
        "records": records,
    })
}

#[expect(clippy::unused_async, reason = "every table is read by such a function")]
async fn kinds(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let set = &call.web().desk.set;
    Ok(set.kinds.kinds.iter().map(|kind| placed(kind_told(set, kind), ["kind"])).collect())
}

fn kind_told(set: &PolicySet, kind: &Kind) -> Value {
    let attributes: Vec<String> = kind.attributes.iter().map(policies::kinds::Attribute::column).collect();
    let meters: Vec<&str> = kind.meters.iter().map(|meter| set.kinds.meter_name(meter.id)).collect();
    let positions: Vec<&str> = kind.positions.iter().map(|position| position.name.as_str()).collect();
    json!({ "kind": kind.name, "attributes": attributes, "meters": meters, "positions": positions })
}
