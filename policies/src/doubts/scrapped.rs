//! Scrapped gear seen again: fitted, used or worked on after it was withdrawn.

use super::Doubt;
use crate::due::Evaluator;
use crate::facts::{Item, ItemId, State, StationId};
use crate::kinds::MeterId;
use crate::usage::{Period, stretches, undated};
use crate::zone::{Instant, Zone};

/// How withdrawn gear was seen again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Seen {
    /// Fitted to that host.
    Fitted(ItemId),
    /// Bore use that was logged on that host, or on itself.
    Used(ItemId),
    /// Worked on.
    WorkedOn,
}

impl Evaluator<'_> {
    /// Scrapped gear seen again at a station, or at none: where it hangs now, else at its owner's.
    pub fn scrapped_at(&self, station: Option<StationId>) -> Vec<Doubt> {
        let here = |id: &ItemId| self.stands_at(*id) == station;
        let seen = self.fleet.ids().filter_map(|id| self.scrapped(id).map(|doubt| (id, doubt)));
        seen.filter(|(id, _)| here(id)).map(|(_, doubt)| doubt).collect()
    }

    pub(super) fn stands_at(&self, id: ItemId) -> Option<StationId> {
        let item = self.fleet.item(id);
        let chain = self.fleet.chain(id, self.cutoff(item));
        let outermost = chain.last().and_then(|host| self.fleet.item(*host).station);
        outermost.or(item.station)
    }

    /// Whether an item was seen again after it was withdrawn, and how first.
    pub fn scrapped(&self, id: ItemId) -> Option<Doubt> {
        let item = self.fleet.item(id);
        let cutoff = self.cutoff(item);
        let gone = item.states.iter().filter(|change| change.state == State::Withdrawn);
        let withdrawn = gone.map(|change| change.at).min().filter(|at| *at < cutoff)?;
        let from = certainly_after(self.fleet.zone_of(item), withdrawn);
        let late = |at: &Instant| *at >= from && *at < cutoff;
        let fitted = item.fittings.iter().filter(|fit| late(&fit.from));
        let fitted = fitted.map(|fit| (fit.from, Seen::Fitted(fit.host)));
        let worked = item.works.iter().filter(|done| late(&done.at)).map(|done| (done.at, Seen::WorkedOn));
        let used = self.used_after(id, withdrawn, from).map(|(at, host)| (at, Seen::Used(host)));
        let (seen, how) = fitted.chain(worked).chain(used).min()?;
        Some(Doubt::Scrapped { item: id, withdrawn, seen, how })
    }

    /// The first use it certainly bore after it was withdrawn, and on which host that was logged. Removed on that
    /// day without a time, it may have been off before; use of that day without a time may have come before.
    fn used_after(&self, id: ItemId, withdrawn: Instant, from: Instant) -> Option<(Instant, ItemId)> {
        let item = self.fleet.item(id);
        let zone = self.fleet.zone_of(item);
        let last_day = zone.end_of(zone.date_of(withdrawn));
        let until = last_removal(item, withdrawn).map_or(from, |to| from.max(to));
        let period = |from: Instant| Period { after: Some(Instant(from.0 - 1)), before: self.cutoff(item) };
        let meters = (0u16..).map(MeterId).take(self.set.kinds.meters.len());
        let uses = meters.flat_map(|meter| {
            let dated = stretches(self.fleet, id, meter, period(until));
            let dated = dated.filter_map(|(host, log, from, to)| Some((log.first_between(from, to)?, host)));
            let days = undated(self.fleet, id, meter, period(until.max(last_day)));
            dated.chain(days.map(|(host, use_)| (use_.at, host)))
        });
        uses.min()
    }
}

/// A withdrawal of which only the day is known stands at its first moment: what is of that day may have come before.
fn certainly_after(zone: &Zone, withdrawn: Instant) -> Instant {
    let day = zone.date_of(withdrawn);
    if zone.start_of(day) == withdrawn { zone.end_of(day) } else { withdrawn.next() }
}

/// The end of the day of a removal that is known to the day only, of the stay it was withdrawn in.
fn last_removal(item: &Item, withdrawn: Instant) -> Option<Instant> {
    let stays = item.fittings.iter().filter(|fit| fit.to_day && fit.from <= withdrawn && withdrawn < fit.to);
    stays.map(|fit| fit.to).max()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::amount::Amount;
    use crate::facts::{FleetBuilder, ItemRecord, Outcome, Quantity};
    use crate::load::{PolicyFile, PolicySet, load};
    use crate::zone::When;
    use jiff::civil::date;

    const POLICY: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches"]
positions = [{ name = "stopper", takes = "stopper chain", count = 4 }]
[[kind]]
name = "stopper chain"
[[rule]]
id = "check"
title = "Look at it"
applies_to = { kind = "stopper chain" }
work = "check"
calendar = { every = "7 days" }
overdue = "advisory"
authority = "house"
"#;

    fn set() -> PolicySet {
        load(&[PolicyFile { name: "kinds.toml".to_owned(), text: POLICY.to_owned() }]).unwrap()
    }

    fn at(day: i8, hour: i8) -> When {
        When::At(Zone::utc().instant(date(2026, 10, day).at(hour, 0, 0, 0)))
    }

    fn moment(when: When) -> Instant {
        Zone::utc().from_start(when)
    }

    /// C-1 of Bay, on the carriage of Cove from 1 Oct until it is removed; withdrawn; then what `more` adds.
    fn seen(withdrawn: When, removed: Option<When>, more: impl Fn(&mut FleetBuilder)) -> Vec<(u32, Seen)> {
        let set = set();
        let mut builder = FleetBuilder::new(&set);
        builder.station("bay", "Bay", Zone::utc(), false);
        builder.station("cove", "Cove", Zone::utc(), false);
        for (tag, kind, station) in [("C-1", "stopper chain", "bay"), ("LC-1", "carriage", "cove")] {
            builder.item(&ItemRecord { tag, kind, station: Some(station), ..ItemRecord::default() });
        }
        builder.fitting("C-1", "LC-1", "stopper", When::Day(date(2026, 10, 1)), removed);
        builder.state("C-1", withdrawn, State::Withdrawn);
        more(&mut builder);
        let (fleet, _) = builder.finish();
        let evaluator = Evaluator::without_forecasts(&set, &fleet, date(2026, 10, 31));
        let stations = [0, 1].map(StationId);
        let found = stations.into_iter().flat_map(|station| {
            evaluator.scrapped_at(Some(station)).into_iter().map(move |doubt| (station.0, doubt))
        });
        let how = found.map(|(station, doubt)| match doubt {
            Doubt::Scrapped { how, .. } => (station, how),
            other => panic!("{other:?}"),
        });
        how.collect()
    }

    fn launch(builder: &mut FleetBuilder, when: When) {
        builder.used("LC-1", "launches", when, Quantity::Count(Amount::whole(1)));
    }

    #[test]
    fn use_fitting_and_work_after_the_withdrawal_raise_the_alarm() {
        let gone = at(6, 15);
        let chain_on = |builder: &mut FleetBuilder| launch(builder, at(6, 16));
        assert_eq!(seen(gone, None, chain_on), [(1, Seen::Used(ItemId(1)))]);
        assert_eq!(seen(gone, None, |builder| launch(builder, at(6, 15))), []);
        let again = |builder: &mut FleetBuilder| builder.fitting("C-1", "LC-1", "stopper", at(9, 8), None);
        assert_eq!(seen(gone, Some(at(6, 15)), again), [(1, Seen::Fitted(ItemId(1)))]);
        let worked = |builder: &mut FleetBuilder| builder.work("C-1", "check", at(7, 9), Outcome::Passed);
        assert_eq!(seen(gone, Some(at(6, 15)), worked), [(0, Seen::WorkedOn)]);
        let both = |builder: &mut FleetBuilder| {
            builder.work("C-1", "check", at(7, 9), Outcome::Passed);
            launch(builder, When::Day(date(2026, 10, 7)));
        };
        assert_eq!(seen(gone, None, both), [(1, Seen::WorkedOn)], "the first is told");
    }

    #[test]
    fn what_may_have_come_before_the_withdrawal_raises_none() {
        let day = When::Day(date(2026, 10, 6));
        let all_day = |builder: &mut FleetBuilder| {
            launch(builder, at(6, 9));
            launch(builder, day);
            builder.work("C-1", "check", day, Outcome::Failed);
        };
        assert_eq!(seen(day, Some(day), all_day), []);
        assert_eq!(seen(at(6, 8), Some(day), all_day), []);
        assert_eq!(seen(at(6, 10), None, |builder| launch(builder, day)), []);
        assert_eq!(seen(day, None, |builder| launch(builder, at(7, 0))), [(1, Seen::Used(ItemId(1)))]);
        assert_eq!(moment(at(6, 0)), moment(day));
    }
}
