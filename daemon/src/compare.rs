//! A policy change rehearsed: both sets over the same records, and everything that moves, earliest effect first.

mod notices;
mod rows;
mod spares;

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::facts::Fleet;
use policies::load::PolicySet;
use serde::Serialize;

use crate::desk::DeskError;
use crate::fitness::{self, PaperRows, papers};
use crate::records;
use crate::store::Store;
use rows::Rows;

/// One thing that moves.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Move {
    /// The day from which it is felt: the earlier of both dates, but no day before the new set is in force.
    pub effect_on: String,
    /// `row`, `due date`, `last day`, `allowed use`, `overdue effect`, `standing`, `readiness`, `notice` or `spare`.
    pub what: &'static str,
    /// Owner's slug.
    pub station: String,
    /// Tag; the part, or the kind where no part is named, for a spare; empty for readiness.
    pub item: String,
    /// Rule; empty for readiness and spares.
    pub rule: String,
    /// Under the old set.
    pub old: String,
    /// Under the new set.
    pub new: String,
    /// What being overdue does, under the new set where it has the rule.
    pub overdue_effect: &'static str,
    /// A launch is stopped later than under the old set, or no longer: many of these want a second word.
    pub later: bool,
    /// A date of a rule that stands on law in either set moves later, or goes: one is enough for a second word.
    pub law_later: bool,
}

/// One side of a comparison.
pub struct Side<'s> {
    /// Rules.
    pub set: &'s PolicySet,
    /// The fleet under them.
    pub fleet: &'s Fleet,
}

/// Records beside the fleet that a comparison looks at.
pub struct Beside {
    papers: PaperRows,
    parts: BTreeMap<String, String>,
}

impl Beside {
    /// Papers and parts as they are stored.
    ///
    /// # Errors
    /// The store's failure.
    pub async fn of(store: &Store) -> Result<Beside, DeskError> {
        let items = store.newest::<records::Item>().await?;
        let parts = items.into_iter().filter_map(|(tag, item)| Some((tag, item.part?))).collect();
        Ok(Beside { papers: papers(store).await?, parts })
    }
}

/// What a comparison found.
#[derive(Clone, Debug)]
pub struct Compared {
    /// Everything that moves, earliest effect first.
    pub moves: Vec<Move>,
    /// Rows of the old set that can stop a launch.
    pub stopping: usize,
}

/// Everything that moves between two sets at the end of a day. No effect is felt before `in_force`.
pub fn compare(old: &Side, new: &Side, beside: &Beside, as_of: Date, in_force: Date) -> Compared {
    let (before, after) = (Rows::of(old, as_of), Rows::of(new, as_of));
    let mut moves = rows::moves(&before, &after, as_of);
    moves.extend(notices::moves(&before, &after, as_of));
    moves.extend(readiness_moves(old, new, &beside.papers, as_of));
    moves.extend(spares::moves(&before, &after, &beside.parts, as_of));
    let floor = as_of.max(in_force).to_string();
    for found in moves.iter_mut().filter(|found| found.effect_on < floor) {
        found.effect_on.clone_from(&floor);
    }
    moves.sort_by(|a, b| key(a).cmp(&key(b)));
    Compared { moves, stopping: before.stopping() }
}

fn key(found: &Move) -> (&str, &str, &str, &str, &str) {
    (&found.effect_on, &found.station, &found.item, &found.rule, found.what)
}

fn readiness_moves(old: &Side, new: &Side, papers: &PaperRows, as_of: Date) -> Vec<Move> {
    let judged = |side: &Side| {
        let lines = fitness::lines(side.set, side.fleet, as_of, &papers.of(side.set, side.fleet));
        lines.into_iter().map(|line| (line.station.clone(), line)).collect::<BTreeMap<_, _>>()
    };
    let (before, after) = (judged(old), judged(new));
    let apart = before.iter().filter_map(|(slug, line)| Some((line, after.get(slug)?)));
    let apart = apart.filter(|(old, new)| old.readiness != new.readiness);
    apart
        .map(|(old, new)| Move {
            effect_on: as_of.to_string(),
            what: "readiness",
            station: old.station.clone(),
            item: String::new(),
            rule: String::new(),
            old: old.readiness.to_owned(),
            new: new.readiness.to_owned(),
            overdue_effect: "",
            later: false,
            law_later: false,
        })
        .collect()
}
