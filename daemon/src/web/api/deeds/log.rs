//! Use and holds: launches, recoveries, readings and counts of any meter; shocks, overloads and groundings.

use policies::amount::Amount;
use policies::entry::Entry;
use policies::load_path::Operation;
use serde_json::{Value, json};

use super::{Deed, Doing};
use crate::desk::DeskError;
use crate::holds::{self, Happened};
use crate::logging::{self, Asked};
use crate::records::Usage;
use crate::rights::Act;
use crate::web::api::ask::{Field, Sort, needed, optional};
use crate::web::api::problem::{Problem, Wrong};
use crate::web::routes::At;

pub(super) const AT: Field =
    optional("at", Sort::Text, "when: RFC 3339, a local time or a local date; now where left out");
const HOSTS: Field =
    optional("hosts", Sort::Texts, "tags of the gear that bore it, where not the station's own");
pub(super) const NOTE: Field = optional("note", Sort::Text, "a note");

const USE: &[Field] = &[
    needed("what", Sort::Word(&["launch", "recovery", "reading", "count"]), "what happened"),
    optional("pulls", Sort::Decimal, "winch pulls of a recovery; 1 where left out"),
    optional("meter", Sort::Text, "the meter that was read or counted"),
    optional("amount", Sort::Decimal, "what the dial says, or how many were counted"),
    AT,
    HOSTS,
    NOTE,
];
const HOLD: &[Field] = &[
    needed("what", Sort::Word(&["shock", "overload", "grounding"]), "what happened"),
    optional(
        "during",
        Sort::Word(&["launch", "recovery"]),
        "in which operation; in either where nobody says",
    ),
    optional("load_kn", Sort::Decimal, "the greatest load in kN"),
    optional("rated_kn", Sort::Decimal, "the rated load of the line in kN"),
    AT,
    HOSTS,
    NOTE,
];

pub(super) fn deeds() -> Vec<Deed> {
    vec![
        Deed {
            path: "/stations/{station}/use",
            act: Act::LogUse,
            at: At::Station,
            id: "log_use",
            says: "Log a launch, a recovery, a reading, or a count of any meter",
            fields: USE,
            run: |doing| Box::pin(log(doing)),
        },
        Deed {
            path: "/stations/{station}/holds",
            act: Act::LogUse,
            at: At::Station,
            id: "record_hold",
            says: "Record a shock load, an overload or a grounding: what bore it is on hold until it is cleared",
            fields: HOLD,
            run: |doing| Box::pin(hold(doing)),
        },
    ]
}

/// A decimal that is given.
fn amount(doing: &Doing, name: &str) -> Option<Amount> {
    doing.given.decimal(name).and_then(|text| text.parse().ok())
}

fn entry(doing: &Doing) -> Result<Entry, Problem> {
    let what = doing.given.raw("what");
    let missing =
        |name: &str, right: &str| Wrong::field(name, format!("\"{name}\" is missing for a {what}"), right);
    match what {
        "launch" => Ok(Entry::Launch),
        "recovery" => Ok(Entry::Recovery { pulls: amount(doing, "pulls").unwrap_or(Amount::whole(1)) }),
        _ => match (doing.given.owned("meter"), amount(doing, "amount")) {
            (Some(meter), Some(reading)) if what == "reading" => Ok(Entry::Reading { meter, reading }),
            (Some(meter), Some(count)) => Ok(Entry::Count { meter, count }),
            (meter, amount) => {
                let meter = meter.is_none().then(|| missing("meter", "Name a meter of the gear."));
                let amount = amount.is_none().then(|| missing("amount", "Give what was read or counted."));
                Err(Problem::unfit(meter.into_iter().chain(amount).collect()))
            }
        },
    }
}

async fn log(doing: Doing) -> Result<Value, Problem> {
    let (entry, desk) = (entry(&doing)?, doing.desk());
    let (station, at, hosts, now) = (doing.name(0), doing.when(), doing.given.texts("hosts"), desk.now());
    let asked = Asked {
        station: &station,
        at: Some(&at),
        hosts: &hosts,
        key: Some(&doing.key),
        note: doing.given.text("note"),
    };
    let rows = desk.with_fleet(|fleet| logging::rows(&desk.set, fleet, now, &asked, &entry)).await?;
    let rows = rows.map_err(DeskError::from)?;
    desk.log_use_by(&rows, doing.me()).await?;
    Ok(told(&doing, &format!("{} at {station}", doing.given.raw("what")), &rows))
}

async fn hold(doing: Doing) -> Result<Value, Problem> {
    let desk = doing.desk();
    let (station, at, hosts, now) = (doing.name(0), doing.when(), doing.given.texts("hosts"), desk.now());
    let what = doing.given.raw("what");
    let asked = holds::Asked {
        happened: match what {
            "shock" => Happened::Shock,
            "overload" => Happened::Overload,
            _ => Happened::Grounding,
        },
        station: &station,
        during: match doing.given.text("during") {
            Some("launch") => Some(Operation::Launch),
            Some(_) => Some(Operation::Recovery),
            None => None,
        },
        at: Some(&at),
        load_kn: amount(&doing, "load_kn"),
        rated_kn: amount(&doing, "rated_kn"),
        hosts: &hosts,
        key: Some(&doing.key),
        by: Some(doing.me()),
        note: doing.given.text("note"),
    };
    let recording = desk.with_fleet(|fleet| holds::recording(&desk.set, fleet, now, &asked)).await??;
    desk.log_use_by(&recording.rows, doing.me()).await?;
    Ok(told(&doing, &format!("{what} at {station}"), &recording.rows))
}

/// The answer, with the rows of use that stand for it.
fn told(doing: &Doing, what: &str, rows: &[Usage]) -> Value {
    let text = |millionths: Option<i64>| millionths.map(|amount| Amount::from_millionths(amount).to_string());
    let rows: Vec<Value> = rows
        .iter()
        .map(|row| {
            json!({
                "key": row.key, "host": row.host, "meter": row.meter, "count": text(row.count),
                "reading": text(row.reading),
            })
        })
        .collect();
    let mut told = doing.done(what, &[]);
    told["rows"] = Value::Array(rows);
    told
}
