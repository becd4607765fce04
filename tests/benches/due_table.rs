//! The whole due table of a large fleet, against the same due dates worked out by an SQL script in `SQLite`.
//!
//! Prints CPU times and their ratio, after both have been found to agree on every row; ends with 1 where they do
//! not. `cargo bench --bench due_table` takes the whole fleet, `-- --tenth` a tenth of it.

#[path = "due_table/machine.rs"]
mod machine;
#[path = "due_table/script.rs"]
mod script;

use jiff::civil::Date;
use machine::{median, peak_mib, timed};
use policies::due::{DueRow, Evaluator};
use policies::facts::{Fleet, FleetBuilder};
use policies::load::{PolicyFile, PolicySet, load};
use std::process::ExitCode;
use tests::large_fleet::{self, AS_OF, METERS, RULES, S, Size, TENTH};

type Failure = Box<dyn std::error::Error>;

/// What both must agree on, of one item and rule.
#[derive(Debug, PartialEq, Eq)]
struct Answer {
    item: u32,
    rule: usize,
    calendar_due: Option<Date>,
    after_due: Option<Date>,
    meter: Option<usize>,
    used: i64,
    usage_due: Option<Date>,
    due_on: Option<Date>,
}

fn main() -> Result<ExitCode, Failure> {
    let size = if std::env::args().any(|word| word == "--tenth") { TENTH } else { S };
    let set = policy_set(&size)?;
    let (fleet, building) = build(&size, &set);
    let (ours, answers) = evaluate(&set, &fleet);
    println!("peak memory so far: {} MiB", peak_mib());
    forecasts(&set, &fleet, ours);
    drop(fleet);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let sql = runtime.block_on(script::run(&size))?;
    if !agree(&answers, &sql) {
        return Ok(ExitCode::FAILURE);
    }
    println!("due table, CPU: {:.1} times less than the script", sql.seconds / ours);
    println!(
        "index build and due table, CPU: {:.1} times less than the script",
        sql.seconds / (building + ours)
    );
    Ok(ExitCode::SUCCESS)
}

fn policy_set(size: &Size) -> Result<PolicySet, Failure> {
    let files = large_fleet::policy_files(size).into_iter().map(|(name, text)| PolicyFile { name, text });
    load(&files.collect::<Vec<_>>()).map_err(|faults| format!("{faults:?}").into())
}

/// The fleet, and the CPU seconds that its index took.
fn build(size: &Size, set: &PolicySet) -> (Fleet, f64) {
    let mut builder = FleetBuilder::new(set);
    let (feeding, ()) = timed(|| large_fleet::feed(size, &mut builder));
    let (building, (fleet, falls)) = timed(|| builder.finish());
    println!("{} stations, {} items, {} rows of use", size.stations, size.all_items(), size.events);
    println!("drawn and fed: {feeding:.3} s; index built: {building:.3} s; dials that fell: {}", falls.len());
    (fleet, building)
}

/// Median CPU seconds of the table without forecasts, and its rows.
fn evaluate(set: &PolicySet, fleet: &Fleet) -> (f64, Vec<Answer>) {
    let table = || Evaluator::without_forecasts(set, fleet, AS_OF).table();
    let mut runs: Vec<f64> = (0..11).map(|_| timed(table).0).collect();
    let seconds = median(&mut runs);
    let rows = table();
    println!("table without forecasts: {} rows, {seconds:.4} s (of {runs:.4?})", rows.len());
    (seconds, rows.iter().map(|row| answer(set, row)).collect())
}

fn answer(set: &PolicySet, row: &DueRow) -> Answer {
    let meter = row.meter.map(|meter| set.kinds.meter_name(meter));
    let rule = &set.rule(row.rule).id;
    Answer {
        item: row.item.0,
        rule: RULES.iter().position(|spec| spec.id == rule).unwrap_or(usize::MAX),
        calendar_due: row.calendar_due,
        after_due: row.after_due,
        meter: meter.and_then(|name| METERS.iter().position(|have| *have == name)),
        used: row.used.millionths(),
        usage_due: row.usage_due,
        due_on: row.due_on,
    }
}

fn forecasts(set: &PolicySet, fleet: &Fleet, without: f64) {
    let mut runs: Vec<f64> = (0..3).map(|_| timed(|| Evaluator::new(set, fleet, AS_OF).table()).0).collect();
    let with = median(&mut runs);
    println!("table with forecasts: {with:.3} s, of which forecasts {:.3} s (of {runs:.3?})", with - without);
}

/// Prints how many rows differ, and the first few of them.
fn agree(ours: &[Answer], sql: &script::Outcome) -> bool {
    let unequal: Vec<_> = ours.iter().zip(&sql.answers).filter(|(ours, theirs)| ours != theirs).collect();
    let missing = ours.len().abs_diff(sql.answers.len());
    let reached = ours.iter().filter(|row| row.usage_due.is_some()).count();
    let after = ours.iter().filter(|row| row.after_due.is_some()).count();
    println!("{} rows, of which {reached} with a limit reached, {after} after a shock load", ours.len());
    println!("differences: {}", unequal.len() + missing);
    for (ours, theirs) in unequal.iter().take(5) {
        println!("  {ours:?}\n  {theirs:?}");
    }
    !ours.is_empty() && unequal.is_empty() && missing == 0
}
