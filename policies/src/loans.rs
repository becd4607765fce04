//! Loans: gear fitted at another station than its owner's, and the last day that was agreed for it.

use jiff::civil::Date;

use crate::due::Evaluator;
use crate::facts::{Fitting, ItemId, StationId};
use crate::span::Span;
use crate::zone::Instant;

/// What was agreed of a loan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Agreed {
    /// Key of the record.
    pub key: String,
    /// Item.
    pub item: ItemId,
    /// The station that has it.
    pub station: StationId,
    /// First day.
    pub from: Date,
    /// Last day.
    pub until: Date,
}

/// A loan that lasts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Loan<'a> {
    /// Item.
    pub item: ItemId,
    /// The owner; none for central stores.
    pub lender: Option<StationId>,
    /// The station that has it.
    pub user: StationId,
    /// What it is fitted to.
    pub host: ItemId,
    /// Since the last of the links that lead there was made.
    pub since: Instant,
    /// When it came to that station: moves within it do not begin another loan.
    pub came: Instant,
    /// What was agreed of it, where anything was.
    pub agreed: Option<&'a Agreed>,
}

impl Loan<'_> {
    /// Last day agreed.
    pub fn until(&self) -> Option<Date> {
        self.agreed.map(|agreed| agreed.until)
    }

    /// Whether that day is gone.
    pub fn is_over(&self, as_of: Date) -> bool {
        self.until().is_some_and(|until| until < as_of)
    }
}

/// Loans that are over, and those that end within a span after a day, by their last day.
pub fn ending<'l, 'a>(loans: &'l [Loan<'a>], as_of: Date, within: Span) -> Vec<&'l Loan<'a>> {
    let last = within.after(as_of, 1);
    let mut found: Vec<&Loan> =
        loans.iter().filter(|loan| loan.until().is_some_and(|until| until <= last)).collect();
    found.sort_by_key(|loan| (loan.until(), loan.item));
    found
}

impl Evaluator<'_> {
    /// Every loan that lasts at the end of the day.
    pub fn loans<'a>(&self, agreed: &'a [Agreed]) -> Vec<Loan<'a>> {
        self.fleet.ids().filter_map(|id| self.loan(id, agreed)).collect()
    }

    /// The loan of an item, if it is fitted at another station than its owner's.
    pub fn loan<'a>(&self, id: ItemId, agreed: &'a [Agreed]) -> Option<Loan<'a>> {
        let item = self.fleet.item(id);
        let cutoff = self.cutoff(item);
        let chain = self.fleet.chain(id, cutoff);
        let [_, host, ..] = chain.as_slice() else { return None };
        let user = self.fleet.item(*chain.last()?).station?;
        if item.station == Some(user) {
            return None;
        }
        let on_the_way = &chain[..chain.len() - 1];
        let links = on_the_way.iter().filter_map(|link| self.stay_at(*link, cutoff));
        let came = on_the_way.iter().filter_map(|link| self.came(*link, user, cutoff)).max()?;
        let own = agreed.iter().filter(|one| (one.item, one.station) == (id, user));
        // An earlier loan to the same station has its own last day.
        let since = self.fleet.zone_of(item).date_of(came);
        let own = own.filter(|one| one.from <= self.day(item) && one.until >= since);
        Some(Loan {
            item: id,
            lender: item.station,
            user,
            host: *host,
            since: links.map(|stay| stay.from).max()?,
            came,
            agreed: own.max_by_key(|one| (one.from, one.until, &one.key)),
        })
    }

    fn stay_at(&self, id: ItemId, before: Instant) -> Option<&Fitting> {
        self.fleet.item(id).fittings.iter().find(|stay| stay.from < before && stay.to >= before)
    }

    /// The first of the last stays of an item that all were at one station.
    fn came(&self, id: ItemId, user: StationId, cutoff: Instant) -> Option<Instant> {
        let begun = self.fleet.item(id).fittings.iter().filter(|stay| stay.from < cutoff);
        let mut stays: Vec<&Fitting> = begun.collect();
        stays.sort_by_key(|stay| std::cmp::Reverse(stay.from));
        let there = stays.into_iter().take_while(|stay| self.station_during(stay, cutoff) == Some(user));
        there.map(|stay| stay.from).last()
    }

    /// Whose gear carried an item when a stay ended.
    fn station_during(&self, stay: &Fitting, cutoff: Instant) -> Option<StationId> {
        let chain = self.fleet.chain(stay.host, stay.to.min(cutoff));
        self.fleet.item(*chain.last()?).station
    }
}
