//! A policy change rehearsed: both sets over the same records, and everything that moves, earliest effect first.

mod clauses;
mod notices;
mod rows;
mod spares;

use std::sync::Arc;

use jiff::civil::Date;
use policies::due::Evaluator;
use policies::facts::Fleet;
use policies::load::PolicySet;
use policies::zone::Instant;
use serde::Serialize;

use crate::desk::DeskError;
use crate::fitness::PaperRows;
use crate::store::Store;
use crate::stores::kept::Kept;
use rows::Rows;

/// One thing that moves.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Move {
    /// The day from which it is felt: the earlier of both dates, but no day before the new set is in force.
    pub effect_on: String,
    /// `row`, `due date`, `last day`, `allowed use`, `overdue effect`, `standing`, `rule`, `readiness`, `notice` or
    /// `spare`.
    pub what: &'static str,
    /// Owner's slug.
    pub station: String,
    /// Tag; the part, or the kind where no part is kept of it, for a spare; empty for readiness and a rule's clauses.
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
    /// Rows that it is of: one, or every row of a rule whose clauses are told of once.
    #[serde(skip)]
    pub rows: usize,
}

/// One side of a comparison: both are of the same records.
pub struct Side<'s> {
    /// Rules.
    pub set: &'s PolicySet,
    /// The fleet under them.
    pub fleet: &'s Fleet,
}

/// Records beside the fleet that a comparison looks at.
pub struct Beside {
    kept: Kept,
}

impl Beside {
    /// Papers, parts and stock as they are stored.
    ///
    /// # Errors
    /// The store's failure.
    pub async fn of(store: &Store) -> Result<Beside, DeskError> {
        Beside::known(store, None).await
    }

    /// The same as they were known before a moment.
    ///
    /// # Errors
    /// The store's failure.
    pub async fn known(store: &Store, known_before: Option<Instant>) -> Result<Beside, DeskError> {
        Ok(Beside { kept: Kept::known(store, known_before).await? })
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
    let (before, after) = tables(old, new, as_of);
    let apart = rows::apart(&before, &after);
    let mut moves = rows::moves(&before, &after, &apart, as_of);
    moves.extend(notices::moves(&before, &after, &apart, as_of));
    moves.extend(clauses::moves(&before, &after, &moves, as_of));
    moves.extend(readiness_moves(&before, &after, &beside.kept.papers, as_of));
    moves.extend(spares::moves([(old, &before), (new, &after)], &beside.kept, as_of));
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

/// Both due tables. What the fleet teaches its odds is the same for both where the sets say the same of it.
fn tables<'s>(old: &Side<'s>, new: &Side<'s>, as_of: Date) -> (Rows<'s>, Rows<'s>) {
    let before = Evaluator::new(old.set, old.fleet, as_of);
    let learnt = before.learnt().filter(|_| learn_alike(old.set, new.set)).map(Arc::clone);
    let after = match learnt {
        Some(learnt) => Evaluator::with_learnt(new.set, new.fleet, as_of, learnt),
        None => Evaluator::new(new.set, new.fleet, as_of),
    };
    (Rows::of(old, &before), Rows::of(new, &after))
}

/// Whether both sets make the same of the same logs.
fn learn_alike(old: &PolicySet, new: &PolicySet) -> bool {
    let (a, b) = (&old.service, &new.service);
    old.kinds == new.kinds
        && (&a.odds, &a.station_groups, &a.home_zone) == (&b.odds, &b.station_groups, &b.home_zone)
}

fn readiness_moves(before: &Rows, after: &Rows, papers: &PaperRows, as_of: Date) -> Vec<Move> {
    let (old, new) = (before.readiness(papers, as_of), after.readiness(papers, as_of));
    let apart = old.iter().filter_map(|(slug, old)| Some((slug, old, new.get(slug)?)));
    let apart = apart.filter(|(_, old, new)| old != new);
    apart
        .map(|(slug, old, new)| Move {
            effect_on: as_of.to_string(),
            what: "readiness",
            station: (*slug).to_owned(),
            item: String::new(),
            rule: String::new(),
            old: old.word().to_owned(),
            new: new.word().to_owned(),
            overdue_effect: "",
            later: false,
            law_later: false,
            rows: 0,
        })
        .collect()
}
