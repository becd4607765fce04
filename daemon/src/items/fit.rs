//! An item is fitted to a host, or removed.

use policies::zone::Instant;

use super::bars::Bars;
use super::suits::Suits;
use super::{Look, Moment, Rows, is_on, refused};
use crate::desk::DeskError;
use crate::records::Fitting;

/// An item to be fitted.
#[derive(Clone, Debug)]
pub struct Fit {
    /// Its tag.
    pub tag: String,
    /// The host's.
    pub host: String,
    /// Position on the host.
    pub position: String,
    /// When; now where left out.
    pub at: Option<String>,
    /// The item it takes the place of, removed at the same moment.
    pub swap: Option<String>,
}

impl Fit {
    /// The rows of it.
    ///
    /// # Errors
    /// Unknown gear, gear that is elsewhere, scrapped or does not suit the place, or a position that is full.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        let station = look.item(&self.host, None)?.station.as_deref();
        let station = look.station_of(&self.host, look.now.0).or(station);
        look.item(&self.tag, station)?;
        let at = look.moment(self.at.as_deref(), look.places.zone_of(&self.tag))?;
        let row = self.fitting(look, &at);
        let stored = look.register.fittings.get(&row.key).filter(|stored| !stored.void);
        if stored.is_some_and(|stored| (&stored.host, &stored.position) == (&row.host, &row.position)) {
            return Ok(Rows::default());
        }
        look.not_scrapped(&self.tag, at.at, "fitted")?;
        look.not_scrapped(&self.host, at.at, "fitted with gear")?;
        self.not_elsewhere(look, &at)?;
        let leaving = self.swapped(look, &at)?;
        self.not_full(look, &at)?;
        self.suits(look, &row, leaving.as_ref())?;
        self.not_barred(look, &row)?;
        let rows: Vec<Fitting> = leaving.into_iter().chain([row]).collect();
        Ok(Rows { told: self.told(look, station, &rows), sheets: vec![look.sheet(&rows)] })
    }

    fn fitting(&self, look: &Look, at: &Moment) -> Fitting {
        Fitting {
            key: look.places.fitting_key(&self.tag, at.at),
            void: false,
            item: self.tag.clone(),
            at: at.at,
            day: at.day.clone(),
            host: self.host.clone(),
            position: self.position.clone(),
            removed_at: None,
            removed_day: None,
        }
    }

    fn not_elsewhere(&self, look: &Look, at: &Moment) -> Result<(), DeskError> {
        let Some(stay) = look.stay(&self.tag, at.at) else { return Ok(()) };
        let since = look.text_of(stay.at, stay.day.as_deref(), &self.tag);
        refused(format!(
            "{} is on {} ({}) since {since}; remove it there first: tallow item remove {}",
            self.tag, stay.host, stay.position, self.tag
        ))
    }

    /// The item whose place it takes, removed.
    fn swapped(&self, look: &Look, at: &Moment) -> Result<Option<Fitting>, DeskError> {
        let Some(tag) = &self.swap else { return Ok(None) };
        let here = |stay: &&Fitting| (&stay.host, &stay.position) == (&self.host, &self.position);
        let Some(stay) = look.stay(tag, at.at).filter(here) else {
            let there: Vec<&str> = self.occupants(look, at).into_iter().map(|stay| &*stay.item).collect();
            let there = if there.is_empty() { "nothing is".to_owned() } else { there.join(", ") + " is" };
            return refused(format!("{tag} is not in the {} of {}; {there}", self.position, self.host));
        };
        Ok(Some(removed(stay, at)))
    }

    fn occupants<'r>(&self, look: &Look<'r>, at: &Moment) -> Vec<&'r Fitting> {
        let rows = look.register.fittings.values().filter(|row| !row.void && is_on(row, at.at));
        let mut here: Vec<&Fitting> =
            rows.filter(|row| (&row.host, &row.position) == (&self.host, &self.position)).collect();
        here.sort_by_key(|row| &row.item);
        here
    }

    /// A full position is offered the swap.
    fn not_full(&self, look: &Look, at: &Moment) -> Result<(), DeskError> {
        let Some(position) = look.places.kind_of(&self.host).and_then(|kind| kind.position(&self.position))
        else {
            return Ok(());
        };
        let here = self.occupants(look, at);
        let leaving = usize::from(self.swap.is_some());
        if here.len() - leaving < position.count as usize {
            return Ok(());
        }
        let since = |row: &Fitting| look.text_of(row.at, row.day.as_deref(), &row.item);
        let tags: Vec<String> = here.iter().map(|row| format!("{} since {}", row.item, since(row))).collect();
        let first = here.first().map_or("TAG", |row| &row.item);
        refused(format!(
            "the {} of {} is full: {}; to swap, add --swap {first}, or remove it first: tallow item remove {first}",
            self.position,
            self.host,
            tags.join(", ")
        ))
    }

    fn suits(&self, look: &Look, row: &Fitting, leaving: Option<&Fitting>) -> Result<(), DeskError> {
        let found = Suits::of(look.register, &look.places).against(row, leaving);
        if found.is_empty() {
            return Ok(());
        }
        let words: Vec<String> = found.iter().map(ToString::to_string).collect();
        refused(format!(
            "{} does not suit the {} of {}: {}; fit another, or an engineer records a substitution first: \
             tallow item substitute {} {} \"{}\" --by EMAIL --reason TEXT",
            self.tag,
            self.position,
            self.host,
            words.join("; "),
            self.tag,
            self.host,
            self.position
        ))
    }

    /// Gear that must not be used is not issued; what has run out on it may be, by an engineer's word.
    fn not_barred(&self, look: &Look, row: &Fitting) -> Result<(), DeskError> {
        let bars = Bars::of(look, look.places.zone_of(&self.tag).date_of(Instant(row.at)));
        let unfit = bars.unfit(&self.tag);
        if !unfit.is_empty() {
            return refused(format!(
                "{} must not be fitted: {}; fit another, or clear that first: by its work, or by an engineer's release \
                 (tallow state release {} --by EMAIL --reason TEXT)",
                self.tag,
                unfit.join("; "),
                self.tag
            ));
        }
        let overdue = bars.overdue(&self.tag);
        if overdue.is_empty() || Suits::of(look.register, &look.places).is_allowed(row) {
            return Ok(());
        }
        refused(format!(
            "{} must not be fitted: {}; have that done first, or an engineer allows it for a time: tallow item \
             substitute {} {} \"{}\" --by EMAIL --reason TEXT --until DATE",
            self.tag,
            overdue.join("; "),
            self.tag,
            self.host,
            self.position
        ))
    }

    fn told(&self, look: &Look, station: Option<&str>, rows: &[Fitting]) -> Vec<String> {
        let gone = rows.iter().filter(|row| row.removed_at.is_some());
        let mut told: Vec<String> =
            gone.map(|row| format!("removed {} from {}, {}", row.item, row.host, row.position)).collect();
        told.push(format!("fitted {} to {}, {}", self.tag, self.host, self.position));
        let owner = look.register.items.get(&self.tag).and_then(|item| item.station.as_deref());
        if let Some((owner, user)) = owner.zip(station).filter(|(owner, user)| owner != user) {
            let [owner, user] = [owner, user].map(|slug| look.station_name(slug));
            told.push(format!("on loan: {owner} lends {} to {user}", self.tag));
        }
        told
    }
}

/// An item to be removed from its host.
#[derive(Clone, Debug)]
pub struct Remove {
    /// Its tag.
    pub tag: String,
    /// When; now where left out.
    pub at: Option<String>,
}

impl Remove {
    /// The rows of it.
    ///
    /// # Errors
    /// Unknown gear, or gear that is fitted nowhere then.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        look.item(&self.tag, None)?;
        let at = look.moment(self.at.as_deref(), look.places.zone_of(&self.tag))?;
        let own = look.register.fittings.values().filter(|row| !row.void && row.item == self.tag);
        let already = own.clone().any(|row| row.removed_at == Some(at.at) && row.removed_day == at.day);
        if already {
            return Ok(Rows::default());
        }
        let Some(stay) = own.filter(|row| row.removed_at.is_none()).max_by_key(|row| row.at) else {
            return refused(format!("{} is fitted nowhere, so there is nothing to remove it from", self.tag));
        };
        if at.day.is_none() && at.at < stay.at {
            let since = look.text_of(stay.at, stay.day.as_deref(), &self.tag);
            return refused(format!(
                "{} was fitted to {} only {since}; give a later --at",
                self.tag, stay.host
            ));
        }
        let told = vec![format!("removed {} from {}, {}", self.tag, stay.host, stay.position)];
        Ok(Rows { sheets: vec![look.sheet(&[removed(stay, &at)])], told })
    }
}

fn removed(stay: &Fitting, at: &Moment) -> Fitting {
    Fitting { removed_at: Some(at.at), removed_day: at.day.clone(), ..stay.clone() }
}
