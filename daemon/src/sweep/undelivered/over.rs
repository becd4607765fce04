//! Which notices that did not arrive need no more telling: their work is done, somebody has answered for it, or their
//! reader was told since.

use std::collections::{BTreeSet, HashMap, HashSet};

use policies::due::{DueRow, Evaluator};
use policies::facts::Fleet;
use policies::standing::Standing;

use crate::desk::{Desk, DeskError};
use crate::notices::compose::occurrence_of;
use crate::store::outbox::{InTrouble, State, Told};
use crate::store::telling::Passed;
use crate::sweep::readers::Readers;
use crate::sweep::{Ground, Linking, Mail};

/// Item, rule, and which time it falls due.
type Matter = (String, String, String);

/// Of these notices, the numbers of those that are over.
///
/// # Errors
/// The store's failure.
pub(super) async fn among(
    desk: &Desk,
    mail: &Mail,
    readers: &Readers,
    climbing: &[&InTrouble],
) -> Result<HashSet<String>, DeskError> {
    let mut asked: HashMap<&str, Vec<Told>> = HashMap::new();
    for notice in climbing {
        asked.insert(&notice.number, lines(desk, notice).await?);
    }
    let open = open(desk, mail, asked.values().flatten()).await?;
    let mut over = HashSet::new();
    for notice in climbing {
        if is_over(desk, readers, notice, &asked[&*notice.number], &open).await? {
            over.insert(notice.number.clone());
        }
    }
    Ok(over)
}

/// What a notice asks for; the copy of one, what that one asks.
async fn lines(desk: &Desk, notice: &InTrouble) -> Result<Vec<Told>, DeskError> {
    let Some((original, _)) = notice.occasion.split_once(" copy ") else {
        return Ok(desk.store.asked_in(&notice.number).await?);
    };
    let mut found = Vec::new();
    for (_, _, number) in desk.store.told_of(original).await? {
        found.extend(desk.store.asked_in(&number).await?);
    }
    Ok(found)
}

/// What of these lines stands open still.
async fn open(
    desk: &Desk,
    mail: &Mail,
    lines: impl Iterator<Item = &Told>,
) -> Result<HashSet<Matter>, DeskError> {
    let lines: Vec<&Told> = lines.collect();
    let items: BTreeSet<&str> = lines.iter().map(|line| &*line.item).collect();
    // What is no rule's is worked out for the whole fleet, so only where it is asked for.
    let besides = lines.iter().any(|line| desk.set.find_rule(&line.rule).is_none());
    let ground = if besides { Some(Ground::read(desk, mail, Linking::None).await?) } else { None };
    desk.with_fleet(|fleet| {
        let rows = items.into_iter().flat_map(|item| rows(desk, fleet, item));
        let mut open: HashSet<Matter> = rows.collect();
        if let Some(ground) = &ground {
            let papers = ground.papers.of(&desk.set, fleet);
            let matters = ground.matters(fleet, &papers, desk.today()).into_iter();
            open.extend(matters.map(|matter| key(&matter.mark)));
        }
        open
    })
    .await
}

/// The rows of an item that have come to something.
fn rows(desk: &Desk, fleet: &Fleet, tag: &str) -> Vec<Matter> {
    let Some(id) = fleet.find(tag) else { return Vec::new() };
    let evaluator = Evaluator::during(&desk.set, fleet, desk.today());
    let item = fleet.item(id);
    let open = evaluator.standing_rows_of(id).into_iter().filter(|row| row.standing != Standing::InDate);
    let key = |row: DueRow| {
        let rule = desk.set.rule(row.rule).id.clone();
        (tag.to_owned(), rule, occurrence_of(&evaluator, item, &row))
    };
    open.map(key).collect()
}

fn key(line: &Told) -> Matter {
    (line.item.clone(), line.rule.clone(), line.occurrence.clone())
}

async fn is_over(
    desk: &Desk,
    readers: &Readers,
    notice: &InTrouble,
    lines: &[Told],
    open: &HashSet<Matter>,
) -> Result<bool, DeskError> {
    if lines.is_empty() {
        let since = desk.store.sent_since(&notice.person, notice.composed_at).await?;
        let newer = |(kind, to): &(String, String)| {
            (*kind == notice.kind || notice.kind == "all is well") && !readers.is_bad(to)
        };
        return Ok(BY_CALENDAR.contains(&notice.kind.as_str()) && since.iter().any(newer));
    }
    let marks: BTreeSet<Told> = lines.iter().cloned().collect();
    let passed = desk.store.passed(&marks).await?;
    Ok(lines.iter().all(|line| {
        let work = (line.item.clone(), line.rule.clone());
        !open.contains(&key(line)) || passed.get(&work).is_some_and(|told| is_known(readers, notice, told))
    }))
}

/// Letters that the next of their kind replaces.
const BY_CALENDAR: [&str; 4] = ["region", "chain head", "spares plan", "all is well"];

/// Whether somebody answered for a piece of work since, or the reader was sent a newer notice of it, to an address that
/// mail does not come back from.
fn is_known(readers: &Readers, notice: &InTrouble, told: &[Passed]) -> bool {
    told.iter().any(|one| {
        // Somebody else's "not now" says nothing of what this reader must know.
        let counts = |word: &str| word == "done" || one.person == notice.person;
        let answered = one.answer.as_ref();
        let answered = answered.is_some_and(|(word, at)| counts(word) && *at >= notice.composed_at);
        let newer = one.person == notice.person && one.composed_at > notice.composed_at;
        answered || (newer && one.state == State::Sent.word() && !readers.is_bad(&one.recipient))
    })
}
