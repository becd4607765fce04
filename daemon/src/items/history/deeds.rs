//! What was done to an item, and what happened to it.

use policies::facts::ItemId;
use policies::kinds::MeterId;
use policies::rule::Work as Sort;
use policies::usage::{Period, stretches, undated};
use policies::zone::Instant;

use super::{Deed, Done, Sheet};
use crate::gear::readings;
use crate::holds::Words;
use crate::items::Attributes;
use crate::records::{Item, Work};

/// Meters of which each row is an event in the life of what bore it.
const EVENTS: [&str; 3] = ["shock loads", "overloads", "groundings"];

impl Sheet<'_> {
    pub(super) fn work(&self) -> Vec<Done> {
        let own = self.register.work.values();
        let mut rows: Vec<_> =
            own.filter(|row| !row.void && row.item == self.item.key && row.at < self.cutoff.0).collect();
        rows.sort_by_key(|row| (row.at, &row.key));
        rows.into_iter().map(|row| self.done(row)).collect()
    }

    fn done(&self, row: &Work) -> Done {
        let rule = self.set.find_rule(&row.rule).map(|id| self.set.rule(id));
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        let readings = readings(self.set, row);
        let bare = readings.is_empty() && row.certificate.is_none() && row.note.is_none();
        let daily =
            rule.is_some_and(|rule| matches!(rule.work, Sort::Check | Sort::Lubrication | Sort::Measurement));
        Done {
            at: self.dated(row.at, row.day.as_ref()),
            what: line(row),
            title: self.title(&row.rule),
            outcome: row.outcome.clone(),
            readings,
            by: text(&row.by),
            certificate: text(&row.certificate),
            note: text(&row.note),
            routine: bare && daily && row.outcome != "failed",
        }
    }

    /// Events on whatever carried it then.
    pub(super) fn events(&self) -> Vec<Deed> {
        let mut found: Vec<(Instant, String)> = Vec::new();
        let period = Period { after: None, before: self.cutoff };
        for name in EVENTS {
            let Some(meter) = self.set.kinds.find_meter(name) else { continue };
            for (host, log, from, to) in stretches(self.fleet, self.id, meter, period) {
                let mut from = from;
                while let Some(at) = log.first_between(from, to) {
                    let amount = log.between(at, at.next());
                    let load = self.load(host, meter, at);
                    found.push((at, format!("{amount} {name} on {}{load}", self.fleet.item(host).tag)));
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

    fn load(&self, host: ItemId, meter: MeterId, at: Instant) -> String {
        let load = self.fleet.load_noted(host, meter, at);
        load.map(|load| format!(", {load} kN")).unwrap_or_default()
    }

    pub(super) fn holds(&self) -> Vec<Deed> {
        let words = Words { set: self.set, fleet: self.fleet, evaluator: &self.evaluator };
        let holds = self.evaluator.holds();
        let own = holds.iter().filter(|hold| hold.items.iter().any(|held| held.item == self.id));
        let deed = |hold| {
            let line = words.line(hold);
            let state = line.items.iter().find(|held| held.item == self.item.key);
            let state = state.map(|held| format!("; this item {}: {}", held.standing, held.says));
            let at = hold.day.map_or_else(|| self.local(hold.at), |day| day.to_string());
            Deed { at, what: line.says + &state.unwrap_or_default() }
        };
        own.map(deed).collect()
    }

    pub(super) fn changes(&self) -> Vec<Deed> {
        let own = self.register.states.values();
        let states = own.filter(|row| !row.void && row.item == self.item.key && row.at < self.cutoff.0);
        let states = states.map(|row| {
            let by = row.by.as_ref().map(|by| format!(", by {by}")).unwrap_or_default();
            let reason = row.reason.as_ref().map(|reason| format!(": {reason}")).unwrap_or_default();
            let what = format!("{}{by}{reason}", row.state);
            (row.at, Deed { at: self.dated(row.at, row.day.as_ref()), what })
        });
        let mut changes: Vec<(i64, Deed)> = states.collect();
        changes.extend(self.register.items.values().filter_map(|item| self.piece(item)));
        changes.sort_by(|a, b| (a.0, &a.1.what).cmp(&(b.0, &b.1.what)));
        changes.into_iter().map(|(_, deed)| deed).collect()
    }

    /// A piece cut off it.
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

    /// What left it, of a batch.
    fn left(&self, item: &Item) -> Option<(i64, Deed)> {
        let at = item.taken_at.filter(|_| item.taken_from.as_ref() == Some(&self.item.key))?;
        let what = format!("{} split from it", item.key);
        let deed = Deed { at: self.dated(at, item.taken_day.as_ref()), what };
        (at < self.cutoff.0).then_some((at, deed))
    }
}

/// A record of work in a line, its readings as they were written down.
fn line(row: &Work) -> String {
    let by = row.by.as_ref().map(|by| format!(", by {by}"));
    let certificate = row.certificate.as_ref().map(|number| format!(", {number}"));
    let more = [
        by,
        certificate,
        row.measurements.as_ref().map(|text| format!("; {text}")),
        row.note.as_ref().map(|note| format!("; {note}")),
    ];
    let more: String = more.into_iter().flatten().collect();
    format!("{} {}{more}", row.rule, row.outcome)
}
