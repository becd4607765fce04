//! Notices that could not be written, such as to a name that no mail can carry, by a template of the house, or of a load
//! that cannot be found. They are in no list of what did not arrive, so that they are an alarm until they can be.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use super::deed;
use super::readers::Readers;
use crate::alarms;
use crate::desk::{Desk, DeskError};
use crate::store::Writer;

/// Settings that remember why, by the kind of notice and whom it is for.
const KEPT: &str = "not written ";
const ALARM: &str = "unwritten";
/// So many are named in the alarm.
const NAMED: usize = 25;

/// Something that could not be written.
#[derive(Debug)]
pub(super) struct Unwritten {
    /// Whom it is for.
    pub(super) person: String,
    /// What it is, and why not.
    pub(super) why: String,
}

/// Keeps what could not be written of one kind: all that `asked` were to be sent now, and of nobody else.
///
/// # Errors
/// The store's failure.
pub(super) async fn settle(
    desk: &Desk,
    kind: &str,
    asked: &HashSet<String>,
    unwritten: &[Unwritten],
) -> Result<(), DeskError> {
    let kept = desk.store.remembered_under(KEPT).await?;
    if kept.is_empty() && unwritten.is_empty() {
        return Ok(());
    }
    let mut failed: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for one in unwritten {
        failed.entry(format!("{kind}: {}", one.person)).or_default().push(&one.why);
    }
    let readers = Readers::read(desk).await?;
    let is_over = |name: &String| {
        let Some((of, person)) = name.split_once(": ") else { return true };
        (of == kind && asked.contains(person)) || readers.find(person).is_none()
    };
    let mut now: BTreeMap<String, String> = kept.clone().into_iter().collect();
    now.retain(|name, _| !is_over(name));
    now.extend(failed.into_iter().map(|(name, why)| (name, why.join("; "))));
    let gone: Vec<&String> = kept.keys().filter(|name| !now.contains_key(*name)).collect();
    let news: Vec<_> = now.iter().filter(|(name, why)| kept.get(*name) != Some(*why)).collect();
    if !gone.is_empty() || !news.is_empty() {
        desk.store
            .write(deed(desk.now()), async |tx: &mut Writer| {
                for name in &gone {
                    tx.forget(&format!("{KEPT}{name}")).await?;
                }
                for (name, why) in &news {
                    tx.remember(&format!("{KEPT}{name}"), why).await?;
                }
                Ok::<_, DeskError>(())
            })
            .await?;
    }
    told(desk, &now).await
}

async fn told(desk: &Desk, unwritten: &BTreeMap<String, String>) -> Result<(), DeskError> {
    if unwritten.is_empty() {
        return Ok(alarms::clear(&desk.store, ALARM, desk.now()).await?);
    }
    let said = unwritten.iter().filter_map(|(name, why)| {
        let (kind, person) = name.split_once(": ")?;
        Some(format!("the {kind} to {person} ({why})"))
    });
    let more = unwritten.len().saturating_sub(NAMED);
    let more = if more > 0 { format!(", and {more} more") } else { String::new() };
    let text = format!(
        "what somebody must be told cannot be written: {}{more}. Tell them by other means, and put right what it says: a \
         name or an address in people.csv, a template of your own, what is on record of the gear. It is tried again when \
         they are told next.",
        said.take(NAMED).collect::<Vec<_>>().join(", ")
    );
    let of: BTreeSet<String> = unwritten.iter().map(|(name, why)| format!("{name} {why}")).collect();
    Ok(alarms::raise_of(&desk.store, ALARM, &text, of, desk.now()).await?)
}
