//! Times: three ways to write one, days that do not exist, clock changes, and what lies ahead or too early.

use crate::desk::at;
use crate::{faults_are, refused_for, stocked, taken};

#[tokio::test]
async fn days_that_do_not_exist_are_refused() {
    refused_for(
        &[
            ("items.csv", "item,kind,manufactured_on,entered_service_on\nX-1,shackle,2026-02-29,\nX-2,shackle,,2024-02-30\nX-3,shackle,2024-02-29,\nX-4,shackle,2100-02-29,\n"),
            ("usage.csv", "key,host,at,meter,count\n\
                U1,LC-2/01,2026-04-31,launches,1\n\
                U2,LC-2/01,2026-02-29T10:00,launches,1\n\
                U3,LC-2/01,2026-10-01T24:30,launches,1\n\
                U4,LC-2/01,01/10/2026,launches,1\n\
                U5,LC-2/01,2026-10-01T10:00:00,launches,1\n\
                U6,LC-2/01,2026-13-01T10:00:00Z,launches,1\n\
                U7,LC-2/01,0026-10-01,launches,1\n"),
        ],
        &[
            ("items.csv:2: manufactured_on", "\"2026-02-29\" is no date that exists"),
            ("items.csv:3: entered_service_on", "\"2024-02-30\" is no date that exists"),
            ("items.csv:5: manufactured_on", "\"2100-02-29\" is no date that exists"),
            ("usage.csv:2: at", "\"2026-04-31\" is no time"),
            ("usage.csv:3: at", "\"2026-02-29T10:00\" is no time"),
            ("usage.csv:4: at", "\"2026-10-01T24:30\" is no time"),
            ("usage.csv:5: at", "\"01/10/2026\" is no time"),
            ("usage.csv:7: at", "\"2026-13-01T10:00:00Z\" is no time"),
            ("usage.csv:8: at", "\"0026-10-01\" is no time"),
        ],
    )
    .await;
}

/// Local times are read in the zone of the station that owns the subject; the host for use.
#[tokio::test]
async fn local_times_belong_to_the_station_that_owns_the_subject() {
    let desk = stocked().await;
    taken(
        &desk,
        &[
            (
                "usage.csv",
                "key,host,at,meter,count\n\
            U1,LC-2/01,2026-07-01T10:00,launches,1\n\
            U2,LC-1/09,2026-07-01T10:00,launches,1\n\
            U3,LC-1/09,2026-07-01T10:00+02:00,launches,1\n\
            U4,LC-1/09,2026-07-01,launches,1\n",
            ),
            // The fall is owned by tan, wherever it is fitted.
            ("fittings.csv", "item,fitted_at,host,position\nF-0417,2026-07-01T10:00,LC-1/09,port fall\n"),
        ],
    )
    .await;
    let all = desk.store.register(None).await.unwrap();
    let used = |key: &str| (all.usage[key].at, all.usage[key].day.clone());
    assert_eq!(used("U1"), (at("2026-07-01T09:00:00Z").0, None));
    assert_eq!(used("U2"), (at("2026-07-01T13:00:00Z").0, None));
    assert_eq!(used("U3"), (at("2026-07-01T08:00:00Z").0, None));
    assert_eq!(used("U4").1.as_deref(), Some("2026-07-01"));
    assert_eq!(all.fittings.values().next().unwrap().at, at("2026-07-01T09:00:00Z").0);
}

/// RFC 5545, 3.3.5: a local time that a clock change repeats is its first occurrence, one it skips is read with the
/// offset before the change. Either way a person is told.
#[tokio::test]
async fn clock_changes_take_the_earlier_offset_and_are_noted() {
    let desk = crate::desk::later(&stocked().await, "2027-01-01T00:00:00Z");
    let done = taken(
        &desk,
        &[
            (
                "usage.csv",
                "key,host,at,meter,count\n\
            U1,LC-2/01,2026-10-25T01:30,launches,1\n\
            U2,LC-2/01,2026-03-29T01:30,launches,1\n\
            U3,LC-2/01,2026-10-25T00:59:59,launches,1\n\
            U4,LC-2/01,2026-10-25T02:00,launches,1\n\
            U5,LC-2/01,2026-10-25T01:30:00+00:00,launches,1\n\
            U6,LC-1/09,2026-10-25T01:30,launches,1\n",
            ),
            ("work.csv", "key,item,rule,done_at,outcome\nW1,F-0417,fall-renewal,2026-10-25 01:00,done\n"),
        ],
    )
    .await;
    let notes: Vec<String> = done.notes.iter().map(ToString::to_string).collect();
    faults_are(
        &notes,
        &[
            (
                "usage.csv:2: at",
                "\"2026-10-25T01:30\" falls in a clock change; it was taken with the earlier offset",
            ),
            ("usage.csv:3: at", "\"2026-03-29T01:30\" falls in a clock change"),
            ("work.csv:2: done_at", "\"2026-10-25 01:00\" falls in a clock change"),
        ],
    );
    let all = desk.store.register(None).await.unwrap();
    assert_eq!(all.usage["U1"].at, at("2026-10-25T00:30:00Z").0);
    assert_eq!(all.usage["U2"].at, at("2026-03-29T01:30:00Z").0);
    assert_eq!(all.usage["U3"].at, at("2026-10-24T23:59:59Z").0);
    assert_eq!(all.usage["U4"].at, at("2026-10-25T02:00:00Z").0);
    assert_eq!(all.usage["U5"].at, at("2026-10-25T01:30:00Z").0);
    assert_eq!(all.usage["U6"].at, at("2026-10-25T04:30:00Z").0);
    assert_eq!(all.work["W1"].at, at("2026-10-25T00:00:00Z").0);
}

/// Records ahead of the clock, or before the item came into service, are taken with a note, and count.
#[tokio::test]
async fn records_ahead_or_too_early_are_noted_and_count() {
    let desk = stocked().await;
    let done = taken(&desk, &[
        ("fittings.csv", "item,fitted_at,host,position\nF-0417,2023-12-31,LC-2/01,port fall\nF-0416,2026-10-12,LC-2/01,starboard fall\n"),
        ("states.csv", "key,item,at,state\nQ1,C-1,2023-12-01,quarantined\nQ2,C-2,2026-12-01,quarantined\n"),
        ("usage.csv", "key,host,at,meter,count\n\
            U1,LC-2/01,2023-12-31T23:59,launches,1\n\
            U2,LC-2/01,2024-01-01,launches,1\n\
            U3,LC-2/01,2026-10-11T18:00:00Z,launches,1\n\
            U4,LC-2/01,2026-10-11T18:00:01Z,launches,1\n"),
        ("work.csv", "key,item,rule,done_at,outcome\nW1,F-0416,fall-renewal,2023-12-31,done\nW2,F-0416,fall-examination,2026-11-01,done\n"),
    ])
    .await;
    let notes: Vec<String> = done.notes.iter().map(ToString::to_string).collect();
    faults_are(
        &notes,
        &[
            ("fittings.csv:2: fitted_at", "lies before F-0417 came into service (2024-01-01)"),
            ("fittings.csv:3: fitted_at", "lies after now"),
            ("states.csv:2: at", "lies before C-1 came into service (2024-01-01)"),
            ("states.csv:3: at", "lies after now"),
            ("usage.csv:2: at", "lies before LC-2/01 came into service (2024-01-01)"),
            ("usage.csv:5: at", "lies after now"),
            ("work.csv:2: done_at", "lies before F-0416 came into service (2024-01-01)"),
            ("work.csv:3: done_at", "lies after now"),
        ],
    );
    assert_eq!(crate::desk::row(&desk, "F-0417", "fall-renewal", "2026-10-11").await.used, "4");
    let examined = crate::desk::row(&desk, "F-0416", "fall-examination", "2026-11-01").await;
    assert_eq!(examined.calendar_due, "2027-05-01");
}
