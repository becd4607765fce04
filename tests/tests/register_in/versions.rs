//! Corrections, records taken back, and the world as it was or as it was known.

use crate::desk::{later, row, row_known};
use crate::{stocked, taken};

const FITTED: (&str, &str) =
    ("fittings.csv", "item,fitted_at,host,position\nF-0417,2026-01-19,LC-2/01,port fall\n");

fn launches(rows: &str) -> String {
    format!("key,host,at,meter,count,void\n{rows}")
}

/// `void = yes`: it never happened; taken off again, it happened after all. A column left out says neither.
#[tokio::test]
async fn void_takes_back_and_un_void_restores() {
    let desk = stocked().await;
    let used = async || row(&desk, "F-0417", "fall-renewal", "2026-10-11").await.used;
    let two = "U1,LC-2/01,2026-09-12,launches,3,\nU2,LC-2/01,2026-09-13,launches,1,\n";
    taken(&desk, &[FITTED, ("usage.csv", &launches(two))]).await;
    assert_eq!(used().await, "4");
    taken(&desk, &[("usage.csv", &launches("U1,LC-2/01,2026-09-12,launches,3,yes\n"))]).await;
    assert_eq!(used().await, "1");
    let silent = "key,host,at,meter,count\nU1,LC-2/01,2026-09-12,launches,2\n";
    assert_eq!(taken(&desk, &[("usage.csv", silent)]).await.counts, [("usage", 0, 1)]);
    assert_eq!(used().await, "1", "still void: the column was left out");
    taken(&desk, &[("usage.csv", &launches("U1,LC-2/01,2026-09-12,launches,2,\n"))]).await;
    assert_eq!(used().await, "3");
    taken(
        &desk,
        &[("fittings.csv", "item,fitted_at,host,position,void\nF-0417,2026-01-19,LC-2/01,port fall,yes\n")],
    )
    .await;
    assert_eq!(used().await, "0");
    // The place is free, since the other never was there.
    taken(&desk, &[("fittings.csv", "item,fitted_at,host,position\nF-0416,2026-02-01,LC-2/01,port fall\n")])
        .await;
    let told = crate::refused(
        &desk,
        &[("fittings.csv", "item,fitted_at,host,position,void\nF-0417,2026-01-19,LC-2/01,port fall,\n")],
    )
    .await
    .told;
    crate::faults_are(&told, &[("fittings.csv:2: position", "port fall of LC-2/01 is full then")]);
}

#[tokio::test]
async fn void_work_and_states_count_for_nothing() {
    let desk = stocked().await;
    let files = |void: &str| {
        (
            format!(
                "key,item,rule,done_at,outcome,void\nW1,F-0417,fall-examination,2026-07-14,passed,{void}\n"
            ),
            format!("key,item,at,state,void\nQ1,F-0417,2026-08-01,withdrawn,{void}\n"),
        )
    };
    let due = async || {
        row_known(&desk, "F-0417", "fall-examination", "2026-10-11", None).await.map(|row| row.due_on)
    };
    let (work, states) = files("");
    taken(&desk, &[("work.csv", &work), ("states.csv", &states)]).await;
    assert_eq!(due().await, None, "withdrawn");
    let (_, states) = files("yes");
    taken(&desk, &[("states.csv", &states)]).await;
    assert_eq!(due().await.as_deref(), Some("2027-01-14"));
    let (work, _) = files("yes");
    taken(&desk, &[("work.csv", &work)]).await;
    assert_eq!(due().await.as_deref(), Some("2024-07-01"), "six months after entry into service");
    let (work, _) = files("no");
    taken(&desk, &[("work.csv", &work)]).await;
    assert_eq!(due().await.as_deref(), Some("2027-01-14"));
}

/// A correction is known from the moment it is made; before that, the old answer stands for ever.
#[tokio::test]
async fn a_replay_gives_the_answer_of_its_day() {
    let first = stocked().await;
    let monday = later(&first, "2026-10-12T10:00:00Z");
    taken(&monday, &[FITTED, ("usage.csv", &launches("U1,LC-2/01,2026-09-12T10:00,launches,3,\n"))]).await;
    let wednesday = later(&first, "2026-10-14T10:00:00Z");
    let corrected =
        launches("U1,LC-2/01,2026-09-12T10:00,launches,1,\nU2,LC-2/01,2026-10-13T10:00,launches,1,\n");
    assert_eq!(taken(&wednesday, &[("usage.csv", &corrected)]).await.counts, [("usage", 1, 1)]);
    let friday = later(&first, "2026-10-16T10:00:00Z");
    taken(&friday, &[("usage.csv", &launches("U1,LC-2/01,2026-09-12T10:00,launches,1,yes\n"))]).await;
    let used = async |as_of: &str, known_on: Option<&str>| {
        row_known(&friday, "F-0417", "fall-renewal", as_of, known_on).await.map(|row| row.used)
    };
    for (as_of, known_on, wanted) in [
        ("2026-10-20", Some("2026-10-11"), "0"),
        ("2026-10-20", Some("2026-10-12"), "3"),
        ("2026-10-20", Some("2026-10-13"), "3"),
        ("2026-10-20", Some("2026-10-14"), "2"),
        ("2026-10-12", Some("2026-10-14"), "1"),
        ("2026-10-20", Some("2026-10-15"), "2"),
        ("2026-10-20", Some("2026-10-16"), "1"),
        ("2026-10-20", None, "1"),
        ("2026-10-12", None, "0"),
    ] {
        assert_eq!(
            used(as_of, known_on).await.as_deref(),
            Some(wanted),
            "as of {as_of}, known on {known_on:?}"
        );
    }
}

/// The world at 24:00 of a day in each item's zone: records with an instant before that count.
#[tokio::test]
async fn as_of_is_the_end_of_the_day_where_the_item_is() {
    let desk = stocked().await;
    taken(
        &desk,
        &[
            ("items.csv", "item,kind,station,entered_service_on\nF-0900,launching fall,qnr,2024-01-01\n"),
            (
                "fittings.csv",
                "item,fitted_at,host,position\n\
            F-0417,2026-01-19,LC-2/01,port fall\nF-0900,2026-01-19,LC-1/09,port fall\n",
            ),
            (
                "usage.csv",
                "key,host,at,meter,count\n\
            U1,LC-2/01,2026-09-30T22:59:59Z,launches,1\n\
            U2,LC-2/01,2026-09-30T23:00:00Z,launches,1\n\
            U3,LC-1/09,2026-10-01T02:59:59Z,launches,1\n\
            U4,LC-1/09,2026-10-01T03:00:00Z,launches,1\n",
            ),
        ],
    )
    .await;
    for (item, as_of, wanted) in [
        ("F-0417", "2026-09-29", "0"),
        ("F-0417", "2026-09-30", "1"),
        ("F-0417", "2026-10-01", "2"),
        ("F-0900", "2026-09-29", "0"),
        ("F-0900", "2026-09-30", "1"),
        ("F-0900", "2026-10-01", "2"),
    ] {
        assert_eq!(row(&desk, item, "fall-renewal", as_of).await.used, wanted, "{item} as of {as_of}");
    }
}

/// Every version stays, and the chain over them holds.
#[tokio::test]
async fn old_versions_stay_in_the_chain() {
    let desk = stocked().await;
    for count in 1..=3 {
        taken(&desk, &[("usage.csv", &launches(&format!("U1,LC-2/01,2026-09-12,launches,{count},\n")))])
            .await;
    }
    assert_eq!(desk.store.head().await.unwrap().seq, 4);
    assert_eq!(desk.store.check_chain().await.unwrap(), []);
    assert_eq!(daemon::verify::differences(&desk).await.unwrap().differences, Vec::<String>::new());
    assert_eq!(desk.store.register(None).await.unwrap().usage["U1"].count, Some(3_000_000));
}

/// What was known of items, fittings, work and states replays like use does.
#[tokio::test]
async fn a_replay_knows_gear_as_it_was_known() {
    let first = stocked().await;
    let monday = later(&first, "2026-10-12T10:00:00Z");
    let uses = "U1,LC-2/01,2026-09-12T10:00,launches,3,\nU2,LC-2/01,2026-09-14T10:00,launches,1,\n";
    taken(&monday, &[FITTED, ("usage.csv", &launches(uses))]).await;
    let wednesday = later(&first, "2026-10-14T10:00:00Z");
    taken(
        &wednesday,
        &[
            (
                "fittings.csv",
                "item,fitted_at,host,position,removed_at\n\
                 F-0417,2026-01-19,LC-2/01,port fall,2026-09-13\n",
            ),
            ("items.csv", "item,kind,station,entered_service_on\nF-9,launching fall,tan,2026-01-01\n"),
            ("states.csv", "key,item,at,state\nQ1,F-0416,2026-09-01,withdrawn\n"),
            ("work.csv", "key,item,rule,done_at,outcome\nW1,F-0417,fall-examination,2026-09-01,passed\n"),
        ],
    )
    .await;
    let known = async |item: &str, rule: &str, known_on: &str| {
        row_known(&wednesday, item, rule, "2026-10-20", Some(known_on)).await
    };
    for (day, used, due) in [("2026-10-13", "4", "2024-07-01"), ("2026-10-14", "3", "2027-03-01")] {
        assert_eq!(known("F-0417", "fall-renewal", day).await.unwrap().used, used, "{day}");
        assert_eq!(known("F-0417", "fall-examination", day).await.unwrap().due_on, due, "{day}");
    }
    for (day, new, withdrawn) in [("2026-10-13", false, false), ("2026-10-14", true, true)] {
        assert_eq!(known("F-9", "fall-renewal", day).await.is_some(), new, "{day}");
        assert_eq!(known("F-0416", "fall-renewal", day).await.is_none(), withdrawn, "{day}");
    }
}
