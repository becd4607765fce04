//! Until when a station has gear of another.

use jiff::civil::Date;
use policies::due::Evaluator;
use policies::facts::Fleet;

use super::{Look, Rows, loans, refused};
use crate::desk::DeskError;
use crate::records::Loan;
use crate::store::fleet::of_register;
use crate::why::day;

/// A loan to be agreed, or its last day to be moved.
#[derive(Clone, Debug)]
pub struct Lend {
    /// The item's tag.
    pub tag: String,
    /// Last day.
    pub until: Date,
    /// Station that borrows it; that where it is fitted, where left out.
    pub to: Option<String>,
    /// First day; that on which it came there, where left out.
    pub from: Option<Date>,
    /// Address of who agrees it.
    pub by: String,
    /// What else was agreed.
    pub note: Option<String>,
}

impl Lend {
    /// The rows of it.
    ///
    /// # Errors
    /// Unknown or scrapped gear, an unknown station or the owner's own, or days in the wrong order.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        let item = look.item(&self.tag, self.to.as_deref())?;
        look.not_scrapped(&self.tag, look.now.0, "lent")?;
        let (station, known) = self.borrower(look)?;
        if item.station.as_ref() == Some(&station) {
            return refused(format!("{station} owns {}; name the station that borrows it: --to", self.tag));
        }
        let today = look.places.zone_of(&self.tag).date_of(look.now);
        let row = self.row(look, station, known, today);
        if row.until_date < row.from_date {
            return refused(format!("{} lies before the first day, {}", row.until_date, row.from_date));
        }
        if look.register.loans.get(&row.key) == Some(&row) {
            return Ok(Rows::default());
        }
        let lender = item.station.as_deref().map_or("central stores", |slug| look.station_name(slug));
        let user = look.station_name(&row.station);
        let told = format!("{lender} lends {} to {user} until {}", self.tag, day(self.until));
        Ok(Rows { told: vec![told], sheets: vec![look.sheet(&[row])] })
    }

    /// The station, and the key and first day of what is known of the loan.
    fn borrower(&self, look: &Look) -> Result<(String, Known), DeskError> {
        if let Some(slug) = self.to.as_ref().filter(|slug| !look.places.has_station(slug)) {
            return refused(format!("no station is called \"{slug}\""));
        }
        let fleet = of_register(look.set, look.register);
        match (self.lasting(look, &fleet), &self.to) {
            (Some((user, known)), to) if to.as_ref().is_none_or(|to| *to == user) => Ok((user, known)),
            (Some((user, _)), Some(to)) => refused(format!(
                "{} is at {user}, not at {to}; correct --to, or fit it there first",
                self.tag
            )),
            (_, Some(to)) => Ok((to.clone(), Known::default())),
            (_, None) => refused(format!(
                "{} is not on loan: it is fitted at no other station than its owner's; say which station is to \
                 borrow it: --to STATION",
                self.tag
            )),
        }
    }

    fn lasting(&self, look: &Look, fleet: &Fleet) -> Option<(String, Known)> {
        let id = fleet.find(&self.tag)?;
        let zone = fleet.zone_of(fleet.item(id));
        let agreed = loans::agreed(fleet, look.register.loans.values());
        let evaluator = Evaluator::without_forecasts(look.set, fleet, zone.date_of(look.now));
        let loan = evaluator.loan(id, &agreed)?;
        let user = fleet.stations[loan.user.0 as usize].slug.to_string();
        let first = loan.agreed.map_or_else(|| zone.date_of(loan.came), |agreed| agreed.from);
        let key = loan.agreed.map(|agreed| agreed.key.clone());
        Some((user, Known { key, first: Some(first) }))
    }

    /// A last day that is moved is a new version of what was agreed; another first day is another loan.
    fn row(&self, look: &Look, station: String, known: Known, today: Date) -> Loan {
        let from = self.from.or(known.first).unwrap_or(today);
        let key = known.key.filter(|_| known.first == Some(from));
        let key = key.unwrap_or_else(|| format!("{} {station} {from}", self.tag));
        let noted = look.register.loans.get(&key).and_then(|stored| stored.note.clone());
        Loan {
            key,
            void: false,
            item: self.tag.clone(),
            station,
            from_date: from.to_string(),
            until_date: self.until.to_string(),
            by: self.by.clone(),
            note: self.note.clone().or(noted),
        }
    }
}

/// What is known of a loan that lasts.
#[derive(Default)]
struct Known {
    key: Option<String>,
    first: Option<Date>,
}
