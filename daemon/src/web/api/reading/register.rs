//! Tables of the records themselves, in the columns of the register.

use std::sync::Arc;

use policies::zone::Instant;
use serde_json::{Map, Value};

use super::{ALL, HOUSE, Placed, Table, replay, value};
use crate::papers::{self, Wanted};
use crate::records::{
    Concession, Defect, Examination, Fitting, Item, Order, Part, Person, State, Station, Stock, Substitution,
    Usage, Work,
};
use crate::register::{Places, RegisterFile, sheet_of};
use crate::rights::Act;
use crate::store::current::Register;
use crate::web::api::call::Call;
use crate::web::api::problem::Problem;
use crate::web::routes::Need;

const STATIONS: Table = Table {
    name: "stations",
    need: HOUSE,
    says: "Stations",
    columns: &["station", "name", "time_zone", "latitude", "longitude", "flanks"],
    by: &["station"],
    replays: true,
    marked: true,
    rows: |call| Box::pin(records::<Station>(call)),
};
/// Whatever is read of gear.
const GEAR: Table = Table { need: ALL, ..STATIONS };
const ITEMS: Table = Table {
    name: "items",
    says: "Gear, with the columns of its attributes; q finds a tag, serial or certificate",
    columns: &[
        "item",
        "kind",
        "station",
        "set",
        "manufactured_on",
        "entered_service_on",
        "serial",
        "certificate",
        "part",
        "cut_from",
        "quantity",
        "opening_use",
        "taken_from",
        "taken_at",
    ],
    by: &["item", "kind", "station", "set", "part", "q"],
    rows: |call| Box::pin(records::<Item>(call)),
    ..GEAR
};
const FITTINGS: Table = Table {
    name: "fittings",
    says: "What was fitted to what, where and when",
    columns: &["item", "fitted_at", "host", "position", "removed_at"],
    by: &["item", "host", "position"],
    rows: |call| Box::pin(records::<Fitting>(call)),
    ..GEAR
};
const USE: Table = Table {
    name: "use",
    says: "Use as it was logged: counts and readings",
    columns: &["key", "host", "at", "meter", "count", "reading", "note"],
    by: &["host", "meter", "key"],
    rows: |call| Box::pin(records::<Usage>(call)),
    ..GEAR
};
const WORK: Table = Table {
    name: "work",
    says: "Work done, with its readings",
    columns: &["key", "item", "rule", "done_at", "outcome", "by", "certificate", "measurements", "note"],
    by: &["item", "rule", "outcome", "key"],
    rows: |call| Box::pin(records::<Work>(call)),
    ..GEAR
};
const STATES: Table = Table {
    name: "states",
    says: "Gear set aside, released, laid up and withdrawn",
    columns: &["key", "item", "at", "state", "by", "reason"],
    by: &["item", "state"],
    rows: |call| Box::pin(records::<State>(call)),
    ..GEAR
};
const CONCESSIONS: Table = Table {
    name: "concessions",
    says: "Rules waived for an item, for a time and under conditions",
    columns: &["key", "item", "rule", "from", "until", "conditions", "by", "second"],
    by: &["item", "rule", "key"],
    rows: |call| Box::pin(records::<Concession>(call)),
    ..GEAR
};
const CERTIFICATES: Table = Table {
    name: "certificates",
    says: "Certificates that are held, and whether they are valid",
    columns: &["key", "item", "number", "issuer", "issued_on", "valid_until", "standing", "file"],
    by: &["item", "number", "issuer", "standing"],
    rows: |call| Box::pin(certificates(call)),
    ..GEAR
};
const EXAMINATIONS: Table = Table {
    name: "examinations",
    says: "Signed examination reports",
    columns: &[
        "number",
        "item",
        "rule",
        "examined_on",
        "employer",
        "employer_address",
        "premises",
        "identity",
        "manufactured_on",
        "last_examined_on",
        "safe_working_load",
        "kind",
        "after_installation",
        "installed_correctly",
        "safe_to_operate",
        "repair_needed",
        "tests",
        "next_due",
        "examiner",
        "examiner_address",
        "qualification",
        "employed_by",
        "authenticated_by",
        "reported_on",
        "instrument",
        "calibration_due",
        "measurements",
        "judgement",
        "decision",
        "signed_by",
        "not_accepted",
        "remarks",
    ],
    by: &["item", "rule", "number"],
    rows: |call| Box::pin(records::<Examination>(call)),
    ..GEAR
};
const DEFECTS: Table = Table {
    name: "defects",
    says: "Defects that reports found, open and cleared",
    columns: &[
        "key",
        "report",
        "item",
        "part",
        "what",
        "danger",
        "by_date",
        "remedy",
        "found_on",
        "cleared_by",
        "cleared_on",
    ],
    by: &["item", "report"],
    rows: |call| Box::pin(records::<Defect>(call)),
    ..GEAR
};
const SUBSTITUTIONS: Table = Table {
    name: "substitutions",
    says: "Gear that may stand where it differs from what belongs there",
    columns: &["key", "item", "host", "position", "by", "reason", "until"],
    by: &["item", "host"],
    rows: |call| Box::pin(records::<Substitution>(call)),
    ..GEAR
};
const PARTS: Table = Table {
    name: "parts",
    need: Need::Reads(Act::ViewStores),
    says: "Parts that can be ordered",
    columns: &["part", "description", "kind", "lead_time", "shelf_life", "unit", "pack", "price", "currency"],
    by: &["part", "kind", "q"],
    rows: |call| Box::pin(records::<Part>(call)),
    ..STATIONS
};
const STOCK: Table = Table {
    name: "stock",
    need: Need::Reads(Act::ViewStores),
    says: "Stock booked in and out",
    columns: &["key", "part", "place", "at", "quantity", "reason", "items", "note"],
    by: &["part", "place", "reason"],
    rows: |call| Box::pin(records::<Stock>(call)),
    ..STATIONS
};
const ORDERS: Table = Table {
    name: "orders",
    need: Need::Reads(Act::ViewStores),
    says: "Orders of parts, and what came of them",
    columns: &[
        "key",
        "part",
        "quantity",
        "place",
        "ordered_on",
        "needed_by",
        "received_on",
        "certificate",
        "by",
        "signed_by",
        "signed_on",
        "for_whom",
    ],
    by: &["key", "part", "place"],
    rows: |call| Box::pin(records::<Order>(call)),
    ..STATIONS
};
const PEOPLE: Table = Table {
    name: "people",
    need: Need::Does(Act::KeepPeople),
    says: "Who is told, and who may do what",
    columns: &[
        "email",
        "name",
        "role",
        "station",
        "competence",
        "deputy",
        "second_address",
        "away_from",
        "away_until",
    ],
    by: &["email", "role", "station"],
    rows: |call| Box::pin(records::<Person>(call)),
    ..STATIONS
};

pub(super) const TABLES: [Table; 15] = [
    STATIONS,
    ITEMS,
    FITTINGS,
    USE,
    WORK,
    STATES,
    CONCESSIONS,
    CERTIFICATES,
    EXAMINATIONS,
    DEFECTS,
    SUBSTITUTIONS,
    PARTS,
    STOCK,
    ORDERS,
    PEOPLE,
];

/// The records of one file that still hold, as an export writes them.
async fn records<R: RegisterFile>(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let (asked, desk) = (replay(&call)?, &call.web().desk);
    let known = asked.known_before;
    let register = Register {
        stations: desk.store.newest_known(known).await?,
        items: desk.store.newest_known(known).await?,
        ..Register::default()
    };
    let mut found: Vec<R> = desk.store.newest_known::<R>(known).await?.into_values().collect();
    found.retain(|record| !record.is_void());
    let sheet = sheet_of(&found, &Places::of(&desk.set, Instant::MAX, &register));
    let row = |cells: Vec<String>| -> Map<String, Value> {
        let own = sheet.header.iter().zip(cells).filter(|(column, _)| *column != "void");
        own.map(|(column, cell)| (column.clone(), Value::String(cell))).collect()
    };
    let rows = sheet.rows.iter().zip(&found);
    Ok(rows
        .map(|((_, cells), record)| Placed { place: record.key().to_owned(), row: row(cells.clone()).into() })
        .collect())
}

async fn certificates(call: Arc<Call>) -> Result<Vec<Placed>, Problem> {
    let asked = replay(&call)?;
    let lines = papers::lines(&call.web().desk, &Wanted::default(), asked.day, asked.known_before).await?;
    lines.iter().map(|line| Ok(super::placed(value(line)?, ["key"]))).collect()
}
