//! The finished program, killed with signal 9 over and over before a mail server that keeps what it took: rows 1, 2, 4
//! and 5 of the table of faults. Nothing acknowledged is lost, nothing owed is missing, and a notice arrives twice only
//! where it was past its dot when the daemon died.
//!
//! `TALLOW_KILLS` says how often (60), `TALLOW_KILL_SEED` with which dice (1), `TALLOW_KILL_RESULTS` to which file the
//! figures are added; `ops/campaign kill` runs one slice after another that way.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "torture_kill/books.rs"]
mod books;
#[path = "torture_kill/campaign.rs"]
mod campaign;
#[path = "torture_kill/dice.rs"]
mod dice;
#[path = "torture_kill/judge.rs"]
mod judge;
#[path = "torture_kill/point.rs"]
mod point;
#[path = "torture_kill/uses.rs"]
mod uses;
#[path = "torture_kill/victim.rs"]
mod victim;

use std::io::Write;

use campaign::Campaign;

fn said<T: std::str::FromStr>(name: &str, otherwise: T) -> T {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

#[test]
fn torture_04_05_kill_short() {
    let (seed, kills) = (said("TALLOW_KILL_SEED", 1), said("TALLOW_KILLS", 60));
    println!("seed {seed}, {kills} kills");
    let mut campaign = Campaign::new(seed);
    for _ in 0..kills {
        campaign.kill_once();
    }
    let figures = campaign.finish();
    println!("{figures}");
    if let Ok(file) = std::env::var("TALLOW_KILL_RESULTS") {
        let mut file = std::fs::OpenOptions::new().create(true).append(true).open(file).unwrap();
        writeln!(file, "{}", figures.line()).unwrap();
    }
}
