//! After clauses: what happened since the last work that counts.

use jiff::civil::Date;

use crate::amount::Amount;
use crate::condition;
use crate::facts::{Done, Fitting, Fleet, Item, ItemId, Outcome, State};
use crate::kinds::MeterId;
use crate::load::PolicySet;
use crate::rule::{After, Event, Happening, Work};
use crate::usage::{self, Period, Reached};
use crate::zone::{Instant, Zone};

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

/// A moment and its local date: a removal known to the day stands at that day's end, but is that day's.
type Moment = (Instant, Date);

/// The earliest event of a clause over a period, if any. `last` is the local date of the last work that counts.
pub fn open(
    set: &PolicySet,
    fleet: &Fleet,
    item: ItemId,
    clause: &After,
    period: Period,
    last: Option<Date>,
) -> Option<Open> {
    let waived = waived_until(fleet.item(item), clause, last);
    let (at, on) = match clause.event {
        Event::Meter(meter) => {
            first_use(fleet, item, period, waived, |p| usage::first_use(fleet, item, meter, p))
        }
        Event::Reading(when) => {
            first_use(fleet, item, period, waived, |p| condition::first(fleet, item, when, p))
        }
        Event::Work(_) | Event::Happening(_) => {
            let counts = |moment: &Moment| period.holds(moment.0) && waived.is_none_or(|day| moment.1 > day);
            let counted = happened(set, fleet, item, clause.event).into_iter().filter(counts);
            // Days that were written down in two zones may follow one another otherwise than their moments: the work
            // counts from the earliest day, and use from the earliest moment.
            counted.min_by_key(
                |(at, on)| if clause.once_used.is_none() { (Some(*on), *at) } else { (None, *at) },
            )
        }
    }?;
    let from = match clause.once_used {
        None => on,
        Some((meter, count)) => used_on(fleet, item, meter, count, Period { after: Some(at), ..period })?,
    };
    Some(Open { at, on, due: clause.within.after(from, 1) })
}

/// The local date on which so much was used within a period.
fn used_on(fleet: &Fleet, item: ItemId, meter: MeterId, count: Amount, period: Period) -> Option<Date> {
    match usage::used_and_reached(fleet, item, meter, period, count).1? {
        Reached::At(at) => Some(fleet.zone_of(fleet.item(item)).date_of(at)),
        Reached::Opening => None,
    }
}

/// The last day on which an event is met by work done before it.
fn waived_until(item: &Item, clause: &After, last: Option<Date>) -> Option<Date> {
    let span = clause.unless_done_within?;
    last.or(item.manufactured_on).map(|done| span.after(done, 1))
}

/// The first of many moments: those waived are left out before it is looked for.
fn first_use(
    fleet: &Fleet,
    item: ItemId,
    period: Period,
    waived: Option<Date>,
    find: impl Fn(Period) -> Option<Instant>,
) -> Option<Moment> {
    let zone = fleet.zone_of(fleet.item(item));
    let waived = waived.map(|day| Instant(zone.end_of(day).0 - 1));
    let at = find(Period { after: period.after.max(waived), ..period })?;
    Some((at, zone.date_of(at)))
}

/// Every moment at which an event other than use happened to an item.
fn happened(set: &PolicySet, fleet: &Fleet, id: ItemId, event: Event) -> Vec<Moment> {
    let item = fleet.item(id);
    let zone = fleet.zone_of(item);
    let dated = |at: Instant| (at, zone.date_of(at));
    let sort_of = |done: &&Done, work: Work| set.rule(done.rule).work == work;
    let works = item.works.iter();
    match event {
        Event::Work(work) => {
            let met = works.filter(|done| done.outcome != Outcome::Failed && sort_of(done, work));
            met.map(|done| dated(done.at)).collect()
        }
        Event::Happening(Happening::Fitted) => item.fittings.iter().map(|fit| dated(fit.from)).collect(),
        Event::Happening(Happening::Removed) => removals(zone, &item.fittings),
        Event::Happening(Happening::ProofLoadFailed) => {
            let failed =
                works.filter(|done| done.outcome == Outcome::Failed && sort_of(done, Work::ProofLoadTest));
            failed.map(|done| dated(done.at)).collect()
        }
        Event::Happening(Happening::PathProofLoadFailed) => {
            let in_path = fleet.failed_proofs().iter().filter(|(other, at)| fleet.linked(id, *other, *at));
            in_path.map(|(_, at)| dated(*at)).collect()
        }
        Event::Happening(Happening::SetMemberRenewed) => {
            let members = item.set.iter().flat_map(|name| fleet.set(name)).filter(|member| **member != id);
            let works = members.flat_map(|member| &fleet.item(*member).works);
            let renewed =
                works.filter(|done| done.outcome != Outcome::Failed && sort_of(done, Work::Renewal));
            renewed.map(|done| dated(done.at)).collect()
        }
        Event::Happening(Happening::IssuedFromStores) => issues(zone, &item.fittings).map(dated).collect(),
        Event::Happening(Happening::ReturnedFromLayUp) => {
            let returned = item.states.iter().filter(|change| change.state == State::Returned);
            returned.map(|change| dated(change.at)).collect()
        }
        Event::Happening(Happening::FellowFitted) => {
            let fits = fellow_stays(fleet, id).map(|(own, fellow, _)| (own, fellow.from));
            fits.filter(|(own, at)| own.from <= *at && *at < own.to).map(|(_, at)| dated(at)).collect()
        }
        Event::Happening(Happening::FellowRemoved) => {
            let left = fellow_stays(fleet, id)
                .filter(|(own, fellow, _)| own.from <= fellow.to && fellow.to < own.to);
            // A day was written down where the fellow's own dates are.
            let on = |fit: &Fitting, theirs| {
                if fit.to_day { removed_on(theirs, fit) } else { zone.date_of(fit.to) }
            };
            left.map(|(_, fellow, theirs)| (fellow.to, on(&fellow, theirs))).collect()
        }
        Event::Meter(_) | Event::Reading(_) => Vec::new(),
    }
}

fn removals(zone: &Zone, fittings: &[Fitting]) -> Vec<Moment> {
    let over = fittings.iter().filter(|fit| fit.to != Instant::MAX);
    over.map(|fit| (fit.to, removed_on(zone, fit))).collect()
}

fn removed_on(zone: &Zone, fit: &Fitting) -> Date {
    let on = zone.date_of(fit.to);
    if fit.to_day { on.yesterday().unwrap_or(on) } else { on }
}

/// Fittings out of store: the first, and those with a night between them and the removal before.
fn issues<'f>(zone: &'f Zone, fittings: &'f [Fitting]) -> impl Iterator<Item = Instant> + 'f {
    let before = fittings.iter().scan(None, |latest: &mut Option<Instant>, fit| {
        let removed = *latest;
        *latest = Some(latest.map_or(fit.to, |at| at.max(fit.to)));
        Some((fit.from, removed))
    });
    let from_store = |(from, removed): &(Instant, Option<Instant>)| match removed {
        None => true,
        Some(at) => at < from && zone.date_of(Instant(at.0 - 1)) < zone.date_of(*from),
    };
    before.filter(from_store).map(|(from, _)| from)
}

/// Stays of other items of the kind on a host, with the zone of their dates, beside each stay of the item itself on
/// it.
fn fellow_stays(fleet: &Fleet, id: ItemId) -> impl Iterator<Item = (Fitting, Fitting, &Zone)> {
    let item = fleet.item(id);
    item.fittings.iter().flat_map(move |own| {
        let bearers = fleet.bearers(own.host).into_iter();
        let fellows = bearers.filter(move |other| *other != id && fleet.item(*other).kind == item.kind);
        let stays = fellows.flat_map(|other| {
            let fellow = fleet.item(other);
            fellow.fittings.iter().map(|stay| (stay, fleet.zone_of(fellow)))
        });
        stays.filter(|(stay, _)| stay.host == own.host).map(|(stay, zone)| (*own, *stay, zone))
    })
}
