//! How well forecasts are calibrated on simulated fleets of known truth, by truth: on the seeds that the constants
//! were chosen on, on seeds that were not looked at until then, and on both with station groups that differ. Ends
//! with 1 where the share inside the 10 to 90 % span is not 80 ± 5 %, or that before the 10 % date not 10 ± 3 %,
//! but for fleets none of whose logs is a year long.
//!
//! `cargo bench --bench odds_calibration` prints the figures; they are the same on every machine.

use std::process::ExitCode;

use policies::fault::Fault;
use policies::odds_trial::{Tally, Trial, run};

/// First seeds of the blocks: a fleet has a seed of its own, the same under every truth.
const BLOCKS: [(u64, &str); 2] =
    [(20_261_012, "seeds that the constants were chosen on"), (71_000_000, "fresh seeds")];
/// Station groups of a fleet: none, or two of six hosts whose mean rates differ by half.
const GROUPS: [(u32, &str); 2] = [(0, ""), (2, ", two station groups")];
/// Truths tried: the variance of a month's own factor.
const SPREADS: [(f64, &str); 4] = [
    (0.0, "plain Poisson"),
    (0.1, "months stray by 32 %"),
    (0.25, "months stray by 50 %"),
    (0.5, "months stray by 71 %"),
];
/// Longest logs tried, in months; the shortest of each fleet has two.
const LOGS: [u32; 4] = [6, 12, 48, 120];
/// Below this, season and spread are still borrowed: the figures are told, and nothing is asked of them.
const ENOUGH: u32 = 12;

fn main() -> ExitCode {
    println!("truth, longest log in months: crossings, inside 10-90 %, before the 10, 50 and 90 % date");
    let mut sound = true;
    for (seed, block) in BLOCKS {
        for (groups, name) in GROUPS {
            println!("\n{block}, from {seed}{name}");
            match all_truths(seed, groups) {
                Ok(here) => sound &= here,
                Err(faults) => {
                    eprintln!("{faults:?}");
                    return ExitCode::FAILURE;
                }
            }
        }
    }
    if sound { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Whether forecasts are calibrated under every truth.
fn all_truths(seed: u64, groups: u32) -> Result<bool, Vec<Fault>> {
    let mut sound = true;
    let mut all = Tally::default();
    for (spread, name) in SPREADS {
        for longest_log in LOGS {
            let trial = Trial { seed, fleets: 200, hosts: 12, groups, spread, longest_log, learn: true };
            let tally = run(&trial)?;
            sound &= told(&format!("{name}, {longest_log}"), &tally) || longest_log < ENOUGH;
            all.join(&tally);
        }
    }
    Ok(told("all", &all) && sound)
}

fn told(name: &str, tally: &Tally) -> bool {
    let [early, middle, late] = tally.before.map(|count| tally.percent(count));
    let inside = tally.percent(tally.inside);
    let sound = (75.0..=85.0).contains(&inside) && (7.0..=13.0).contains(&early);
    let word = if sound { "" } else { "  not calibrated" };
    println!(
        "{name:32}: {:6}, {inside:.1} %, {early:.1} %, {middle:.1} %, {late:.1} %{word}",
        tally.crossings
    );
    sound
}
