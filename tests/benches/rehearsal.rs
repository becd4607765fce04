//! Readiness of 2,400 stations, and a changed rule rehearsed over their 50,000 items, each against one full
//! evaluation: the due table with forecasts.
//!
//! Prints CPU times and their ratios: comparing should cost less than 2.5 evaluations, readiness less than 0.2. Ends
//! with 1 where the comparison does not find what the two due tables say. `cargo bench --bench rehearsal` takes the
//! whole fleet, `-- --tenth` a tenth of it.

#[path = "due_table/machine.rs"]
mod machine;

use std::process::ExitCode;

use daemon::compare::{Beside, Compared, Side, compare};
use daemon::fitness;
use daemon::store::Store;
use machine::{median, peak_mib, timed};
use policies::due::{DueRow, Evaluator};
use policies::facts::{Fleet, FleetBuilder};
use policies::load::{PolicyFile, PolicySet, load};
use policies::readiness::Papers;
use tests::large_fleet::{self, AS_OF, Size};

type Failure = Box<dyn std::error::Error>;

const WHOLE: Size = Size { stations: 2_400, items: 50_000, events: 2_000_000 };
const TENTH: Size = Size { stations: 240, items: 5_000, events: 200_000 };
/// Each time is the median of so many runs.
const RUNS: usize = 5;
/// What is aimed at, in full evaluations.
const COMPARE_UNDER: f64 = 2.5;
const READINESS_UNDER: f64 = 0.2;

/// The rule that changes, as it stands and as it is rehearsed: every fall is examined a month earlier.
const CHANGED: &str = "fall-examination";
const OLD: &str = "every = \"6 months\"";
const NEW: &str = "every = \"5 months\"";

fn main() -> Result<ExitCode, Failure> {
    let size = if std::env::args().any(|word| word == "--tenth") { TENTH } else { WHOLE };
    println!("{} stations, {} items, {} rows of use", size.stations, size.all_items(), size.events);
    let (old, new) = (policy_set(&size, false)?, policy_set(&size, true)?);
    let (before, after) = (build(&size, &old), build(&size, &new));
    let sides = [Side { set: &old, fleet: &before }, Side { set: &new, fleet: &after }];
    let [was, now] = sides.each_ref().map(|side| Evaluator::new(side.set, side.fleet, AS_OF).table());
    let one = seconds(|| Evaluator::new(&old, &before, AS_OF).table());
    println!("one full evaluation: {} rows, {one:.3} s", was.len());
    readiness(&old, &before, one);
    let found = rehearsed(&sides, one)?;
    println!("peak memory: {} MiB", peak_mib());
    Ok(if agree(&found, &was, &now) { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// The fleet's own set, or the one with one rule changed.
fn policy_set(size: &Size, changed: bool) -> Result<PolicySet, Failure> {
    let mut files = large_fleet::policy_files(size);
    if changed {
        for (_, text) in &mut files {
            let Some(rule) = text.find(&format!("id = \"{CHANGED}\"")) else { continue };
            let every = rule + text[rule..].find(OLD).ok_or("the rule says something else")?;
            text.replace_range(every..every + OLD.len(), NEW);
        }
    }
    let files: Vec<PolicyFile> = files.into_iter().map(|(name, text)| PolicyFile { name, text }).collect();
    load(&files).map_err(|faults| format!("{faults:?}").into())
}

fn build(size: &Size, set: &PolicySet) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    large_fleet::feed(size, &mut builder);
    builder.finish().0
}

/// Median CPU seconds.
fn seconds<T>(work: impl Fn() -> T) -> f64 {
    let mut runs: Vec<f64> = (0..RUNS).map(|_| timed(&work).0).collect();
    median(&mut runs)
}

fn told(what: &str, seconds: f64, one: f64, aim: f64) {
    println!("{what}: {seconds:.3} s, {:.2} of one full evaluation (aim: under {aim})", seconds / one);
}

/// Every station judged, and told in words with reasons, doubts and what clears them.
fn readiness(set: &PolicySet, fleet: &Fleet, one: f64) {
    let papers = Papers::default();
    let judged = seconds(|| Evaluator::without_forecasts(set, fleet, AS_OF).readiness(&papers));
    told("readiness", judged, one, READINESS_UNDER);
    let words = seconds(|| fitness::lines(set, fleet, AS_OF, &papers));
    told("readiness in words", words, one, READINESS_UNDER);
}

fn rehearsed(sides: &[Side; 2], one: f64) -> Result<Compared, Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let beside = runtime.block_on(async { Beside::of(&Store::in_memory().await?).await })?;
    let work = || compare(&sides[0], &sides[1], &beside, AS_OF, AS_OF);
    let found = work();
    told("policy compare", seconds(work), one, COMPARE_UNDER);
    Ok(found)
}

/// Whether the due dates that the comparison says move are those in which the two tables differ.
fn agree(found: &Compared, was: &[DueRow], now: &[DueRow]) -> bool {
    let apart = |(old, new): &(&DueRow, &DueRow)| (old.due_on, old.because) != (new.due_on, new.because);
    let wanted = was.iter().zip(now).filter(apart).count();
    let moved = found.moves.iter().filter(|one| one.what == "due date").count();
    println!("{} moves, {moved} of them due dates; the tables differ in {wanted}", found.moves.len());
    wanted > 0 && moved == wanted && was.len() == now.len()
}
