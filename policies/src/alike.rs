//! Items of a kind that sit on one host must agree: a pair from one drum, a set of equal lengths.

use jiff::civil::Date;

use crate::amount::Amount;
use crate::facts::{Fitting, Fleet, ItemId, State};
use crate::rule::{Alike, Value};
use crate::zone::Instant;

/// Fellows that do not agree.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unlike {
    /// Local date on which the last of them was fitted.
    pub since: Date,
    /// Attribute columns in which they differ.
    pub columns: Vec<String>,
    /// The item and its fellows.
    pub fellows: Vec<ItemId>,
}

/// Whether an item and its fellows on its host at 24:00 before `cutoff` differ in something they must agree in. An item
/// moved on that day without a time stands on both hosts; then what has been unlike for longer counts.
pub fn unlike(fleet: &Fleet, id: ItemId, wanted: &[Alike], cutoff: Instant) -> Option<Unlike> {
    if wanted.is_empty() {
        return None;
    }
    let hosts = stays(fleet, id, cutoff).map(|stay| stay.host);
    hosts.filter_map(|host| unlike_on(fleet, id, host, wanted, cutoff)).min_by_key(|unlike| unlike.since)
}

fn unlike_on(fleet: &Fleet, id: ItemId, host: ItemId, wanted: &[Alike], cutoff: Instant) -> Option<Unlike> {
    let fellows = fellows(fleet, id, host, cutoff);
    let differ = wanted.iter().filter(|alike| !agree(fleet, &fellows, alike));
    let columns: Vec<String> = differ.map(|alike| alike.column.clone()).collect();
    if columns.is_empty() {
        return None;
    }
    let here = fellows.iter().flat_map(|fellow| stays(fleet, *fellow, cutoff));
    let latest = here.filter(|stay| stay.host == host).map(|stay| stay.from).max()?;
    Some(Unlike { since: fleet.zone_of(fleet.item(id)).date_of(latest), columns, fellows })
}

fn stays(fleet: &Fleet, id: ItemId, cutoff: Instant) -> impl Iterator<Item = &Fitting> {
    fleet.item(id).fittings.iter().filter(move |fit| fit.from < cutoff && fit.to >= cutoff)
}

/// The items of its kind on the host, itself among them; withdrawn ones aside.
fn fellows(fleet: &Fleet, id: ItemId, host: ItemId, cutoff: Instant) -> Vec<ItemId> {
    let kind = fleet.item(id).kind;
    let mut found = fleet.bearers(host);
    found.retain(|other| {
        let item = fleet.item(*other);
        let withdrawn =
            item.states.iter().any(|change| change.state == State::Withdrawn && change.at < cutoff);
        let here = stays(fleet, *other, cutoff).any(|stay| stay.host == host);
        item.kind == kind && !withdrawn && here
    });
    found
}

/// Known values agree; one that is missing is not compared.
fn agree(fleet: &Fleet, fellows: &[ItemId], alike: &Alike) -> bool {
    let values = fellows.iter().filter_map(|fellow| {
        let attributes = &fleet.item(*fellow).attributes;
        attributes.iter().find(|(column, _)| **column == *alike.column).map(|(_, value)| value)
    });
    let (mut least, mut most): (Option<Amount>, Option<Amount>) = (None, None);
    let mut word: Option<&str> = None;
    for value in values {
        match value {
            Value::Number(number) => {
                least = Some(least.map_or(*number, |have| have.min(*number)));
                most = Some(most.map_or(*number, |have| have.max(*number)));
            }
            Value::Text(text) if word.is_none_or(|have| have == text) => word = Some(text),
            Value::Text(_) => return false,
        }
    }
    least.zip(most).is_none_or(|(least, most)| most - least <= alike.within)
}
