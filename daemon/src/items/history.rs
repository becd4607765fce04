//! The history sheet of an item: what it is, where it has been and what it bore there, and everything done to it.

mod deeds;
mod papers;
mod places;
mod tell;

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId};
use policies::kinds::MeterId;
use policies::load::PolicySet;
use policies::usage::{Period, opening_before, used};
use policies::zone::{Instant, Zone};
use serde::Serialize;

use super::Look;
use super::split::SPLIT_FROM;
use crate::files::Filed;
use crate::records::{Item, attributes};
use crate::store::current::Register;
use crate::store::fleet::of_register;
use crate::why::day;

pub use tell::text;

/// An item's history. Empty text = not known, or does not apply.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct History {
    /// Tag.
    pub item: String,
    /// Kind.
    pub kind: String,
    /// Slug of the owner; empty for central stores.
    pub station: String,
    /// Set it is renewed with.
    pub set: String,
    /// Serial number.
    pub serial: String,
    /// Made on.
    pub manufactured_on: String,
    /// In service since.
    pub entered_service_on: String,
    /// Drum, wire or batch it came from.
    pub from: String,
    /// How many, of a batch.
    pub quantity: Option<i64>,
    /// Attribute columns and values.
    pub attributes: Vec<(String, String)>,
    /// Certificates: number, issuer, date; that on the item itself without issuer.
    pub certificates: Vec<Paper>,
    /// Use before the records begin or inherited, such as `73 launches`.
    pub opening_use: Vec<String>,
    /// Use of its whole life.
    pub use_in_all: Vec<String>,
    /// Where it was.
    pub places: Vec<Place>,
    /// Loans as they were agreed.
    pub loans: Vec<Deed>,
    /// Examinations, measurements and work.
    pub work: Vec<Done>,
    /// Signed reports of examinations.
    pub reports: Vec<Deed>,
    /// Defects that examinations found, and what became of them.
    pub defects: Vec<Deed>,
    /// Shock loads, overloads and groundings it bore.
    pub events: Vec<Deed>,
    /// Holds it was on.
    pub holds: Vec<Deed>,
    /// States, cuts and splits.
    pub changes: Vec<Deed>,
    /// Places in which it may stand although it differs.
    pub substitutions: Vec<Deed>,
    /// Concessions on its rules.
    pub concessions: Vec<Deed>,
}

/// A certificate as it is told.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Paper {
    /// Number, issuer and date.
    pub says: String,
    /// Number.
    #[serde(skip)]
    pub number: String,
    /// Who issued it; empty for a number that stands on the item alone.
    #[serde(skip)]
    pub issuer: String,
    /// When.
    #[serde(skip)]
    pub issued_on: String,
    /// Last day on which it is valid.
    #[serde(skip)]
    pub valid_until: Option<String>,
    /// Its stored file.
    #[serde(skip)]
    pub file: Option<Filed>,
}

/// Work that was done.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Done {
    /// When, local.
    pub at: String,
    /// Everything of it in a line.
    pub what: String,
    /// The rule's title.
    #[serde(skip)]
    pub title: String,
    /// `passed`, `failed` or `done`.
    #[serde(skip)]
    pub outcome: String,
    /// Readings with their units.
    #[serde(skip)]
    pub readings: Vec<String>,
    /// Who did it.
    #[serde(skip)]
    pub by: String,
    /// Certificate.
    #[serde(skip)]
    pub certificate: String,
    /// Note.
    #[serde(skip)]
    pub note: String,
    /// A check, a lubrication or a measurement of which nothing but its day is to be told.
    #[serde(skip)]
    pub routine: bool,
}

/// A stay on a host.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Place {
    /// First moment, local.
    pub from: String,
    /// Last moment; empty while it is there.
    pub to: String,
    /// Tag of the host.
    pub host: String,
    /// Position on the host.
    pub position: String,
    /// Slug of the host's station.
    pub station: String,
    /// Use it bore there.
    pub used: Vec<String>,
    /// Days since it left the place before.
    pub loose_days: Option<i32>,
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Deed {
    /// When, local.
    pub at: String,
    /// What.
    pub what: String,
}

/// What a history is read from: of the register the records of the item, every item, and those of whoever is named.
struct Sheet<'h> {
    set: &'h PolicySet,
    register: &'h Register,
    fleet: &'h Fleet,
    evaluator: Evaluator<'h>,
    zone: &'h Zone,
    id: ItemId,
    item: &'h Item,
    cutoff: Instant,
    as_of: Date,
}

/// The history of an item at the end of a day.
pub fn history(look: &Look, item: &Item, as_of: impl Into<AsOf>) -> Option<History> {
    history_of(look.set, look.register, &of_register(look.set, look.register), item, as_of)
}

/// The same over a fleet at hand. Of the register it needs every item, and the records of this one.
pub fn history_of(
    set: &PolicySet,
    register: &Register,
    fleet: &Fleet,
    item: &Item,
    as_of: impl Into<AsOf>,
) -> Option<History> {
    let id = fleet.find(&item.key)?;
    let facts = fleet.item(id);
    let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
    let (zone, cutoff) = (fleet.zone_of(facts), evaluator.cutoff(facts));
    let as_of = evaluator.day(facts);
    let sheet = Sheet { set, register, fleet, evaluator, zone, id, item, cutoff, as_of };
    Some(sheet.whole())
}

/// A day of a record in words, as it stands where it is none.
fn day_words(text: &str) -> String {
    text.parse().map_or_else(|_| text.to_owned(), day)
}

fn owned<'a>(pairs: impl Iterator<Item = (&'a str, &'a str)>) -> Vec<(String, String)> {
    pairs.map(|(column, value)| (column.to_owned(), value.to_owned())).collect()
}

impl Sheet<'_> {
    fn whole(&self) -> History {
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        let item = self.item;
        let period = Period { after: None, before: self.cutoff };
        History {
            item: item.key.clone(),
            kind: item.kind.clone(),
            station: text(&item.station),
            set: text(&item.set_name),
            serial: text(&item.serial),
            manufactured_on: text(&item.manufactured_on),
            entered_service_on: text(&item.entered_service_on),
            from: self.came_from(),
            quantity: item.quantity,
            attributes: owned(attributes(item.attributes.as_deref())),
            certificates: self.certificates(),
            opening_use: self.amounts(|meter| opening_before(self.fleet, self.id, meter, self.cutoff)),
            use_in_all: self.amounts(|meter| used(self.fleet, self.id, meter, period)),
            places: self.places(),
            loans: self.loans(),
            work: self.work(),
            reports: self.reports(),
            defects: self.defects(),
            events: self.events(),
            holds: self.holds(),
            changes: self.changes(),
            substitutions: self.substitutions(),
            concessions: self.concessions(),
        }
    }

    fn meters(&self) -> impl Iterator<Item = MeterId> + use<> {
        (0u16..).map(MeterId).take(self.set.kinds.meters.len())
    }

    fn amounts(&self, of: impl Fn(MeterId) -> policies::amount::Amount) -> Vec<String> {
        let counted = self.meters().map(|meter| (of(meter), meter));
        let counted = counted.filter(|(amount, _)| amount.is_positive());
        counted.map(|(amount, meter)| format!("{amount} {}", self.set.kinds.meter_name(meter))).collect()
    }

    fn local(&self, at: Instant) -> String {
        self.zone.local(at).strftime("%Y-%m-%d %H:%M").to_string()
    }

    fn dated(&self, at: i64, day: Option<&String>) -> String {
        day.cloned().unwrap_or_else(|| self.local(Instant(at)))
    }

    fn title(&self, rule: &str) -> String {
        let found = self.set.find_rule(rule).map(|id| &self.set.rule(id).title);
        found.map_or_else(|| rule.to_owned(), Clone::clone)
    }

    fn came_from(&self) -> String {
        let split = attributes(self.item.attributes.as_deref()).find(|(column, _)| *column == SPLIT_FROM);
        let split = self.item.taken_from.as_deref().or(split.map(|(_, batch)| batch));
        let split = split.map(|batch| format!("split from {batch}"));
        let cut = self.item.cut_from.as_ref().map(|parent| format!("cut from {parent}"));
        cut.or(split).unwrap_or_default()
    }
}
