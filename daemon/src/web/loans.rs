//! Loans on pages: whose gear is where, and until when.

use policies::facts::{ItemId, StationId};
use policies::loans::{Agreed, Loan};

use super::links::Link;
use super::place::View;
use super::words;
use crate::items::loans::{end_words, used_there};

/// A loan to or from a station.
pub(super) struct Lent {
    pub(super) item: Link,
    pub(super) what: String,
    /// `from Low Bay since 1 Jan 2021`, as seen from the station.
    pub(super) between: String,
    pub(super) end: String,
    /// Its last day is gone.
    pub(super) over: bool,
    pub(super) used: String,
}

impl View<'_> {
    /// What a station borrowed or lent, what is over first.
    pub(super) fn lent(&self, station: StationId, agreed: &[Agreed]) -> Vec<Lent> {
        let mut loans = self.evaluator.loans(agreed);
        loans.retain(|loan| loan.user == station || loan.lender == Some(station));
        loans.sort_by_key(|loan| (loan.until().is_none(), loan.until(), loan.item));
        loans.iter().map(|loan| self.lent_line(station, loan)).collect()
    }

    fn lent_line(&self, station: StationId, loan: &Loan) -> Lent {
        let between = if loan.user == station {
            format!("from {}", self.owner(loan))
        } else {
            format!("to {}", self.station(loan.user).name)
        };
        Lent {
            item: self.links.to_item(self.tag(loan.item)),
            what: self.what(loan.item),
            between: format!("{between} since {}", words::full_day(self.zone(loan.item).date_of(loan.since))),
            end: end_words(self.fleet, loan, self.as_of),
            over: loan.is_over(self.as_of),
            used: words::list(&used_there(self.set, self.fleet, &self.evaluator, loan)),
        }
    }

    fn owner(&self, loan: &Loan) -> &str {
        loan.lender.map_or("central stores", |owner| &*self.station(owner).name)
    }

    /// `on loan from Low Bay since 1 Jan 2021, to go back by 3 Oct 2021`; and whether that day is gone.
    pub(super) fn loan_words(&self, id: ItemId, agreed: &[Agreed]) -> Option<(String, bool)> {
        let loan = self.evaluator.loan(id, agreed)?;
        let since = words::full_day(self.zone(id).date_of(loan.since));
        let end = end_words(self.fleet, &loan, self.as_of);
        Some((format!("on loan from {} since {since}: {end}", self.owner(&loan)), loan.is_over(self.as_of)))
    }
}
