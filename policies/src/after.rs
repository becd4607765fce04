//! After clauses: what happened since the last work that counts.

use jiff::civil::Date;

use crate::facts::{Done, Fleet, ItemId, Outcome};
use crate::load::PolicySet;
use crate::rule::{After, Event, Happening, Work};
use crate::usage::{self, Period};
use crate::zone::Instant;

/// An open after clause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Open {
    /// When it happened.
    pub at: Instant,
    /// Local date of that.
    pub on: Date,
    /// By when the work is due.
    pub due: Date,
}

/// The earliest event of a clause over a period, if any.
pub fn open(set: &PolicySet, fleet: &Fleet, item: ItemId, clause: &After, period: Period) -> Option<Open> {
    let at = first(set, fleet, item, clause.event, period)?;
    let on = fleet.zone_of(fleet.item(item)).date_of(at);
    let on = if clause.event == Event::Happening(Happening::Removed) {
        removed_on(fleet, item, at, on)
    } else {
        on
    };
    Some(Open { at, on, due: clause.within.after(on, 1) })
}

/// A removal known to the day stands at that day's end, but is that day's.
fn removed_on(fleet: &Fleet, item: ItemId, at: Instant, on: Date) -> Date {
    let known_to_the_day = fleet.item(item).fittings.iter().any(|fit| fit.to == at && fit.to_day);
    if known_to_the_day { on.yesterday().unwrap_or(on) } else { on }
}

fn first(set: &PolicySet, fleet: &Fleet, item: ItemId, event: Event, period: Period) -> Option<Instant> {
    let facts = fleet.item(item);
    let within = |at: &Instant| period.after.is_none_or(|after| *at > after) && *at < period.before;
    let sort_of = |done: &&Done, work: Work| set.rule(done.rule).work == work;
    match event {
        Event::Meter(meter) => usage::first_use(fleet, item, meter, period),
        Event::Work(work) => {
            let works =
                facts.works.iter().filter(|done| done.outcome != Outcome::Failed && sort_of(done, work));
            works.map(|done| done.at).find(within)
        }
        Event::Happening(Happening::Fitted) => facts.fittings.iter().map(|fit| fit.from).find(within),
        Event::Happening(Happening::Removed) => facts.fittings.iter().map(|fit| fit.to).filter(within).min(),
        Event::Happening(Happening::ProofLoadFailed) => {
            let works = facts.works.iter();
            let failed =
                works.filter(|done| done.outcome == Outcome::Failed && sort_of(done, Work::ProofLoadTest));
            failed.map(|done| done.at).find(within)
        }
        Event::Happening(Happening::SetMemberRenewed) => {
            let members = facts.set.iter().flat_map(|name| fleet.set(name)).filter(|member| **member != item);
            let works = members.flat_map(|member| &fleet.item(*member).works);
            let renewed =
                works.filter(|done| done.outcome != Outcome::Failed && sort_of(done, Work::Renewal));
            renewed.map(|done| done.at).filter(within).min()
        }
    }
}
