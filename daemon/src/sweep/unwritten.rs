//! Notices that could not be written, such as to a name that no mail can carry, by a template of the house, or of a load
//! that cannot be found. They are in no list of what did not arrive, so that they are an alarm until they can be.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use super::deed;
use super::readers::Readers;
use crate::alarms;
use crate::desk::{Desk, DeskError};
use crate::notices::compose::audience;
use crate::store::Writer;

/// What tells a person of work, a copy of what a test house is asked among it.
pub(super) const NOTICE: &str = "notice";
/// Settings that remember why, a line each, by the kind of notice and whom it is for.
const KEPT: &str = "not written ";
const ALARM: &str = "unwritten";
/// So many people are named in the alarm, each with so many reasons.
const NAMED: usize = 25;
const REASONS: usize = 3;

/// Something that could not be written.
#[derive(Debug)]
pub(super) struct Unwritten {
    /// Whom it is for.
    pub(super) person: String,
    /// What it is, where it is not all that they are told, and why not.
    pub(super) why: String,
}

/// Whose notices of a kind are over where they did not fail now.
pub(super) enum Over<'p> {
    /// Nobody's.
    None,
    /// All that were to be told now.
    Of(&'p HashSet<String>),
    /// Everybody's.
    All,
}

/// Reasons by `KIND: PERSON`.
async fn kept(desk: &Desk) -> Result<BTreeMap<String, String>, DeskError> {
    Ok(desk.store.remembered_under(KEPT).await?.into_iter().collect())
}

/// Whether something of a kind waits to be written.
///
/// # Errors
/// The store's failure.
pub(super) async fn waits(desk: &Desk, kind: &str) -> Result<bool, DeskError> {
    let of_kind = format!("{kind}: ");
    Ok(kept(desk).await?.keys().any(|name| name.starts_with(&of_kind)))
}

/// Keeps what could not be written of one kind, and forgets what is over.
///
/// # Errors
/// The store's failure.
pub(super) async fn settle(
    desk: &Desk,
    kind: &str,
    over: Over<'_>,
    unwritten: &[Unwritten],
) -> Result<(), DeskError> {
    let before = kept(desk).await?;
    let mut now: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for one in unwritten {
        now.entry(format!("{kind}: {}", one.person)).or_default().push(&one.why);
    }
    let now: BTreeMap<String, String> = now.into_iter().map(|(name, why)| (name, why.join("\n"))).collect();
    let is_over = |name: &&String| match (name.split_once(": "), &over) {
        (Some((of, _)), _) if of != kind => false,
        (Some((_, person)), Over::Of(people)) => people.contains(person),
        (Some(_), Over::None) => false,
        (Some(_), Over::All) | (None, _) => true,
    };
    let gone: Vec<&String> = before.keys().filter(|name| !now.contains_key(*name)).filter(is_over).collect();
    let news: Vec<_> = now.iter().filter(|(name, why)| before.get(*name) != Some(*why)).collect();
    if gone.is_empty() && news.is_empty() {
        return Ok(());
    }
    desk.store
        .write(deed(desk.now()), async |tx: &mut Writer| {
            for name in &gone {
                tx.forget(&format!("{KEPT}{name}")).await?;
            }
            for (name, why) in &news {
                tx.remember(&format!("{KEPT}{name}"), why).await?;
            }
            Ok(())
        })
        .await
}

/// Raises the alarm of what is kept, or clears it. Every sweep does, so that it stands as the settings do whatever
/// happened in between.
///
/// # Errors
/// The store's failure.
pub(super) async fn told(desk: &Desk) -> Result<(), DeskError> {
    let mut kept = kept(desk).await?;
    if !kept.is_empty() {
        let readers = Readers::read(desk).await?;
        // Whoever is gone, or is told of nothing any more, is owed nothing.
        kept.retain(|name, _| {
            let Some((kind, person)) = name.split_once(": ") else { return false };
            readers.find(person).is_some_and(|person| kind != NOTICE || audience(person).is_some())
        });
    }
    if kept.is_empty() {
        return Ok(alarms::clear(&desk.store, ALARM, desk.now()).await?);
    }
    let said = kept.iter().filter_map(|(name, why)| {
        let (kind, person) = name.split_once(": ")?;
        Some(format!("{} to {person} ({})", letter(kind), reasons(why)))
    });
    let more = kept.len().saturating_sub(NAMED);
    let more = if more > 0 { format!(", and {more} more") } else { String::new() };
    let text = format!(
        "what somebody must be told cannot be written: {}{more}. Tell them by other means, and put right what it says: a \
         name or an address in people.csv, a template of your own, what is on record of the gear. What is still owed by \
         then is tried again every day.",
        said.take(NAMED).collect::<Vec<_>>().join(", ")
    );
    let each = kept.iter().flat_map(|(name, why)| why.lines().map(move |why| format!("{name} {why}")));
    let of: BTreeSet<String> = each.collect();
    Ok(alarms::raise_of(&desk.store, ALARM, &text, of, desk.now()).await?)
}

/// A kind as the alarm calls it.
fn letter(kind: &str) -> &str {
    match kind {
        NOTICE => "the daily notice",
        "region" => "the region's week",
        "chain head" => "the head of the record chain",
        "spares plan" => "the month's renewals",
        other => other,
    }
}

fn reasons(why: &str) -> String {
    let all: Vec<&str> = why.lines().collect();
    let first = all.iter().take(REASONS).copied().collect::<Vec<_>>().join("; ");
    let more = all.len().saturating_sub(REASONS);
    if more > 0 { format!("{first}; and {more} more") } else { first }
}
