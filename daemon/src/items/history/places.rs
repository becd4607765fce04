//! Where an item was, and by what agreement.

use policies::facts::Fitting;
use policies::usage::{Period, used};
use policies::zone::Instant;

use super::{Deed, Place, Sheet, day_words};

impl Sheet<'_> {
    pub(super) fn places(&self) -> Vec<Place> {
        let begun = self.fleet.item(self.id).fittings.iter().filter(|fit| fit.from < self.cutoff);
        let mut left: Option<Instant> = None;
        let place = |fit: &Fitting| {
            let before = left.replace(fit.to);
            self.place(fit, before)
        };
        begun.map(place).collect()
    }

    fn place(&self, fit: &Fitting, left: Option<Instant>) -> Place {
        let host = self.fleet.item(fit.host);
        let positions = &self.set.kinds.kind(host.kind).positions;
        let position = fit.position.and_then(|at| positions.get(usize::from(at)));
        let period = Period { after: Some(Instant(fit.from.0 - 1)), before: fit.to.min(self.cutoff) };
        let day = |at| self.zone.date_of(at);
        Place {
            from: self.local(fit.from),
            to: if fit.to < self.cutoff { self.local(fit.to) } else { String::new() },
            host: host.tag.to_string(),
            position: position.map(|position| position.name.clone()).unwrap_or_default(),
            station: self.fleet.station_of(host).map(|at| at.slug.to_string()).unwrap_or_default(),
            used: self.amounts(|meter| used(self.fleet, self.id, meter, period)),
            loose_days: left.map(|left| (day(fit.from) - day(left)).get_days()).filter(|days| *days > 0),
        }
    }

    pub(super) fn loans(&self) -> Vec<Deed> {
        let day = self.as_of.to_string();
        let own = self.register.loans.values();
        let mut rows: Vec<_> =
            own.filter(|row| !row.void && row.item == self.item.key && row.from_date <= day).collect();
        rows.sort_by_key(|row| (&row.from_date, &row.key));
        let name = |slug: &str| {
            let found = self.fleet.stations.iter().find(|station| *station.slug == *slug);
            found.map_or_else(|| slug.to_owned(), |station| station.name.to_string())
        };
        let deed = |row: &crate::records::Loan| {
            let note = row.note.as_ref().map(|note| format!("; {note}")).unwrap_or_default();
            let until = day_words(&row.until_date);
            let what = format!("lent to {} until {until}, by {}{note}", name(&row.station), row.by);
            Deed { at: row.from_date.clone(), what }
        };
        rows.into_iter().map(deed).collect()
    }
}
