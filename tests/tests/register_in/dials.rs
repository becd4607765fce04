//! Dials: baselines, roll-overs, new meters, and readings that cannot follow each other.

use crate::desk::row;
use crate::{faults_are, refused, refused_for, stocked, taken};

fn readings(rows: &str) -> String {
    format!("key,host,at,meter,reading,note\n{rows}")
}

async fn hours(rows: &str) -> String {
    let desk = stocked().await;
    taken(&desk, &[("usage.csv", &readings(rows))]).await;
    row(&desk, "LC-2/01", "carriage-oil", "2026-10-11").await.used
}

/// Contract section 2 and domain brief 4.2: 9,982 to 37 on a 10,000 h dial is 55 h; 4,700 to 4,812, then a new
/// meter from 3 to 96, is 112 + 93 = 205 h; a first reading counts nothing.
#[tokio::test]
async fn differences_roll_overs_and_new_meters_count() {
    assert_eq!(hours("R1,LC-2/01,2026-09-01,engine hours,4700,\n").await, "0");
    assert_eq!(
        hours("R1,LC-2/01,2026-09-01,engine hours,9982,\nR2,LC-2/01,2026-09-09,engine hours,37,\n").await,
        "55"
    );
    let replaced = "R1,LC-2/01,2026-09-01,engine hours,4700,\n\
        R2,LC-2/01,2026-09-09,engine hours,4812,\n\
        R3,LC-2/01,2026-09-10,engine hours,3,meter replaced\n\
        R4,LC-2/01,2026-09-19,engine hours,96,\n";
    assert_eq!(hours(replaced).await, "205");
    let shuffled = "R4,LC-2/01,2026-09-19,engine hours,96,\nR1,LC-2/01,2026-09-01,engine hours,4700,\n\
        R3,LC-2/01,2026-09-10,engine hours,3,meter replaced\nR2,LC-2/01,2026-09-09,engine hours,4812,\n";
    assert_eq!(hours(shuffled).await, "205");
    // A slow turn over two imports is the same turn.
    let desk = stocked().await;
    taken(&desk, &[("usage.csv", &readings("R1,LC-2/01,2026-09-01,engine hours,9982,\n"))]).await;
    taken(&desk, &[("usage.csv", &readings("R2,LC-2/01,2026-09-09,engine hours,37.5,\n"))]).await;
    assert_eq!(row(&desk, "LC-2/01", "carriage-oil", "2026-10-11").await.used, "55.5");
}

#[tokio::test]
async fn a_falling_dial_is_refused() {
    refused_for(
        &[(
            "usage.csv",
            &readings(
                "R1,LC-2/01,2026-09-01,engine hours,4812,\n\
             R2,LC-2/01,2026-09-09,engine hours,4700,\n\
             R3,LC-2/02,2026-09-01,pump hours,50,\n\
             R4,LC-2/02,2026-09-02,pump hours,49.999999,\n",
            ),
        )],
        &[
            ("usage.csv:3: reading", "the dial falls from 4812 to 4700"),
            ("usage.csv:5: reading", "the dial falls from 50 to 49.999999"),
        ],
    )
    .await;
}

/// Against stored readings the fault is told at the row of this import, whichever of the two falls.
#[tokio::test]
async fn a_fall_against_what_is_stored_is_told_at_the_new_row() {
    let desk = stocked().await;
    taken(&desk, &[("usage.csv", &readings("R1,LC-2/01,2026-09-05,pump hours,100,\n"))]).await;
    for (text, from, to) in [("2026-09-09,pump hours,99", 100, 99), ("2026-09-01,pump hours,101", 101, 100)] {
        let told = refused(&desk, &[("usage.csv", &readings(&format!("R2,LC-2/01,{text},\n")))]).await.told;
        faults_are(&told, &[("usage.csv:2: reading", &format!("the dial falls from {from} to {to}"))]);
    }
}

/// Taking back the reading of a new meter lets the dial fall; the row that takes it back is the bad one.
#[tokio::test]
async fn a_fall_made_by_a_void_row_is_told_at_that_row() {
    let desk = stocked().await;
    taken(&desk, &[("usage.csv", &readings(
        "R1,LC-2/01,2026-09-01,pump hours,100,\nR2,LC-2/01,2026-09-02,pump hours,3,meter replaced\nR3,LC-2/01,2026-09-03,pump hours,50,\n",
    ))])
    .await;
    let void = "key,host,at,meter,reading,note,void\n\
        R9,LC-2/01,2026-09-04,engine hours,1,,\n\
        R2,LC-2/01,2026-09-02,pump hours,3,meter replaced,yes\n";
    let told = refused(&desk, &[("usage.csv", void)]).await.told;
    faults_are(&told, &[("usage.csv:3: reading", "the dial falls from 100 to 50")]);
}

#[tokio::test]
async fn counts_and_readings_never_mix() {
    refused_for(
        &[(
            "usage.csv",
            "key,host,at,meter,count,reading\n\
            R1,LC-2/01,2026-09-01,engine hours,,10\n\
            R2,LC-2/01,2026-09-02,engine hours,5,\n\
            R3,LC-2/02,2026-09-02,engine hours,5,\n",
        )],
        &[("usage.csv:2: reading", "engine hours of LC-2/01 has counts and readings; keep to one")],
    )
    .await;
}

/// Whichever of the two is stored, the row of this import is the bad one.
#[tokio::test]
async fn mixing_with_what_is_stored_is_told_at_the_new_row() {
    let (count, reading) = (
        "key,host,at,meter,count\nU1,LC-2/01,2026-09-01,engine hours,5\n",
        "R1,LC-2/01,2026-09-02,engine hours,10,\n",
    );
    let desk = stocked().await;
    taken(&desk, &[("usage.csv", count)]).await;
    let told = refused(&desk, &[("usage.csv", &readings(reading))]).await.told;
    faults_are(&told, &[("usage.csv:2: reading", "has counts and readings")]);
    let desk = stocked().await;
    taken(&desk, &[("usage.csv", &readings(reading))]).await;
    let told = refused(&desk, &[("usage.csv", count)]).await.told;
    faults_are(&told, &[("usage.csv:2: count", "has counts and readings")]);
}

#[tokio::test]
async fn a_reading_is_on_its_dial() {
    refused_for(
        &[("usage.csv", &readings(
            "R1,LC-2/01,2026-09-01,engine hours,10000,\nR2,LC-2/02,2026-09-01,engine hours,-1,\nR3,LC-1/09,2026-09-01,engine hours,9999.999999,\n",
        ))],
        &[
            ("usage.csv:2: reading", "10000 is not on the dial, which rolls over at 10000"),
            ("usage.csv:3: reading", "below nought"),
        ],
    )
    .await;
}

/// A reading ten times the last has most likely a digit too many: it is refused, or a person is told.
#[tokio::test]
async fn a_tenfold_jump_is_never_taken_in_silence() {
    let desk = stocked().await;
    let jump =
        readings("R1,LC-2/01,2026-09-01,engine hours,250,\nR2,LC-2/01,2026-09-02,engine hours,2510,\n");
    let said = match crate::desk::import(&desk, &[("usage.csv", &jump)]).await {
        Ok(done) => done.notes.iter().map(ToString::to_string).collect(),
        Err(refusal) => refusal.told,
    };
    assert!(said.iter().any(|line| line.starts_with("usage.csv:3: reading: ")), "{said:?}");
    let calm = readings("R3,LC-2/02,2026-09-01,engine hours,250,\nR4,LC-2/02,2026-09-02,engine hours,260,\n");
    assert_eq!(taken(&desk, &[("usage.csv", &calm)]).await.notes, []);
}
