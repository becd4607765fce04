//! Tables of what the rules say of the records: dates, readiness, doubts, holds, loans, defects.

use std::sync::Arc;

use policies::due::Evaluator;
use policies::facts::Fleet;
use serde::Serialize;

use super::{ALL, HOUSE, Placed, Replay, Table, placed, replay, value};
use crate::due_list::{self, COLUMNS, Wanted};
use crate::examine::defects;
use crate::fitness::{self, papers};
use crate::holds::Words;
use crate::items::loans;
use crate::records::{Defect, Loan};
use crate::web::api::call::Call;
use crate::web::api::problem::Problem;
use crate::{doubts, kept_dates};

const DUE: Table = Table {
    name: "due",
    need: HOUSE,
    says: "The due table: every rule that applies to every item, sorted by date",
    columns: &COLUMNS,
    by: &["station", "item", "rule", "standing", "kind"],
    replays: true,
    marked: true,
    rows: |call| Box::pin(due(call)),
};
const READINESS: Table = Table {
    name: "readiness",
    says: "Which stations can launch by the state of their gear, and why not",
    columns: &["station", "readiness", "reasons", "doubts", "back_on"],
    by: &["station", "readiness"],
    rows: |call| Box::pin(readiness(call)),
    ..DUE
};
const DOUBTS: Table = Table {
    name: "doubts",
    says: "Open doubts in the logs, by the keys under which they are settled",
    columns: &[
        "key",
        "station",
        "item",
        "says",
        "moves",
        "first",
        "second",
        "answer",
        "by",
        "settled_on",
        "note",
    ],
    by: &["station", "item"],
    rows: |call| Box::pin(doubtful(call, false)),
    ..DUE
};
const DOUBTS_SETTLED: Table = Table {
    name: "doubts/settled",
    says: "Doubts that were settled, and how",
    columns: &[
        "key",
        "station",
        "item",
        "says",
        "moves",
        "first",
        "second",
        "answer",
        "by",
        "settled_on",
        "note",
    ],
    by: &["station", "item", "answer"],
    rows: |call| Box::pin(doubtful(call, true)),
    ..DUE
};
const HOLDS: Table = Table {
    name: "holds",
    says: "Holds after shock loads, overloads and groundings: each item that bore it, and what clears it",
    columns: &["station", "at", "event", "load_kn", "standing", "open", "says", "items", "used"],
    by: &["station", "standing"],
    rows: |call| Box::pin(holds(call)),
    ..DUE
};
const LOANS: Table = Table {
    name: "loans",
    need: ALL,
    says: "Gear that a station has of another",
    columns: &["item", "kind", "lender", "user", "host", "since", "used", "until", "standing"],
    by: &["item", "lender", "user", "standing"],
    rows: |call| Box::pin(lent(call)),
    ..DUE
};
const DEFECTS_OPEN: Table = Table {
    name: "defects/open",
    need: ALL,
    says: "Open defects of gear in service, with the days by which they could be a danger",
    columns: &[
        "defect",
        "station",
        "item",
        "report",
        "found_on",
        "what",
        "danger",
        "by_date",
        "stops_launch",
        "remedy",
    ],
    by: &["station", "item", "report"],
    rows: |call| Box::pin(defective(call)),
    ..DUE
};
const CORRECTIONS_WAITING: Table = Table {
    name: "corrections/waiting",
    says: "Dates that a correction would make later, and that wait for an engineer",
    columns: &["station", "item", "rule", "corrected", "stands", "cause"],
    by: &["station", "item", "rule"],
    rows: |call| Box::pin(waiting(call)),
    ..DUE
};

pub(super) const TABLES: [Table; 8] =
    [DUE, READINESS, DOUBTS, DOUBTS_SETTLED, HOLDS, LOANS, DEFECTS_OPEN, CORRECTIONS_WAITING];

/// Looks at the fleet as it was known: the warm one, unless an earlier knowledge is asked for.
pub(super) async fn fleet<T>(
    call: &Call,
    asked: Replay,
    look: impl FnOnce(&Fleet) -> T,
) -> Result<T, Problem> {
    let desk = &call.web().desk;
    match asked.known_before {
        None => Ok(desk.with_fleet(look).await?),
        known => Ok(look(&desk.store.fleet(&desk.set, known).await?.fleet)),
    }
}

fn each<T: Serialize, const N: usize>(rows: &[T], by: [&str; N]) -> Result<Vec<Placed>, Problem> {
    rows.iter().map(|row| Ok(placed(value(row)?, by))).collect()
}

async fn due(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let (asked, desk) = (replay(&call)?, &call.web().desk);
    let own = |name| call.asked(name).map(str::to_owned);
    let wanted = Wanted { station: own("station"), item: own("item"), rule: own("rule") };
    let lines = fleet(&call, asked, |fleet| due_list::lines(&desk.set, fleet, asked.judged, &wanted)).await?;
    let place = |line: &due_list::Line| {
        let first = [u8::from(line.because != "no base"), u8::from(line.due_on.is_empty())];
        format!("{first:?}\u{1}{}\u{1}{}\u{1}{}\u{1}{}", line.due_on, line.station, line.item, line.rule)
    };
    lines.iter().map(|line| Ok(Placed { place: place(line), row: value(line)? })).collect()
}

async fn readiness(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let (asked, desk) = (replay(&call)?, &call.web().desk);
    let rows = papers(&desk.store, asked.known_before).await?;
    let look = |fleet: &Fleet| fitness::lines(&desk.set, fleet, asked.judged, &rows.of(&desk.set, fleet));
    each(&fleet(&call, asked, look).await?, ["station"])
}

async fn doubtful(call: Arc<Call>, settled: bool) -> Result<Vec<Placed>, Problem> {
    let (asked, desk) = (replay(&call)?, &call.web().desk);
    let fleet = desk.store.fleet(&desk.set, asked.known_before).await?.fleet;
    let (set, store, station) = (&desk.set, &desk.store, call.asked("station"));
    let found = if settled {
        doubts::settled_lines(set, &fleet, store, asked.judged, asked.known_before, station).await?
    } else {
        doubts::lines(set, &fleet, store, asked.judged, asked.known_before, station).await?
    };
    each(&found, ["key"])
}

async fn holds(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let (asked, desk) = (replay(&call)?, &call.web().desk);
    let look = |fleet: &Fleet| {
        let evaluator = Evaluator::without_forecasts(&desk.set, fleet, asked.judged);
        let words = Words { set: &desk.set, fleet, evaluator: &evaluator };
        evaluator.holds().iter().map(|hold| words.line(hold)).collect::<Vec<_>>()
    };
    each(&fleet(&call, asked, look).await?, ["at", "station", "event"])
}

async fn lent(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let (asked, desk) = (replay(&call)?, &call.web().desk);
    let agreed = desk.store.newest_known::<Loan>(asked.known_before).await?;
    let look = |fleet: &Fleet| loans::loans(&desk.set, fleet, agreed.values(), asked.judged, None);
    each(&fleet(&call, asked, look).await?, ["item", "since"])
}

async fn defective(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let (asked, desk) = (replay(&call)?, &call.web().desk);
    let rows = desk.store.newest_known::<Defect>(asked.known_before).await?;
    let look = |fleet: &Fleet| {
        let found = defects::of_fleet(fleet, rows.values());
        defects::open(&desk.set, fleet, asked.judged, &found, None)
    };
    each(&fleet(&call, asked, look).await?, ["defect"])
}

async fn waiting(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let (asked, desk) = (replay(&call)?, &call.web().desk);
    let fleet = desk.store.fleet(&desk.set, asked.known_before).await?.fleet;
    each(&kept_dates::waiting(&desk.store, &desk.set, &fleet, asked.judged).await?, ["item", "rule"])
}
