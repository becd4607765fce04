//! The history sheet of an item: what it is, where it has been and what it bore there, and everything done to it.

mod tell;

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::{Fitting, Fleet, ItemId};
use policies::kinds::MeterId;
use policies::usage::{Period, opening_before, stretches, undated, used};
use policies::zone::{Instant, Zone};
use serde::Serialize;

use super::split::SPLIT_FROM;
use super::{Attributes, Look};
use crate::records::{Item, attributes};
use crate::store::fleet::of_register;

pub use tell::text;

/// Meters of which each row is an event in the life of what bore it.
const EVENTS: [&str; 3] = ["shock loads", "overloads", "groundings"];

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
    pub certificates: Vec<String>,
    /// Use before the records begin or inherited, such as `73 launches`.
    pub opening_use: Vec<String>,
    /// Use of its whole life.
    pub use_in_all: Vec<String>,
    /// Where it was.
    pub places: Vec<Place>,
    /// Examinations, measurements and work.
    pub work: Vec<Deed>,
    /// Shock loads, overloads and groundings it bore.
    pub events: Vec<Deed>,
    /// States, cuts and splits.
    pub changes: Vec<Deed>,
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
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Deed {
    /// When, local.
    pub at: String,
    /// What.
    pub what: String,
}

/// What a history is read from.
struct Sheet<'h> {
    look: &'h Look<'h>,
    fleet: &'h Fleet,
    zone: &'h Zone,
    id: ItemId,
    item: &'h Item,
    cutoff: Instant,
}

/// The history of an item at the end of a day.
pub fn history(look: &Look, item: &Item, as_of: impl Into<AsOf>) -> Option<History> {
    let fleet = of_register(look.set, look.register);
    let id = fleet.find(&item.key)?;
    let facts = fleet.item(id);
    let evaluator = Evaluator::without_forecasts(look.set, &fleet, as_of);
    let (as_of, cutoff) = (evaluator.day(facts), evaluator.cutoff(facts));
    let sheet = Sheet { look, fleet: &fleet, zone: fleet.zone_of(facts), id, item, cutoff };
    let text = |text: &Option<String>| text.clone().unwrap_or_default();
    Some(History {
        item: item.key.clone(),
        kind: item.kind.clone(),
        station: text(&item.station),
        set: text(&item.set_name),
        serial: text(&item.serial),
        manufactured_on: text(&item.manufactured_on),
        entered_service_on: text(&item.entered_service_on),
        from: sheet.came_from(),
        quantity: item.quantity,
        attributes: owned(attributes(item.attributes.as_deref())),
        certificates: sheet.certificates(as_of),
        opening_use: sheet.amounts(|meter| opening_before(&fleet, id, meter, cutoff)),
        use_in_all: sheet.amounts(|meter| used(&fleet, id, meter, Period { after: None, before: cutoff })),
        places: facts.fittings.iter().filter(|fit| fit.from < cutoff).map(|fit| sheet.place(fit)).collect(),
        work: sheet.work(),
        events: sheet.events(),
        changes: sheet.changes(),
    })
}

fn owned<'a>(pairs: impl Iterator<Item = (&'a str, &'a str)>) -> Vec<(String, String)> {
    pairs.map(|(column, value)| (column.to_owned(), value.to_owned())).collect()
}

impl Sheet<'_> {
    fn meters(&self) -> impl Iterator<Item = MeterId> + use<> {
        (0u16..).map(MeterId).take(self.look.set.kinds.meters.len())
    }

    fn amounts(&self, of: impl Fn(MeterId) -> policies::amount::Amount) -> Vec<String> {
        let counted = self.meters().map(|meter| (of(meter), meter));
        let counted = counted.filter(|(amount, _)| amount.is_positive());
        counted.map(|(amount, meter)| format!("{amount} {}", self.look.set.kinds.meter_name(meter))).collect()
    }

    fn local(&self, at: Instant) -> String {
        self.zone.local(at).strftime("%Y-%m-%d %H:%M").to_string()
    }

    fn came_from(&self) -> String {
        let split = attributes(self.item.attributes.as_deref()).find(|(column, _)| *column == SPLIT_FROM);
        let split = self.item.taken_from.as_deref().or(split.map(|(_, batch)| batch));
        let split = split.map(|batch| format!("split from {batch}"));
        let cut = self.item.cut_from.as_ref().map(|parent| format!("cut from {parent}"));
        cut.or(split).unwrap_or_default()
    }

    fn certificates(&self, as_of: Date) -> Vec<String> {
        let day = as_of.to_string();
        let own = self.look.register.certificates.values();
        let mut rows: Vec<_> =
            own.filter(|row| !row.void && row.item == self.item.key && row.issued_on <= day).collect();
        rows.sort_by_key(|row| (&row.issued_on, &row.key));
        let carried = self.item.certificate.iter();
        let carried = carried.filter(|number| !rows.iter().any(|row| row.number == **number)).cloned();
        let filed = rows.iter().map(|row| format!("{}, {}, {}", row.number, row.issuer, row.issued_on));
        carried.chain(filed).collect()
    }

    fn place(&self, fit: &Fitting) -> Place {
        let host = self.fleet.item(fit.host);
        let positions = &self.look.set.kinds.kind(host.kind).positions;
        let position = fit.position.and_then(|at| positions.get(usize::from(at)));
        let period = Period { after: Some(Instant(fit.from.0 - 1)), before: fit.to.min(self.cutoff) };
        Place {
            from: self.local(fit.from),
            to: if fit.to < self.cutoff { self.local(fit.to) } else { String::new() },
            host: host.tag.to_string(),
            position: position.map(|position| position.name.clone()).unwrap_or_default(),
            station: self.fleet.station_of(host).map(|at| at.slug.to_string()).unwrap_or_default(),
            used: self.amounts(|meter| used(self.fleet, self.id, meter, period)),
        }
    }

    fn work(&self) -> Vec<Deed> {
        let own = self.look.register.work.values();
        let mut rows: Vec<_> =
            own.filter(|row| !row.void && row.item == self.item.key && row.at < self.cutoff.0).collect();
        rows.sort_by_key(|row| (row.at, &row.key));
        let deed = |row: &crate::records::Work| {
            let by = row.by.as_ref().map(|by| format!(", by {by}"));
            let certificate = row.certificate.as_ref().map(|number| format!(", {number}"));
            let more = [
                by,
                certificate,
                row.measurements.as_ref().map(|text| format!("; {text}")),
                row.note.as_ref().map(|note| format!("; {note}")),
            ];
            let more: String = more.into_iter().flatten().collect();
            Deed {
                at: self.dated(row.at, row.day.as_ref()),
                what: format!("{} {}{more}", row.rule, row.outcome),
            }
        };
        rows.into_iter().map(deed).collect()
    }

    fn dated(&self, at: i64, day: Option<&String>) -> String {
        day.cloned().unwrap_or_else(|| self.local(Instant(at)))
    }

    /// Events on whatever carried it then.
    fn events(&self) -> Vec<Deed> {
        let mut found: Vec<(Instant, String)> = Vec::new();
        let period = Period { after: None, before: self.cutoff };
        for name in EVENTS {
            let Some(meter) = self.look.set.kinds.find_meter(name) else { continue };
            for (host, log, from, to) in stretches(self.fleet, self.id, meter, period) {
                let mut from = from;
                while let Some(at) = log.first_between(from, to) {
                    let amount = log.between(at, at.next());
                    found.push((at, format!("{amount} {name} on {}", self.fleet.item(host).tag)));
                    from = at.next();
                }
            }
            let days = undated(self.fleet, self.id, meter, period);
            found.extend(days.map(|(host, use_)| {
                (use_.at, format!("{} {name} on {}, time not known", use_.amount, self.fleet.item(host).tag))
            }));
        }
        found.sort();
        found.into_iter().map(|(at, what)| Deed { at: self.local(at), what }).collect()
    }

    fn changes(&self) -> Vec<Deed> {
        let own = self.look.register.states.values();
        let states = own.filter(|row| !row.void && row.item == self.item.key && row.at < self.cutoff.0);
        let states = states.map(|row| {
            let by = row.by.as_ref().map(|by| format!(", by {by}")).unwrap_or_default();
            let reason = row.reason.as_ref().map(|reason| format!(": {reason}")).unwrap_or_default();
            let what = format!("{}{by}{reason}", row.state);
            (row.at, Deed { at: self.dated(row.at, row.day.as_ref()), what })
        });
        let mut changes: Vec<(i64, Deed)> = states.collect();
        changes.extend(self.look.register.items.values().filter_map(|item| self.piece(item)));
        changes.sort_by(|a, b| (a.0, &a.1.what).cmp(&(b.0, &b.1.what)));
        changes.into_iter().map(|(_, deed)| deed).collect()
    }

    /// A piece cut off it, or what left it, of a batch.
    fn piece(&self, item: &Item) -> Option<(i64, Deed)> {
        if item.cut_from.as_ref() != Some(&self.item.key) {
            return self.left(item);
        }
        let day = item.entered_service_on.clone()?;
        let at = self.zone.start_of(day.parse().ok()?);
        let length = Attributes::of(item).amount("length_m").map(|length| format!(", {length} m"));
        let what = format!("{} cut from it{}", item.key, length.unwrap_or_default());
        (at < self.cutoff).then_some((at.0, Deed { at: day, what }))
    }

    fn left(&self, item: &Item) -> Option<(i64, Deed)> {
        let at = item.taken_at.filter(|_| item.taken_from.as_ref() == Some(&self.item.key))?;
        let what = format!("{} split from it", item.key);
        let deed = Deed { at: self.dated(at, item.taken_day.as_ref()), what };
        (at < self.cutoff.0).then_some((at, deed))
    }
}
