//! Worked examples of the domain brief through the desk: what counts for which item, what is known when, and which
//! clause wins.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "register_in/desk.rs"]
mod desk;

use std::fmt::Write;

use daemon::desk::Desk;
use desk::{Files, later, row, row_known, taken};
use policies::due::{Because, CalendarFound, Evaluator};
use policies::explain::Derivation;

/// The kinds and rules that the examples speak of, with their figures (domain brief, section 3).
const RULES: &str = r#"
[[kind]]
name      = "carriage"
meters    = ["launches", "recoveries", "shock loads"]
positions = [
  { name = "port fall", takes = "launching fall" },
  { name = "starboard fall", takes = "launching fall" },
  { name = "stopper", takes = "stopper chain", count = 4 },
]

[[kind]]
name = "launching fall"

[[kind]]
name = "stopper chain"

[[rule]]
id         = "fall-renewal"
title      = "Renew a fall"
applies_to = { kind = "launching fall" }
work       = "renewal"
calendar   = [{ every = "36 months", from = "entry into service" }, { every = "72 months", from = "manufacture" }]
usage      = { meter = "launches", every = 250 }
overdue    = "stops launch"
authority  = "house"

[[rule]]
id         = "stopper-renewal"
title      = "Renew a stopper chain"
applies_to = { kind = "stopper chain" }
work       = "renewal"
usage      = { meter = "launches", every = 800 }
overdue    = "stops launch"
authority  = "house"

[[rule]]
id         = "stopper-overhaul"
title      = "Overhaul a stopper chain"
applies_to = { kind = "stopper chain" }
work       = "overhaul"
calendar   = { every = "24 months" }
usage      = { meter = "launches", every = 100 }
after      = { event = "shock loads", within = "3 days" }
overdue    = "stops launch"
authority  = "house"
covers     = ["stopper-examination"]

[[rule]]
id         = "stopper-examination"
title      = "Examine a stopper chain"
applies_to = { kind = "stopper chain" }
work       = "thorough examination"
calendar   = { every = "6 months" }
usage      = { meter = "launches", every = 50 }
overdue    = "stops launch"
authority  = "law"
source     = "LOLER 1998, reg. 9(3)"
covers     = ["stopper-gauging"]

[[rule]]
id         = "stopper-gauging"
title      = "Gauge a stopper chain"
applies_to = { kind = "stopper chain" }
work       = "measurement"
calendar   = { every = "1 month" }
usage      = { meter = "launches", every = 20 }
overdue    = "advisory"
authority  = "common practice"
"#;

/// The demo's pinned forecast settings (domain brief 4.7).
const SERVICE: &str = r#"
home_zone = "TVT0TVST,M3.5.0/1,M10.5.0/2"

[odds]
prior  = { a = 8, b = 1 }
months = [0.70, 0.65, 0.80, 0.95, 1.15, 1.25, 1.50, 1.55, 1.10, 0.90, 0.75, 0.70]
learn  = false
"#;

const STATIONS: (&str, &str) = (
    "stations.csv",
    "station,name,time_zone,latitude,longitude\n\
     tan,Tannock Strand,\"TVT0TVST,M3.5.0/1,M10.5.0/2\",,\n\
     pel,Pellan Sands,\"TVT0TVST,M3.5.0/1,M10.5.0/2\",,\n\
     qua,Quarle Beach,\"TVT0TVST,M3.5.0/1,M10.5.0/2\",,\n\
     orr,Orrabel Gap,\"TVT0TVST,M3.5.0/1,M10.5.0/2\",,\n\
     fal,Falhollow Sands,\"TVT0TVST,M3.5.0/1,M10.5.0/2\",,\n\
     qnr,Quenna Roads,<-03>3,-33.2,-41.5\n",
);

const EVENING: &str = "2026-10-11T18:00:00Z";
const AS_OF: &str = "2026-10-11";

/// A desk that has taken these files in; `items` are rows of item, kind, station, made, entered, opening use, parent.
async fn stocked(now: &str, items: &str, files: Files<'_>) -> Desk {
    let desk = desk::desk(&[("rules.toml", RULES), ("service.toml", SERVICE)], now).await;
    let header = "item,kind,station,manufactured_on,entered_service_on,opening_use,cut_from\n";
    let items = format!("{header}{items}");
    taken(&desk, &[STATIONS, ("items.csv", &items)]).await;
    if !files.is_empty() {
        taken(&desk, files).await;
    }
    desk
}

/// `times` launches of a carriage, one a day at ten from a day on.
fn launches(carriage: &str, from: &str, times: u32) -> String {
    let mut day: jiff::civil::Date = from.parse().unwrap();
    let mut rows = String::new();
    for _ in 0..times {
        writeln!(rows, "{carriage} {day},{carriage},{day}T10:00,launches,1").unwrap();
        day = day.tomorrow().unwrap();
    }
    rows
}

fn usage(rows: &str) -> String {
    format!("key,host,at,meter,count\n{rows}")
}

async fn derivation(desk: &Desk, item: &str, rule: &str) -> Derivation {
    let set = &desk.set;
    let look = |fleet: &policies::facts::Fleet| {
        let (item, rule) = (fleet.find(item).unwrap(), set.find_rule(rule).unwrap());
        Evaluator::new(set, fleet, AS_OF.parse::<jiff::civil::Date>().unwrap()).derive(item, rule)
    };
    desk.with_fleet(look).await.unwrap()
}

/// 4.1 A: F-0417 bore 61 launches at TAN, 84 at PEL and 97 at QUA: 242 of 250. The sheet at QUA shows 97.
#[tokio::test]
async fn a_wire_keeps_its_count_wherever_it_hangs() {
    let around = [
        launches("LC-2/01", "2024-01-08", 5), // before it came to Tannock
        launches("LC-2/01", "2024-06-01", 61),
        launches("LC-2/01", "2025-02-04", 9), // after it left
        launches("LC-2/03", "2025-02-11", 4), // while it lay in store
        launches("LC-2/03", "2025-06-01", 84),
        launches("LC-2/03", "2026-01-16", 3),
        launches("LC-2/07", "2026-01-10", 8),
        launches("LC-2/07", "2026-06-01", 97),
    ];
    let items = "LC-2/01,carriage,tan,,2023-10-01,,\nLC-2/03,carriage,pel,,2023-10-01,,\nLC-2/07,carriage,qua,,2023-10-01,,\n\
        F-0417,launching fall,qua,2024-01-16,2024-03-11,,\n";
    let desk = stocked(
        EVENING,
        items,
        &[
            (
                "fittings.csv",
                "item,fitted_at,host,position,removed_at\n\
            F-0417,2024-03-11T12:00,LC-2/01,starboard fall,2025-02-03T09:00\n\
            F-0417,2025-02-20T12:00,LC-2/03,port fall,2026-01-15T09:00\n\
            F-0417,2026-01-19T12:00,LC-2/07,starboard fall,\n",
            ),
            ("usage.csv", &usage(&around.concat())),
        ],
    )
    .await;
    let line = row(&desk, "F-0417", "fall-renewal", AS_OF).await;
    assert_eq!((line.used.as_str(), line.limit.as_str()), ("242", "250"));
    let working = derivation(&desk, "F-0417", "fall-renewal").await;
    let borne: Vec<String> = working.usage[0].borne.iter().map(|part| part.dated.to_string()).collect();
    assert_eq!(borne, ["61", "84", "97"]);
}

const CHAINS: &str = "LC-2/07,carriage,qua,,2023-10-01,,\nC-0402,stopper chain,qua,,2024-01-01,,\nC-0451,stopper chain,qua,,2024-01-01,,\n\
    C-0460,stopper chain,qua,,2024-01-01,,\n";
const CHANGE: (&str, &str) = (
    "fittings.csv",
    "item,fitted_at,host,position,removed_at\n\
     C-0402,2026-01-19T12:00,LC-2/07,stopper,2026-09-14T11:05\n\
     C-0451,2026-09-14T11:40,LC-2/07,stopper,\n\
     C-0460,2026-09-15T00:00,LC-2/07,stopper,\n",
);

/// 4.1 B: launches at 09:40 and 14:20, one chain off at 11:05, the other on at 11:40: each bore one.
#[tokio::test]
async fn a_change_between_two_launches_splits_them() {
    let rows = usage("L1,LC-2/07,2026-09-14T09:40,launches,1\nL2,LC-2/07,2026-09-14T14:20,launches,1\n");
    let desk = stocked(EVENING, CHAINS, &[CHANGE, ("usage.csv", &rows)]).await;
    for (chain, used) in [("C-0402", "1"), ("C-0451", "1"), ("C-0460", "0")] {
        assert_eq!(row(&desk, chain, "stopper-renewal", AS_OF).await.used, used, "{chain}");
    }
}

/// 4.1 B: if only the day is known, each may have borne both, so each counts two, and the working shows it.
#[tokio::test]
async fn launches_known_to_the_day_count_for_both() {
    for rows in [
        "L1,LC-2/07,2026-09-14,launches,1\nL2,LC-2/07,2026-09-14,launches,1\n",
        "L1,LC-2/07,2026-09-14,launches,2\n",
    ] {
        let desk = stocked(EVENING, CHAINS, &[CHANGE, ("usage.csv", &usage(rows))]).await;
        for (chain, used) in [("C-0402", "2"), ("C-0451", "2"), ("C-0460", "0")] {
            assert_eq!(row(&desk, chain, "stopper-renewal", AS_OF).await.used, used, "{chain}");
        }
        let working = derivation(&desk, "C-0451", "stopper-renewal").await;
        let undated: Vec<String> =
            working.usage[0].borne.iter().map(|part| part.undated.to_string()).collect();
        assert_eq!(undated, ["2"]);
    }
}

/// 4.2 A: F-0388 moved from ORR to FAL on 1 Oct. A launch of 28 Sep is keyed at ORR on 6 Oct: 141 as known on 5 Oct, 142
/// as known on 6 Oct, and what hangs at FAL does not change.
#[tokio::test]
async fn a_late_entry_goes_to_the_item_fitted_then() {
    let items = "LC-1/04,carriage,orr,,2023-10-01,,\nLC-1/10,carriage,fal,,2023-10-01,,\n\
        F-0388,launching fall,fal,2024-01-01,2024-02-01,,\nF-0389,launching fall,fal,2024-01-01,2024-02-01,,\n";
    let rows = launches("LC-1/04", "2025-01-01", 140) + &launches("LC-1/10", "2026-10-02", 1);
    let first = stocked(
        "2026-10-03T18:00:00Z",
        items,
        &[
            (
                "fittings.csv",
                "item,fitted_at,host,position,removed_at\n\
            F-0388,2024-02-01T12:00,LC-1/04,port fall,2026-10-01T09:00\n\
            F-0388,2026-10-01T15:00,LC-1/10,port fall,\n\
            F-0389,2024-02-01T12:00,LC-1/10,starboard fall,\n",
            ),
            ("usage.csv", &usage(&rows)),
        ],
    )
    .await;
    let desk = later(&first, "2026-10-06T08:00:00Z");
    taken(&desk, &[("usage.csv", &usage("late,LC-1/04,2026-09-28T19:30,launches,1\n"))]).await;
    let used = async |item: &str, known_on: &str| {
        row_known(&desk, item, "fall-renewal", "2026-10-06", Some(known_on)).await.unwrap().used
    };
    assert_eq!(
        (used("F-0388", "2026-10-05").await, used("F-0388", "2026-10-06").await),
        ("141".into(), "142".into())
    );
    assert_eq!(
        (used("F-0389", "2026-10-05").await, used("F-0389", "2026-10-06").await),
        ("1".into(), "1".into())
    );
    // The world of 27 Sep had not seen it, however late it is asked for.
    assert_eq!(row(&desk, "F-0388", "fall-renewal", "2026-09-27").await.used, "140");
    assert_eq!(row(&desk, "F-0388", "fall-renewal", "2026-09-28").await.used, "141");
}

/// 4.2 B: 12 Sep count 3 corrected to 1 on 2 Oct: 247 becomes 245, 3 left become 5. What was known on 1 Oct stays so.
#[tokio::test]
async fn a_correction_is_known_from_its_own_day() {
    let items =
        "LC-2/07,carriage,qua,,2023-10-01,,\nF-0417,launching fall,qua,2024-01-16,2024-03-11,launches=200,\n";
    let rows = launches("LC-2/07", "2026-03-01", 44) + "C,LC-2/07,2026-09-12T10:00,launches,3\n";
    let first = stocked(
        "2026-09-13T08:00:00Z",
        items,
        &[
            (
                "fittings.csv",
                "item,fitted_at,host,position\nF-0417,2026-01-19T12:00,LC-2/07,starboard fall\n",
            ),
            ("usage.csv", &usage(&rows)),
        ],
    )
    .await;
    let desk = later(&first, "2026-10-02T09:00:00Z");
    taken(&desk, &[("usage.csv", &usage("C,LC-2/07,2026-09-12T10:00,launches,1\n"))]).await;
    let left = async |known_on: Option<&str>| {
        let line = row_known(&desk, "F-0417", "fall-renewal", "2026-10-02", known_on).await.unwrap();
        (line.used.clone(), line.limit.parse::<u32>().unwrap() - line.used.parse::<u32>().unwrap())
    };
    assert_eq!(left(Some("2026-10-01")).await, ("247".to_owned(), 3));
    assert_eq!(left(Some("2026-10-02")).await, ("245".to_owned(), 5));
    assert_eq!(left(None).await, ("245".to_owned(), 5));
}

/// 4.3 B: a fall at QNR fitted 1 Jun 2024 with 31 launches left: calendar 1 Jun 2027, 10 % date 13 Nov 2027. The
/// calendar wins; usage is the runner-up. (58 launches in the log since 1 Oct 2023, 4.7 B.)
#[tokio::test]
async fn the_earlier_clause_wins_and_the_other_is_told() {
    let items =
        "LC-1/12,carriage,qnr,,2023-10-01,,\nF-0427,launching fall,qnr,2022-09-06,2024-06-01,launches=181,\n";
    let rows =
        "L1,LC-1/12,2023-10-01T12:00,launches,20\n".to_owned() + &launches("LC-1/12", "2025-03-01", 38);
    let desk = stocked(
        EVENING,
        items,
        &[
            ("fittings.csv", "item,fitted_at,host,position\nF-0427,2024-06-01T12:00,LC-1/12,port fall\n"),
            ("usage.csv", &usage(&rows)),
        ],
    )
    .await;
    let line = row(&desk, "F-0427", "fall-renewal", AS_OF).await;
    assert_eq!((line.used.as_str(), line.because, line.due_on.as_str()), ("219", "calendar", "2027-06-01"));
    assert_eq!(
        [&line.usage_p10, &line.usage_p50, &line.usage_p90],
        ["2027-11-13", "2028-02-18", "2028-09-05"]
    );
    let working = derivation(&desk, "F-0427", "fall-renewal").await;
    assert_eq!(working.runner_up, Some((Because::Usage, "2027-11-13".parse().unwrap())));
}

/// 4.17 A: made 10 May 2021, in service 12 Nov 2024 after years in store: 12 Nov 2027 by service, 10 May 2027 by age.
#[tokio::test]
async fn shelf_life_runs_from_manufacture() {
    let items = "F-0429,launching fall,tan,2021-05-10,2024-11-12,,\nF-0430,launching fall,tan,,2024-11-12,,\nF-0431,launching fall,tan,,,,\n";
    let desk = stocked(EVENING, items, &[]).await;
    let line = row(&desk, "F-0429", "fall-renewal", AS_OF).await;
    assert_eq!((line.due_on.as_str(), line.because), ("2027-05-10", "calendar"));
    let clauses = derivation(&desk, "F-0429", "fall-renewal").await.calendar;
    let dates: Vec<String> = clauses
        .iter()
        .map(|clause| match clause.found {
            CalendarFound::Due(due) => due.due.to_string(),
            _ => "none".to_owned(),
        })
        .collect();
    assert_eq!(dates, ["2027-11-12", "2027-05-10"]);
    // Contract section 3: a day of manufacture that is unknown gives way to the entry into service, and with neither
    // the work is overdue now.
    assert_eq!(row(&desk, "F-0430", "fall-renewal", AS_OF).await.due_on, "2027-11-12");
    let unknown = row(&desk, "F-0431", "fall-renewal", AS_OF).await;
    assert_eq!((unknown.standing, unknown.because, unknown.due_on.as_str()), ("overdue", "no base", ""));
}

/// Contract section 2: a piece cut off starts with its parent's use up to its own entry into service at 00:00; the
/// parent's work does not come along. So does a piece of that piece.
#[tokio::test]
async fn a_cut_piece_inherits_use_and_no_work() {
    let items = "LC-2/01,carriage,tan,,2023-10-01,,\n\
        F-1,launching fall,tan,2023-01-01,2024-01-01,launches=7,\n\
        F-2,launching fall,tan,2023-01-01,2026-06-10,launches=1,F-1\n\
        F-3,launching fall,tan,2023-01-01,2026-07-10,,F-2\n";
    let mut rows =
        "A,LC-2/01,2026-06-09T23:59:59,launches,10\nB,LC-2/01,2026-06-10T00:00,launches,100\n".to_owned();
    rows += "C,LC-2/01,2026-06-20T10:00,launches,1000\n";
    let desk = stocked(
        EVENING,
        items,
        &[
            (
                "fittings.csv",
                "item,fitted_at,host,position,removed_at\n\
            F-1,2026-01-01T12:00,LC-2/01,port fall,2026-06-15T09:00\n\
            F-2,2026-06-16T12:00,LC-2/01,starboard fall,\n",
            ),
            ("usage.csv", &usage(&rows)),
            ("work.csv", "key,item,rule,done_at,outcome\nW1,F-1,fall-renewal,2026-05-01,done\n"),
        ],
    )
    .await;
    for (item, used) in [("F-1", "110"), ("F-2", "1018"), ("F-3", "1018")] {
        assert_eq!(row(&desk, item, "fall-renewal", AS_OF).await.used, used, "{item}");
    }
    // Before the cut the piece already counts what its parent had by then: nothing of it is lost to any date.
    assert_eq!(row(&desk, "F-2", "fall-renewal", "2026-06-10").await.used, "18");
}

const ONE_CHAIN: &str = "LC-2/07,carriage,qua,,2023-10-01,,\nC-0402,stopper chain,qua,,2026-01-01,,\n";
const ON_ITS_CARRIAGE: (&str, &str) =
    ("fittings.csv", "item,fitted_at,host,position\nC-0402,2026-01-01,LC-2/07,stopper\n");

/// Contract section 3: an overhaul covers the examination, the examination the gauging; an overhaul does not gauge.
/// What it covers, it covers for all clauses.
#[tokio::test]
async fn what_is_covered_is_not_passed_further() {
    let rows =
        "S,LC-2/07,2026-04-01T10:00,shock loads,1\n".to_owned() + &launches("LC-2/07", "2026-02-01", 15);
    let work =
        |rule: &str| format!("key,item,rule,done_at,outcome\nW1,C-0402,{rule},2026-05-05T09:00,done\n");
    let told = async |rule: &str| {
        let files: Files<'_> = &[ON_ITS_CARRIAGE, ("usage.csv", &usage(&rows)), ("work.csv", &work(rule))];
        let desk = stocked(EVENING, ONE_CHAIN, files).await;
        let mut lines = Vec::new();
        for rule in ["stopper-overhaul", "stopper-examination", "stopper-gauging"] {
            let line = row(&desk, "C-0402", rule, "2026-05-06").await;
            lines.push((line.calendar_due, line.used, line.after_due));
        }
        lines
    };
    let row = |date: &str, used: &str, after: &str| (date.to_owned(), used.to_owned(), after.to_owned());
    let done = |date: &str| row(date, "0", "");
    assert_eq!(
        told("stopper-overhaul").await,
        [done("2028-05-05"), done("2026-11-05"), row("2026-02-01", "15", "")]
    );
    assert_eq!(
        told("stopper-examination").await,
        [row("2028-01-01", "15", "2026-04-04"), done("2026-11-05"), done("2026-06-05")]
    );
    let gauged = [row("2028-01-01", "15", "2026-04-04"), row("2026-07-01", "15", ""), done("2026-06-05")];
    assert_eq!(told("stopper-gauging").await, gauged);
}

/// Contract section 3: failed work satisfies no rule and moves none of its dates, nor those it would cover.
#[tokio::test]
async fn failed_work_changes_no_date() {
    let rows =
        "S,LC-2/07,2026-04-01T10:00,shock loads,1\n".to_owned() + &launches("LC-2/07", "2026-02-01", 15);
    let told = async |work: &str| {
        let work = format!("key,item,rule,done_at,outcome\n{work}");
        let files: Files<'_> = &[ON_ITS_CARRIAGE, ("usage.csv", &usage(&rows)), ("work.csv", &work)];
        let desk = stocked(EVENING, ONE_CHAIN, files).await;
        let mut lines = Vec::new();
        for rule in ["stopper-renewal", "stopper-overhaul", "stopper-examination", "stopper-gauging"] {
            lines.push(row(&desk, "C-0402", rule, "2026-05-06").await);
        }
        lines
    };
    let passed = "W0,C-0402,stopper-examination,2026-03-01,passed\n";
    let before = told(passed).await;
    let failed = "W1,C-0402,stopper-overhaul,2026-05-05,failed\nW2,C-0402,stopper-examination,2026-05-05,failed\n\
        W3,C-0402,stopper-gauging,2026-05-05,failed\nW4,C-0402,stopper-renewal,2026-05-05,failed\n";
    assert_eq!(told(&format!("{passed}{failed}")).await, before);
    let done = failed.replace("failed", "done");
    assert_ne!(told(&format!("{passed}{done}")).await, before);
    // At the same instant as passed work it takes nothing from it either.
    assert_eq!(told(&format!("{passed}W5,C-0402,stopper-examination,2026-03-01,failed\n")).await, before);
}

/// Contract section 3: withdrawn items have no rows from that instant; quarantined ones keep theirs.
#[tokio::test]
async fn a_withdrawn_item_has_no_rows() {
    let states = "key,item,at,state\nQ1,C-0402,2026-05-01T10:00,quarantined\nQ2,C-0402,2026-06-02T10:00,withdrawn\n\
        Q3,LC-2/07,2026-06-02T10:00,quarantined\n";
    let desk = stocked(EVENING, ONE_CHAIN, &[ON_ITS_CARRIAGE, ("states.csv", states)]).await;
    let stands =
        async |as_of: &str| row_known(&desk, "C-0402", "stopper-renewal", as_of, None).await.is_some();
    assert!(stands("2026-05-31").await && stands("2026-06-01").await);
    assert!(!stands("2026-06-02").await && !stands(AS_OF).await);
    let stored = desk.store.due_table().await.unwrap();
    assert!(stored.iter().all(|row| row.item != "C-0402"));
}
