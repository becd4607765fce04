//! The plan of spares over 50,000 items of 600 parts and 18 months, against one full evaluation: the due table with
//! forecasts.
//!
//! Prints CPU times and their ratio (aim: at most 2) and peak memory (aim: under 512 MiB), after the expected demand of
//! all lines was found to be the sum of every item's own chance and of the random discards; ends with 1 where it is not.
//! `cargo bench --bench stores_plan` takes the whole fleet, `-- --tenth` a tenth of it.

#[path = "due_table/machine.rs"]
mod machine;

use std::collections::HashMap;
use std::process::ExitCode;

use machine::{median, peak_mib, timed};
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::{Fleet, FleetBuilder};
use policies::load::{PolicyFile, PolicySet, load};
use policies::span::Span;
use policies::stores::plan::{Asked, Line, Part, Shelf, Usable, plan};
use policies::stores::renewal::Renewals;
use tests::large_fleet::{self, AS_OF, S, Size, TENTH};

type Failure = Box<dyn std::error::Error>;

const PARTS: usize = 600;
const RUNS: usize = 3;
const RATIO_AIM: f64 = 2.0;
const MEMORY_AIM_MIB: u64 = 512;

fn main() -> Result<ExitCode, Failure> {
    let size = if std::env::args().any(|word| word == "--tenth") { TENTH } else { S };
    let set = policy_set(&size)?;
    let mut builder = FleetBuilder::new(&set);
    large_fleet::feed(&size, &mut builder);
    let fleet = builder.finish().0;
    println!("{} items, {PARTS} parts; peak memory so far {} MiB", size.all_items(), peak_mib());
    let one = seconds(|| Evaluator::new(&set, &fleet, AS_OF).table());
    println!("one full evaluation: {one:.3} s");
    let (parts, part_of) = parts(&set, &fleet);
    let spent = seconds(|| planned(&set, &fleet, &parts, &part_of));
    println!("plan: {spent:.3} s, {:.2} of one full evaluation (aim: at most {RATIO_AIM})", spent / one);
    println!("peak memory: {} MiB (aim: under {MEMORY_AIM_MIB})", peak_mib());
    let lines = planned(&set, &fleet, &parts, &part_of);
    Ok(if agrees(&set, &fleet, &part_of, &lines) { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn policy_set(size: &Size) -> Result<PolicySet, Failure> {
    let files = large_fleet::policy_files(size).into_iter().map(|(name, text)| PolicyFile { name, text });
    load(&files.collect::<Vec<_>>()).map_err(|faults| format!("{faults:?}").into())
}

/// Median CPU seconds.
fn seconds<T>(work: impl Fn() -> T) -> f64 {
    let mut runs: Vec<f64> = (0..RUNS).map(|_| timed(&work).0).collect();
    median(&mut runs)
}

/// The parts of each kind of gear, and every item under one of its kind's.
fn parts(set: &PolicySet, fleet: &Fleet) -> (Vec<Part>, Vec<Option<usize>>) {
    let fitted: Vec<_> =
        set.kinds.kinds.iter().enumerate().filter(|(_, kind)| kind.positions.is_empty()).collect();
    let each = PARTS / fitted.len().max(1);
    let mut parts = Vec::new();
    let mut first: HashMap<usize, usize> = HashMap::new();
    for (index, kind) in fitted {
        first.insert(index, parts.len());
        for number in 0..each {
            let id = set.kinds.find(&kind.name).unwrap_or(policies::kinds::KindId(0));
            let weeks = 2 + u32::try_from(number % 15).unwrap_or(0);
            let lead = Span::days(7 * weeks);
            let name = format!("{} {number}", kind.name);
            parts.push(Part { name, kind: id, lead, metres: false, pack: None, serves: 1 });
        }
    }
    let own = fleet.items.iter().enumerate().map(|(at, item)| {
        let first = first.get(&usize::from(item.kind.0))?;
        Some(first + at % each)
    });
    let own = own.collect();
    (parts, own)
}

/// Every fiftieth part is out of stock, so that what lateness costs is reckoned too.
fn shelf(part: usize) -> Shelf {
    let on_hand = if part.is_multiple_of(50) { Amount::ZERO } else { Amount::whole(200) };
    let usable = vec![Usable::lasting(on_hand)];
    Shelf { part, place: None, on_hand, blocked: Amount::ZERO, usable, coming: Vec::new() }
}

fn planned(set: &PolicySet, fleet: &Fleet, parts: &[Part], part_of: &[Option<usize>]) -> Vec<Line> {
    let (certain, odds) =
        (Evaluator::without_forecasts(set, fleet, AS_OF), Evaluator::new(set, fleet, AS_OF));
    let shelves: Vec<Shelf> = (0..parts.len()).map(shelf).collect();
    plan(&Asked {
        certain: &certain,
        odds: &odds,
        parts,
        part_of,
        quantity: &[],
        shelves: &shelves,
        wear: &HashMap::new(),
        defects: &[],
        ordered: AS_OF,
        service: 0.95,
        until: Span::days(548).after(AS_OF, 1),
    })
    .lines
}

/// Expected demand, line by line against item by item.
fn agrees(set: &PolicySet, fleet: &Fleet, part_of: &[Option<usize>], lines: &[Line]) -> bool {
    let (certain, odds) =
        (Evaluator::without_forecasts(set, fleet, AS_OF), Evaluator::new(set, fleet, AS_OF));
    let renewals = Renewals::new(&odds);
    let by_part: HashMap<usize, &Line> = lines.iter().map(|line| (line.part, line)).collect();
    let mut sums: HashMap<usize, f64> = HashMap::new();
    for id in fleet.ids() {
        let Some(part) = part_of[id.0 as usize] else { continue };
        let Some(renewal) = renewals.of(&certain, id, &[], &[]) else { continue };
        *sums.entry(part).or_default() +=
            renewals.chances_by(&renewal, by_part[&part].usable_on).iter().sum::<f64>();
    }
    let mut apart = 0;
    for (part, line) in &by_part {
        let discards = line.discards.a_year() * line.gear_years;
        let wanted = sums.get(part).copied().unwrap_or(0.0) + discards;
        apart += usize::from((line.demand.mean() - wanted).abs() > 1e-4 * wanted.max(1.0));
    }
    let late = lines.iter().filter(|line| line.days_lost > 0.0).count();
    println!("{late} lines are late, with their ways out");
    let all: f64 = lines.iter().map(|line| line.demand.mean()).sum();
    println!(
        "{} lines, {all:.1} pieces expected until their orders come; {apart} lines differ from the sum of their items",
        lines.len()
    );
    !lines.is_empty() && all > 0.0 && apart == 0
}
