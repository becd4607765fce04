//! What the discard criteria say, in words: the verdict, by whose criteria, and the figures that gave it.

use policies::assess::{Assessment, Criterion, Verdict};
use policies::judge::Judged;

/// The verdict with the criteria that gave it, in one line.
pub fn says(found: &Assessment) -> String {
    let telling = |one: &&Criterion| one.verdict() == found.verdict || one.verdict() != Verdict::Accept;
    let criteria: Vec<String> = found.criteria.iter().filter(telling).map(criterion).collect();
    let verdict = verdict(found);
    if criteria.is_empty() { verdict } else { format!("{verdict}: {}", criteria.join("; ")) }
}

/// The verdict, whose it is, and where a sum of ratings gave it, by whose rule they were added.
fn verdict(found: &Assessment) -> String {
    let sum = found.by_sum().map(|rule| format!(" ({} added: {})", rule.parts, rule.source));
    let rating = found.combined.shown();
    format!("{} by {}, {rating} %{}", found.verdict, found.regime.criteria(), sum.unwrap_or_default())
}

fn criterion(one: &Criterion) -> String {
    let unit = if one.unit.is_empty() { String::new() } else { format!(" {}", one.unit) };
    format!(
        "{} {}{unit}, discard {} {}{unit}, {} % ({})",
        one.name,
        one.value_text(),
        one.sense,
        one.limit_text(),
        one.rating.shown(),
        one.source
    )
}

/// Readings that were judged together or one by one, the worst first; where none could be, why. Sound ones are told
/// by the verdict alone.
pub fn of_readings(judged: &Judged) -> Vec<String> {
    let told = |found: &Assessment| {
        let words = if found.verdict == Verdict::Accept { verdict(found) } else { says(found) };
        format!("judged {words}")
    };
    let faults = judged.faults.iter().map(|fault| format!("not judged: {fault}"));
    judged.assessments.iter().map(told).chain(faults).collect()
}
