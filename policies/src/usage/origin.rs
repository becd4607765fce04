//! What an item came out of: a wire that it was cut from, a batch that it left. It starts with the use that was borne
//! there until then, as the records have it by now: late entries and corrections move it too.

use super::{Period, recorded, stretches, undated};
use crate::amount::Amount;
use crate::facts::{Fleet, Item, ItemId};
use crate::kinds::MeterId;
use crate::zone::Instant;

/// What an item came out of.
struct Origin {
    parent: ItemId,
    /// The parent's use counts until just before this moment.
    until: Instant,
    /// It was a part of its parent until then: a use that it bears by itself counts once, and use known to the day
    /// only counts on the last day as well.
    was_part: bool,
}

impl Origin {
    /// By `cut_from`, by `taken_from`, or by both where they name the same: then until the later moment.
    fn of(fleet: &Fleet, item: &Item) -> Vec<Origin> {
        let entered = item.entered_service_on.map(|day| fleet.zone_of(item).start_of(day));
        let cut = item.cut_from.zip(entered);
        let cut = cut.map(|(parent, until)| Origin { parent, until, was_part: false });
        let taken = item.taken_from.map(|(parent, until)| Origin { parent, until, was_part: true });
        match (cut, taken) {
            (Some(cut), Some(taken)) if cut.parent == taken.parent => {
                vec![Origin { until: cut.until.max(taken.until), ..taken }]
            }
            (cut, taken) => cut.into_iter().chain(taken).collect(),
        }
    }
}

/// Use before an item's own records, of what it came out of only that before a moment. A chain of origins is short;
/// `depth` only guards against a loop in the records.
pub(super) fn before_records(
    fleet: &Fleet,
    item: ItemId,
    meter: MeterId,
    before: Instant,
    depth: usize,
) -> Amount {
    let facts = fleet.item(item);
    let own: Amount =
        facts.opening.iter().filter(|(have, _)| *have == meter).map(|(_, amount)| *amount).sum();
    if depth == 0 {
        return own;
    }
    let inherited = Origin::of(fleet, facts).into_iter().map(|origin| {
        let until = origin.until.min(before);
        borne_there(fleet, item, meter, &origin, before)
            + before_records(fleet, origin.parent, meter, until, depth - 1)
    });
    own + inherited.sum()
}

/// What the records have of the parent until then.
fn borne_there(fleet: &Fleet, item: ItemId, meter: MeterId, origin: &Origin, before: Instant) -> Amount {
    let period = Period { after: None, before: origin.until.min(before) };
    if !origin.was_part {
        return recorded(fleet, origin.parent, meter, period);
    }
    let dated: Amount = stretches(fleet, origin.parent, meter, period)
        .map(|(host, log, from, to)| {
            let own = fleet.item(item).reach.iter().filter(|reach| reach.host == host);
            let both = own.map(|reach| (reach.from.max(from), reach.to.min(to)));
            let twice: Amount =
                both.filter(|(from, to)| from < to).map(|(from, to)| log.between(from, to)).sum();
            log.between(from, to) - twice
        })
        .sum();
    dated + days_there(fleet, item, meter, origin, before)
}

/// Use known to the day only, up to the day on which it left.
fn days_there(fleet: &Fleet, item: ItemId, meter: MeterId, origin: &Origin, before: Instant) -> Amount {
    let own = &fleet.item(item).day_reach;
    let days = undated(fleet, origin.parent, meter, Period { after: None, before });
    let there = days.filter(|(host, use_)| {
        let last = fleet.zone_of(fleet.item(*host)).date_of(Instant(origin.until.0 - 1));
        let twice = own.iter().any(|r| r.host == *host && r.first <= use_.day && use_.day <= r.last);
        use_.day <= last && !twice
    });
    there.map(|(_, use_)| use_.amount).sum()
}
