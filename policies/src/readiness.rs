//! Which stations can launch by the state of their gear, and why not.

use std::collections::HashMap;

use jiff::civil::Date;

use crate::due::{DueRow, Evaluator};
use crate::facts::{ItemId, Station, StationId};
use crate::kinds::KindId;
use crate::quarantine::Shut;
use crate::rule::{Effect, RuleId, words};
use crate::zone::Instant;

words! {
    /// What a station's gear allows, best first.
    Readiness {
        /// Nothing stands against a launch.
        Ready = "ready",
        /// It may launch under the limits that are named.
        ReadyWithLimits = "ready with limits",
        /// The log is older than the service allows.
        Unknown = "unknown",
        /// Something stops a launch.
        NotReady = "not ready",
    }
}

/// A concession: a rule waived for an item between two days, both counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Concession {
    /// Number.
    pub number: String,
    /// Item.
    pub item: ItemId,
    /// Rule.
    pub rule: RuleId,
    /// First day.
    pub from: Date,
    /// Last day.
    pub until: Date,
    /// Under what conditions.
    pub conditions: String,
}

/// A certificate that may lapse.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Certificate {
    /// Number.
    pub number: String,
    /// Item.
    pub item: ItemId,
    /// Issued.
    pub issued_on: Date,
    /// Last day it is valid.
    pub valid_until: Option<Date>,
}

/// What readiness needs beyond the fleet.
#[derive(Clone, Debug, Default)]
pub struct Papers {
    /// Concessions.
    pub concessions: Vec<Concession>,
    /// Certificates.
    pub certificates: Vec<Certificate>,
}

/// One reason a station is less than ready.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reason {
    /// A rule is overdue, used up or held.
    Rule {
        /// Its row.
        row: DueRow,
        /// What it does.
        effect: Effect,
    },
    /// The same, under a live concession.
    Conceded {
        /// Its row.
        row: DueRow,
        /// The concession.
        concession: Concession,
    },
    /// A required position lacks items.
    Empty {
        /// Host.
        host: ItemId,
        /// Position within the host's kind.
        position: usize,
        /// Items it lacks.
        missing: u32,
    },
    /// A required position holds an item that must not be used.
    Unfit {
        /// Host.
        host: ItemId,
        /// Position within the host's kind.
        position: usize,
        /// The item.
        item: ItemId,
        /// Why.
        shut: Shut,
    },
    /// Fewer fit items of a kind than the service wants.
    TooFew {
        /// Kind.
        kind: KindId,
        /// Fit ones.
        have: u32,
        /// Wanted.
        wanted: u32,
    },
    /// The newest certificate of an item has lapsed.
    Lapsed {
        /// The certificate.
        certificate: Certificate,
    },
    /// Nothing was logged for longer than the service allows.
    OldLog {
        /// Last entry.
        last: Option<Instant>,
    },
}

impl Reason {
    /// What it makes of the station by itself.
    pub const fn readiness(&self) -> Readiness {
        match self {
            Reason::Rule { effect: Effect::StopsLaunch, .. }
            | Reason::Empty { .. }
            | Reason::Unfit { .. }
            | Reason::TooFew { .. }
            | Reason::Lapsed { .. } => Readiness::NotReady,
            Reason::Rule { .. } | Reason::Conceded { .. } => Readiness::ReadyWithLimits,
            Reason::OldLog { .. } => Readiness::Unknown,
        }
    }
}

/// A station's readiness with every reason, worst first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StationReadiness {
    /// Station.
    pub station: StationId,
    /// The worst of its reasons.
    pub readiness: Readiness,
    /// Every reason.
    pub reasons: Vec<Reason>,
}

const HOUR_MICROS: i64 = 3_600 * 1_000_000;

impl Evaluator<'_> {
    /// Readiness of every station, in the order of the fleet.
    pub fn readiness(&self, papers: &Papers) -> Vec<StationReadiness> {
        let counted = self.counted_items();
        let stations = (0u32..).map(StationId).zip(&self.fleet.stations);
        let none = Vec::new();
        let judged = stations.map(|(id, station)| {
            let items = counted.get(&id).unwrap_or(&none);
            let mut reasons = self.reasons(items, papers);
            reasons.extend(self.too_few(items, station));
            reasons.extend(self.old_log(id, station));
            reasons.sort_by_key(|reason| std::cmp::Reverse(reason.readiness()));
            let worst = reasons.first().map_or(Readiness::Ready, Reason::readiness);
            StationReadiness { station: id, readiness: worst, reasons }
        });
        judged.collect()
    }

    /// Items by the station that owns their outermost host. Gear that nothing carries stands for
    /// itself; anything else that is fitted nowhere counts for no station.
    fn counted_items(&self) -> HashMap<StationId, Vec<ItemId>> {
        let mut counted: HashMap<StationId, Vec<ItemId>> = HashMap::new();
        for id in self.fleet.ids() {
            let item = self.fleet.item(id);
            let chain = self.fleet.chain(id, self.cutoff(item));
            let Some(outermost) = chain.last().map(|host| self.fleet.item(*host)) else { continue };
            if let Some(station) =
                outermost.station.filter(|_| chain.len() > 1 || self.stands_alone(item.kind))
            {
                counted.entry(station).or_default().push(id);
            }
        }
        counted
    }

    /// Carriages, tractors, station sets: gear that nothing carries.
    fn stands_alone(&self, kind: KindId) -> bool {
        let kinds = &self.set.kinds.kinds;
        !kinds.iter().flat_map(|host| &host.positions).any(|position| position.takes.contains(&kind))
    }

    fn reasons(&self, items: &[ItemId], papers: &Papers) -> Vec<Reason> {
        let mut reasons = Vec::new();
        let mut rows = Vec::new();
        for id in items.iter().filter(|id| !self.is_withdrawn(self.fleet.item(**id))) {
            rows.clear();
            self.rows_of(*id, &mut rows);
            reasons.extend(rows.iter().filter_map(|row| self.rule_reason(row, papers)));
            reasons.extend(self.positions(*id));
            reasons.extend(self.lapsed(*id, papers));
        }
        reasons
    }

    fn rule_reason(&self, row: &DueRow, papers: &Papers) -> Option<Reason> {
        let effect = self.set.rule(row.rule).overdue;
        if effect == Effect::Advisory || !Evaluator::bites(row) {
            return None;
        }
        let live = papers.concessions.iter().find(|concession| {
            concession.item == row.item
                && concession.rule == row.rule
                && concession.from <= self.as_of
                && self.as_of <= concession.until
        });
        Some(match live {
            Some(concession) => Reason::Conceded { row: *row, concession: concession.clone() },
            None => Reason::Rule { row: *row, effect },
        })
    }

    /// Required positions of a host that are empty, or hold what must not be used.
    fn positions(&self, host: ItemId) -> Vec<Reason> {
        let facts = self.fleet.item(host);
        let kind = self.set.kinds.kind(facts.kind);
        if self.is_withdrawn(facts) || !kind.positions.iter().any(|position| position.required) {
            return Vec::new();
        }
        let fitted = self.fitted_on(host);
        let mut reasons = Vec::new();
        for (index, position) in kind.positions.iter().enumerate().filter(|(_, position)| position.required) {
            let here: Vec<ItemId> =
                fitted.iter().filter(|(at, _)| *at == index).map(|(_, item)| *item).collect();
            let missing = position.count.saturating_sub(u32::try_from(here.len()).unwrap_or(u32::MAX));
            if missing > 0 {
                reasons.push(Reason::Empty { host, position: index, missing });
            }
            let unfit = here.into_iter().filter_map(|item| Some((item, self.shut(item)?)));
            reasons.extend(unfit.map(|(item, shut)| Reason::Unfit { host, position: index, item, shut }));
        }
        reasons
    }

    /// What is fitted to a host now, by position.
    fn fitted_on(&self, host: ItemId) -> Vec<(usize, ItemId)> {
        let mut fitted = Vec::new();
        for id in self.fleet.bearers(host) {
            let item = self.fleet.item(id);
            let cutoff = self.cutoff(item);
            let now =
                item.fittings.iter().find(|fit| fit.host == host && fit.from < cutoff && fit.to >= cutoff);
            fitted.extend(now.and_then(|fit| Some((usize::from(fit.position?), id))));
        }
        fitted
    }

    fn lapsed(&self, id: ItemId, papers: &Papers) -> Option<Reason> {
        let own =
            papers.certificates.iter().filter(|paper| paper.item == id && paper.issued_on <= self.as_of);
        let newest = own.max_by_key(|paper| (paper.issued_on, paper.valid_until))?;
        let lapsed = newest.valid_until.is_some_and(|until| until < self.as_of);
        lapsed.then(|| Reason::Lapsed { certificate: newest.clone() })
    }

    fn too_few(&self, items: &[ItemId], station: &Station) -> Vec<Reason> {
        let minimums = &self.set.service.minimums;
        let own = minimums
            .iter()
            .filter(|least| least.station.as_deref().is_none_or(|slug| *slug == *station.slug));
        let short = own.filter_map(|least| {
            let kind = self.set.kinds.find(&least.kind)?;
            let fit =
                items.iter().filter(|id| self.fleet.item(**id).kind == kind && self.shut(**id).is_none());
            let have = u32::try_from(fit.count()).unwrap_or(u32::MAX);
            (have < least.count).then_some(Reason::TooFew { kind, have, wanted: least.count })
        });
        short.collect()
    }

    fn old_log(&self, id: StationId, station: &Station) -> Option<Reason> {
        let end = self.fleet.zones[usize::from(station.zone.0)].end_of(self.as_of);
        let own = self.fleet.items.iter().filter(|item| item.station == Some(id));
        let logs =
            own.flat_map(|item| &item.logs).filter_map(|(_, index)| self.fleet.logs.get(*index as usize));
        let last = logs.filter_map(|log| log.last_before(end)).max();
        let oldest = Instant(
            end.0.saturating_sub(i64::from(self.set.service.oldest_log_hours).saturating_mul(HOUR_MICROS)),
        );
        last.is_none_or(|last| last < oldest).then_some(Reason::OldLog { last })
    }
}
