//! The register on its way in, as section 1 of the contract has it: what is read, what is refused and where the
//! fault is said to stand, and what later imports change.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "register_in/cells.rs"]
mod cells;
#[path = "register_in/desk.rs"]
mod desk;
#[path = "register_in/dials.rs"]
mod dials;
#[path = "register_in/fittings.rs"]
mod fittings;
#[path = "register_in/hostile.rs"]
mod hostile;
#[path = "register_in/origins.rs"]
mod origins;
#[path = "register_in/regimes.rs"]
mod regimes;
#[path = "register_in/text.rs"]
mod text;
#[path = "register_in/times.rs"]
mod times;
#[path = "register_in/versions.rs"]
mod versions;
#[path = "register_in/workbook.rs"]
mod workbook;
#[path = "register_in/written_workbook.rs"]
mod written_workbook;

use daemon::desk::Desk;
use desk::{Files, Refusal, import, taken};

/// Kinds and rules small enough to reckon by hand; every figure is invented.
const POLICIES: &[(&str, &str)] = &[
    (
        "kinds.toml",
        r#"
[[kind]]
name       = "carriage"
attributes = [{ name = "mass", unit = "t", min = 0.5, max = 30 }]
meters     = [
  "launches",
  "recoveries",
  { name = "engine hours", dial = true, rolls_over_at = 10000 },
  { name = "pump hours", dial = true },
]
positions  = [
  { name = "port fall", takes = "launching fall", required = true },
  { name = "starboard fall", takes = "launching fall" },
  { name = "stopper", takes = "stopper chain", count = 4 },
]

[[kind]]
name       = "launching fall"
attributes = [
  { name = "nominal diameter", unit = "mm", min = 6, max = 40 },
  { name = "lay", values = ["ordinary", "Lang"] },
]
positions  = [{ name = "end shackle", takes = "shackle" }]

[[kind]]
name      = "stopper chain"

[[kind]]
name      = "shackle"
meters    = ["pins"]
positions = [{ name = "bow", takes = "shackle" }]
"#,
    ),
    (
        "rules.toml",
        r#"
[[rule]]
id         = "fall-renewal"
title      = "Renew a fall"
applies_to = { kind = "launching fall" }
work       = "renewal"
usage      = { meter = "launches", every = 250 }
overdue    = "stops launch"
authority  = "house"

[[rule]]
id         = "fall-examination"
title      = "Thorough examination of a fall"
applies_to = { kind = "launching fall" }
work       = "thorough examination"
calendar   = { every = "6 months" }
overdue    = "stops launch"
authority  = "law"
source     = "LOLER 1998, reg. 9(3)"

[[rule]]
id         = "fall-measurement"
title      = "Gauge a fall"
applies_to = { kind = "launching fall" }
work       = "measurement"
calendar   = { every = "1 month" }
overdue    = "advisory"
authority  = "house"
records    = [
  { name = "diameter", unit = "mm", plausible = [5, 60] },
  { name = "breaks", unit = "wires" },
  { name = "look" },
]

[[rule]]
id         = "carriage-oil"
title      = "Change the oil"
applies_to = { kind = "carriage" }
work       = "lubrication"
usage      = [{ meter = "engine hours", every = 250 }, { meter = "pump hours", every = 100000 }]
overdue    = "advisory"
authority  = "house"
"#,
    ),
];

const STATIONS: (&str, &str) = (
    "stations.csv",
    "station,name,time_zone\n\
     tan,Tannock Strand,\"TVT0TVST,M3.5.0/1,M10.5.0/2\"\n\
     qnr,Quenna Roads,<-03>3\n",
);

const ITEMS: (&str, &str) = (
    "items.csv",
    "item,kind,station,entered_service_on\n\
     LC-2/01,carriage,tan,2024-01-01\n\
     LC-2/02,carriage,tan,2024-01-01\n\
     LC-1/09,carriage,qnr,2024-01-01\n\
     F-0416,launching fall,tan,2024-01-01\n\
     F-0417,launching fall,tan,2024-01-01\n\
     C-1,stopper chain,tan,2024-01-01\n\
     C-2,stopper chain,tan,2024-01-01\n\
     C-3,stopper chain,tan,2024-01-01\n\
     C-4,stopper chain,tan,2024-01-01\n\
     C-5,stopper chain,tan,2024-01-01\n\
     S-1,shackle,tan,2024-01-01\n\
     S-2,shackle,tan,2024-01-01\n",
);

/// A desk that knows two stations and their gear, on the evening of 11 Oct 2026.
async fn stocked() -> Desk {
    let desk = desk::desk(POLICIES, "2026-10-11T18:00:00Z").await;
    taken(&desk, &[STATIONS, ITEMS]).await;
    desk
}

/// How many records the store holds, of every file.
async fn records(desk: &Desk) -> usize {
    let all = desk.store.register(None).await.unwrap();
    let gear = all.stations.len() + all.people.len() + all.items.len() + all.fittings.len() + all.usage.len();
    let papers = all.work.len() + all.states.len() + all.concessions.len() + all.certificates.len();
    gear + papers + all.parts.len() + all.stock.len() + all.doubts.len()
}

/// Imports what must be refused, and makes sure that nothing of it stayed.
async fn refused(desk: &Desk, files: Files<'_>) -> Refusal {
    let before =
        (desk.store.head().await.unwrap(), records(desk).await, desk.store.due_table().await.unwrap().len());
    let refusal = import(desk, files).await.expect_err("it was taken in");
    let after =
        (desk.store.head().await.unwrap(), records(desk).await, desk.store.due_table().await.unwrap().len());
    assert_eq!(before, after, "a refused import changed something");
    refusal
}

/// Every fault, in the order of files and rows: where it stands, and a phrase of what it says.
fn faults_are(told: &[String], wanted: &[(&str, &str)]) {
    let fits = |(line, (place, phrase)): (&String, &(&str, &str))| {
        line.starts_with(&format!("{place}: ")) && line.contains(phrase)
    };
    let all = told.len() == wanted.len() && told.iter().zip(wanted).all(fits);
    assert!(all, "told:\n{}\nwanted:\n{wanted:#?}", told.join("\n"));
}

/// Imports files that must be refused for exactly these faults.
async fn refused_for(files: Files<'_>, wanted: &[(&str, &str)]) {
    let desk = stocked().await;
    let refusal = refused(&desk, files).await;
    faults_are(&refusal.told, wanted);
    assert_eq!(refusal.more, 0);
}
