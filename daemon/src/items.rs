//! What hands do to gear: fitted and removed, cut, cropped and turned, split out of a batch. Each becomes rows that are
//! judged as an import judges them.

pub(crate) mod bars;
pub mod concession;
pub mod crop;
pub mod cut;
pub mod fit;
pub mod history;
pub mod lend;
pub mod loans;
mod near;
pub mod split;
pub mod state;
pub mod substitute;
pub mod suits;

use std::borrow::Cow;
use std::collections::BTreeMap;

use policies::amount::Amount;
use policies::load::PolicySet;
use policies::zone::{Instant, Zone};

use crate::desk::{AHEAD_MICROS, Desk, DeskError, Imported};
use crate::people;
use crate::records::{self, Fitting, Item, State};
use crate::register::{Faults, Places, RegisterFile, Sheet, moment, sheet_of};
use crate::store::current::Register;

pub(crate) fn refused<T>(text: impl Into<String>) -> Result<T, DeskError> {
    Err(DeskError::Refused(text.into()))
}

/// Rows that a deed makes, and what to tell of them.
#[derive(Debug, Default)]
pub struct Rows {
    /// Rows of the register.
    pub sheets: Vec<Sheet>,
    /// What a person should know, a line each.
    pub told: Vec<String>,
}

/// What a deed did.
#[derive(Debug)]
pub struct Handled {
    /// What was written; nothing where all of it was recorded already.
    pub written: Imported,
    /// What a person should know, a line each.
    pub told: Vec<String>,
}

/// A moment, and the day where only that is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moment {
    /// The moment it is taken as.
    pub at: i64,
    /// The day.
    pub day: Option<String>,
}

/// The register as a deed finds it.
pub struct Look<'r> {
    /// Kinds and rules.
    pub set: &'r PolicySet,
    /// The records.
    pub register: &'r Register,
    /// When the deed is written down.
    pub now: Instant,
    /// What rows are judged against.
    pub places: Places<'r>,
}

impl<'r> Look<'r> {
    /// The register at a moment.
    pub fn of(set: &'r PolicySet, register: &'r Register, now: Instant) -> Look<'r> {
        let mut places = Places::of(set, now, register);
        places.learn_fittings(register);
        Look { set, register, now, places }
    }

    /// What a station is called; its slug where it is not known.
    pub fn station_name<'s>(&'s self, slug: &'s str) -> &'s str {
        self.register.stations.get(slug).map_or(slug, |station| &station.name)
    }

    /// The item with that tag; else the tags of that station that it may be a slip for.
    ///
    /// # Errors
    /// No such item, with near tags.
    pub fn item(&self, tag: &str, station: Option<&str>) -> Result<&'r Item, DeskError> {
        if let Some(item) = self.register.items.get(tag) {
            return Ok(item);
        }
        let mut near = near::tags(self.register, tag, station);
        if near.is_empty() {
            near.extend(self.places.nearest(tag).map(str::to_owned));
        }
        let help = match near.as_slice() {
            [] => "; add it with tallow item add, or correct the tag".to_owned(),
            tags => format!("; did you mean {}?", tags.join(" or ")),
        };
        refused(format!("no item is tagged \"{tag}\"{help}"))
    }

    /// Somebody of the register.
    ///
    /// # Errors
    /// Nobody has that address.
    pub fn person(&self, by: &str) -> Result<&'r records::Person, DeskError> {
        people::known(&self.register.people, by)
    }

    /// Whether somebody may agree that an item is lent: that is for its owner to say, whoever has it now.
    ///
    /// # Errors
    /// Nobody has that address, or the gear is not theirs to lend.
    pub fn may_lend(&self, by: &str, tag: &str) -> Result<(), DeskError> {
        let Some(item) = self.register.items.get(tag) else { return Ok(()) };
        people::may_handle(self.person(by)?, &[item.station.as_deref()], &format!("lends {tag}"))
    }

    /// Whether somebody may do something to these items: to gear that their station owns or bears now. Unknown tags
    /// are told of by the deed itself.
    ///
    /// # Errors
    /// Nobody has that address, or the gear is not theirs to handle.
    pub fn may_handle(&self, by: &str, tags: &[&str], does: &str) -> Result<(), DeskError> {
        let known = tags.iter().filter_map(|tag| self.register.items.get(*tag));
        let stations: Vec<Option<&str>> = known
            .flat_map(|item| [item.station.as_deref(), self.station_of(&item.key, self.now.0)])
            .collect();
        if stations.is_empty() {
            return Ok(());
        }
        people::may_handle(self.person(by)?, &stations, does)
    }

    /// When, as text in a zone; now where left out.
    ///
    /// # Errors
    /// No time, or one that lies ahead.
    pub fn moment(&self, at: Option<&str>, zone: &Zone) -> Result<Moment, DeskError> {
        let Some(text) = at else { return Ok(Moment { at: self.now.0, day: None }) };
        let Some((at, day)) = moment(text, zone) else {
            return refused(format!(
                "\"{text}\" is no time; write 2026-10-12T09:40:00+01:00, 2026-10-12T09:40 or 2026-10-12"
            ));
        };
        if at > self.now.0.saturating_add(AHEAD_MICROS) {
            return refused(format!("{text} lies more than five minutes ahead; correct the time"));
        }
        Ok(Moment { at, day })
    }

    /// Refuses what must not happen to scrapped gear, and raises the alarm.
    ///
    /// # Errors
    /// The item was withdrawn before that moment.
    pub fn not_scrapped(&self, tag: &str, at: i64, deed: &str) -> Result<(), DeskError> {
        let Some(row) = self.withdrawn(tag, at) else { return Ok(()) };
        let since = self.text_of(row.at, row.day.as_deref(), tag);
        let why = row.reason.as_ref().map(|reason| format!(" ({reason})")).unwrap_or_default();
        tracing::error!(item = %tag, %deed, %since, "scrapped gear in use");
        refused(format!(
            "scrapped gear in use: {tag} was withdrawn {since}{why} and must not be {deed}; take it out of the way, \
             or if the withdrawal is wrong: tallow correct record states \"{}\" --void",
            row.key
        ))
    }

    fn withdrawn(&self, tag: &str, at: i64) -> Option<&'r State> {
        let own = self.register.states.values().filter(|row| !row.void && row.item == tag);
        own.filter(|row| row.state == "withdrawn" && row.at <= at).min_by_key(|row| row.at)
    }

    /// A moment as people read it, in the zone of an item.
    pub fn text_of(&self, at: i64, day: Option<&str>, tag: &str) -> String {
        let text = |format| self.places.zone_of(tag).local(Instant(at)).strftime(format).to_string();
        text(if day.is_some() { "%-d %b %Y" } else { "%-d %b %Y %H:%M" })
    }

    /// The stay of an item at a moment.
    pub fn stay(&self, tag: &str, at: i64) -> Option<&'r Fitting> {
        let own = self.register.fittings.values().filter(|row| !row.void && row.item == tag);
        own.filter(|row| is_on(row, at)).max_by_key(|row| row.at)
    }

    /// The station of the outermost host that carries an item at a moment, or its owner.
    pub fn station_of(&self, tag: &'r str, at: i64) -> Option<&'r str> {
        let mut outermost = tag;
        for _ in 0..self.register.fittings.len() {
            let Some(stay) = self.stay(outermost, at).filter(|stay| stay.host != tag) else { break };
            outermost = &stay.host;
        }
        self.register.items.get(outermost)?.station.as_deref()
    }

    /// The row of an item as an export writes it.
    pub(crate) fn item_sheet(&self, item: &Item) -> Sheet {
        self.sheet(std::slice::from_ref(item))
    }

    pub(crate) fn sheet<R: RegisterFile>(&self, records: &[R]) -> Sheet {
        sheet_of(records, &self.places)
    }
}

fn is_on(row: &Fitting, at: i64) -> bool {
    row.at <= at && row.removed_at.is_none_or(|removed| at < removed)
}

/// Attribute columns of an item, to be changed and put back.
#[derive(Clone, Debug, Default)]
pub(crate) struct Attributes(BTreeMap<String, String>);

impl Attributes {
    pub(crate) fn of(item: &Item) -> Attributes {
        let pairs = records::attributes(item.attributes.as_deref());
        Attributes(pairs.map(|(column, value)| (column.to_owned(), value.to_owned())).collect())
    }

    pub(crate) fn amount(&self, column: &str) -> Option<Amount> {
        self.0.get(column)?.parse().ok()
    }

    /// Sets a column that the kind declares; any other is left out.
    pub(crate) fn set(&mut self, set: &PolicySet, kind: &str, column: &str, value: &str) {
        let declared = set.kinds.find(kind).map(|id| set.kinds.kind(id));
        if declared.is_some_and(|kind| kind.attribute(column).is_some()) {
            self.0.insert(column.to_owned(), value.to_owned());
        }
    }

    /// Those that another kind declares too.
    pub(crate) fn shared_with(mut self, set: &PolicySet, kind: &str) -> Attributes {
        let declared = set.kinds.find(kind).map(|id| set.kinds.kind(id));
        self.0.retain(|column, _| declared.is_some_and(|kind| kind.attribute(column).is_some()));
        self
    }

    pub(crate) fn text(&self) -> Option<String> {
        let lines: Vec<String> = self.0.iter().map(|(column, value)| format!("{column}={value}")).collect();
        (!lines.is_empty()).then(|| lines.join("\n"))
    }
}

impl Desk {
    /// Does something to gear: the rows are made from the register as the transaction finds it, and are judged and
    /// written as an import's are.
    ///
    /// # Errors
    /// Nobody of that address, a deed that cannot be, rows that cannot be right, or the store's failure.
    pub async fn handle(
        &self,
        deed: &str,
        by: &str,
        make: impl FnOnce(&Look) -> Result<Rows, DeskError>,
    ) -> Result<Handled, DeskError> {
        let faults = Faults::default();
        let mut told = Vec::new();
        let now = self.now();
        let written = self
            .take_made(&faults, &format!("{deed}: {by}"), Some(by), |register| {
                let look = Look::of(&self.set, register, now);
                look.person(by)?;
                let rows = make(&look)?;
                told = rows.told;
                Ok(Cow::Owned(rows.sheets))
            })
            .await?;
        Ok(Handled { written, told })
    }
}
