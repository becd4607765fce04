//! Where an item has been: its places as a dated list, and what it counted in each.

use policies::amount::Amount;
use policies::explain::UsageWorking;
use policies::facts::{Fitting, ItemId};
use policies::kinds::MeterId;
use policies::rule::Work;
use policies::usage::{self, Period};
use policies::zone::Instant;

use super::links::Link;
use super::place::View;
use super::words;

/// One place in an item's life.
#[derive(Clone, Debug, Default)]
pub(super) struct Stay {
    pub(super) from: String,
    pub(super) to: String,
    /// Position on the host, `not fitted` between two hosts.
    pub(super) position: String,
    pub(super) host: Option<(String, Link)>,
    pub(super) station: String,
    /// What it counted there, by meter.
    pub(super) counts: Vec<String>,
}

impl View<'_> {
    fn period(&self, id: ItemId) -> Period {
        Period { after: None, before: self.cutoff(id) }
    }

    /// Meters that an item counted anything on.
    pub(super) fn meters(&self, id: ItemId) -> Vec<MeterId> {
        let known = u16::try_from(self.set.kinds.meters.len()).unwrap_or(u16::MAX);
        let used = |meter: &MeterId| usage::used(self.fleet, id, *meter, self.period(id)).is_positive();
        (0..known).map(MeterId).filter(used).collect()
    }

    /// Use of its whole life, by meter.
    pub(super) fn totals(&self, id: ItemId) -> Vec<String> {
        let totals = self.meters(id).into_iter().map(|meter| {
            let name = self.set.kinds.meter_name(meter);
            let all = words::amount(usage::used(self.fleet, id, meter, self.period(id)), name);
            let opening = usage::opening_before(self.fleet, id, meter, self.cutoff(id));
            if opening.is_positive() {
                format!("{all}, {opening} of them before the records begin")
            } else {
                all
            }
        });
        totals.collect()
    }

    /// Its places, the first first, with the gaps between them.
    pub(super) fn stays(&self, id: ItemId) -> Vec<Stay> {
        let cutoff = self.cutoff(id);
        let fittings: Vec<&Fitting> = self.item(id).fittings.iter().filter(|fit| fit.from < cutoff).collect();
        let meters = self.meters(id);
        let mut stays = Vec::new();
        let mut last: Option<Instant> = None;
        for fit in fittings {
            stays.extend(
                last.filter(|last| *last < fit.from).map(|last| self.loose(id, last, Some(fit.from))),
            );
            stays.push(self.stay(id, fit, &meters));
            last = Some(fit.to);
        }
        stays.extend(last.filter(|last| *last < cutoff).map(|last| self.loose(id, last, None)));
        stays
    }

    fn stay(&self, id: ItemId, fit: &Fitting, meters: &[MeterId]) -> Stay {
        let host = self.kind(fit.host);
        let position = fit.position.and_then(|at| host.positions.get(usize::from(at)));
        let station = self.fleet.station_of(self.item(fit.host));
        let counts = meters.iter().filter_map(|meter| self.counted(id, fit, *meter));
        Stay {
            from: self.local(id, fit.from),
            to: if fit.to >= self.cutoff(id) { String::new() } else { self.local(id, fit.to) },
            position: position.map(|position| position.name.clone()).unwrap_or_default(),
            host: Some((host.name.clone(), self.links.to_item(self.tag(fit.host)))),
            station: station.map_or("central stores", |station| &*station.name).to_owned(),
            counts: counts.collect(),
        }
    }

    fn loose(&self, id: ItemId, from: Instant, to: Option<Instant>) -> Stay {
        Stay {
            from: self.local(id, from),
            to: to.map(|to| self.local(id, to)).unwrap_or_default(),
            position: "not fitted".to_owned(),
            ..Stay::default()
        }
    }

    fn local(&self, id: ItemId, at: Instant) -> String {
        words::full_day(self.zone(id).date_of(at))
    }

    /// What it counted of one meter while that fitting lasted.
    fn counted(&self, id: ItemId, fit: &Fitting, meter: MeterId) -> Option<String> {
        let parts = usage::stretches(self.fleet, id, meter, self.period(id)).filter(|(host, ..)| *host != id);
        let dated: Amount =
            parts.map(|(_, log, from, to)| log.between(from.max(fit.from), to.min(fit.to))).sum();
        let undated = usage::undated(self.fleet, id, meter, self.period(id)).filter(|(host, _)| *host != id);
        let undated: Amount = undated
            .filter(|(_, use_)| use_.at >= fit.from && use_.at < fit.to)
            .map(|(_, use_)| use_.amount)
            .sum();
        let all = dated + undated;
        all.is_positive().then(|| words::amount(all, self.set.kinds.meter_name(meter)))
    }

    /// `242 of 250 launches: 61 + 84 + 97`, and what one station's own sheet would read.
    pub(super) fn life_count(&self, id: ItemId) -> Option<(String, String)> {
        let rows = self.rows_of(id);
        let renewal =
            rows.iter().find(|row| self.set.rule(row.rule).work == Work::Renewal && row.meter.is_some())?;
        let found = self.evaluator.derive(id, renewal.rule);
        let working = found.usage.iter().find(|working| Some(working.clause.meter) == renewal.meter)?;
        let sum = self.sum(working);
        Some((sum, self.own_sheet(working)))
    }

    fn sum(&self, working: &UsageWorking) -> String {
        let opening =
            working.opening.is_positive().then(|| format!("{} before the records begin", working.opening));
        let parts = working.borne.iter().map(|part| (part.dated + part.undated).to_string());
        let parts: Vec<String> = opening.into_iter().chain(parts).collect();
        let meter = self.set.kinds.meter_name(working.clause.meter);
        let total = format!("{} of {} {meter}", working.used, working.clause.every);
        if parts.len() > 1 { format!("{total}: {}", parts.join(" + ")) } else { total }
    }

    /// What a sheet would read that was begun when the item came to its present station.
    fn own_sheet(&self, working: &UsageWorking) -> String {
        let station = |part: &policies::explain::Borne| self.item(part.host).station;
        let Some(here) = working.borne.last().and_then(station) else { return String::new() };
        let own: Amount = working
            .borne
            .iter()
            .filter(|part| station(part) == Some(here))
            .map(|p| p.dated + p.undated)
            .sum();
        if own == working.used {
            return String::new();
        }
        format!("A sheet kept at {} alone would read {own}.", self.station(here).name)
    }
}
