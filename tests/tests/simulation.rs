//! Sweep, outbox and delivery as they are in production, over simulated days with a simulated clock, mail server and
//! store faults, drawn from a seed. `TALLOW_SEED=n` replays one seed; `TALLOW_SEEDS`, `TALLOW_FROM` and `TALLOW_DAYS` run more.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]
#![allow(clippy::large_futures, reason = "one at a time, on a stack of its own")]

#[path = "simulation/checks.rs"]
mod checks;
#[path = "simulation/climbing.rs"]
mod climbing;
#[path = "simulation/clock.rs"]
mod clock;
#[allow(dead_code, reason = "each test file uses its own part")]
#[path = "register_in/desk.rs"]
mod desk;
#[allow(dead_code, reason = "each test file uses its own part")]
#[path = "../src/random_fleet/dice.rs"]
mod dice;
#[path = "simulation/events.rs"]
mod events;
#[path = "simulation/outbox.rs"]
mod outbox;
#[path = "simulation/relay.rs"]
mod relay;
#[path = "simulation/run.rs"]
mod run;
#[path = "simulation/service.rs"]
mod service;
#[path = "simulation/world.rs"]
mod world;

use run::{Report, Run};

fn asked<T: std::str::FromStr>(name: &str, otherwise: T) -> T {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

async fn simulated(seed: u64, days: i64) -> Report {
    Run::begin(seed).await.through(days).await
}

#[tokio::test]
async fn nothing_is_lost_or_doubled_and_everything_is_told_once_faults_stop() {
    let days = asked("TALLOW_DAYS", 60);
    let one: Option<u64> = std::env::var("TALLOW_SEED").ok().and_then(|text| text.parse().ok());
    let from = one.unwrap_or_else(|| asked("TALLOW_FROM", 1));
    let seeds = if one.is_some() { 1 } else { asked("TALLOW_SEEDS", 20) };
    let (mut turns, mut crashes, mut failures, mut back, mut mails, mut doubled) = (0, 0, 0, 0, 0, 0);
    let mut wrong = Vec::new();
    for seed in from..from + seeds {
        let report = simulated(seed, days).await;
        turns += report.turns;
        crashes += report.crashes;
        failures += report.failures;
        back += report.steps_back;
        mails += report.verdict.mails;
        doubled += report.verdict.doubled;
        for fault in report.verdict.wrong {
            println!("TALLOW_SEED={seed} TALLOW_DAYS={days}: {fault}");
            wrong.push(seed);
        }
    }
    let verdict = if wrong.is_empty() { "sound" } else { "WRONG" };
    println!(
        "simulation: seeds {from}..={}, {days} days each: {turns} turns, {crashes} crashes, {failures} store failures, {back} clock \
         steps, {mails} mails, {doubled} of them again within the window: {verdict}",
        from + seeds - 1
    );
    assert!(mails > 0 && (one.is_some() || crashes > 0), "nothing happened");
    assert!(wrong.is_empty(), "seeds {wrong:?}; replay with TALLOW_SEED=n TALLOW_DAYS={days}");
}

#[tokio::test]
async fn a_seed_replays_alike() {
    let (first, again) = (simulated(7, 40).await, simulated(7, 40).await);
    assert_eq!(first.trace, again.trace);
}
