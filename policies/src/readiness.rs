//! Which stations can launch by the state of their gear, and why not.

use std::collections::HashMap;

use jiff::civil::Date;

use crate::due::{DueRow, Evaluator};
use crate::facts::{ItemId, Station, StationId};
use crate::kinds::KindId;
use crate::outfit::Outfit;
use crate::quarantine::Shut;
use crate::rule::{Authority, Effect, RuleId, words};
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

/// The certificate of an item by which it has lapsed on a day, among all of the item's. Of those with an end the one
/// that was issued last decides: a newer paper without an end is of another sort, and renews nothing.
pub fn lapsed<'c>(own: impl IntoIterator<Item = &'c Certificate>, today: Date) -> Option<&'c Certificate> {
    let issued = own.into_iter().filter(|paper| paper.issued_on <= today && paper.valid_until.is_some());
    let newest = issued.max_by_key(|paper| (paper.issued_on, paper.valid_until))?;
    newest.valid_until.is_some_and(|until| until < today).then_some(newest)
}

/// Whether a defect is a danger.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Danger {
    /// It is one now.
    Now,
    /// It could become one by that day.
    By(Date),
    /// It is none, and needs watching or repair.
    None,
}

/// A defect that an examination found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Defect {
    /// Its key.
    pub key: String,
    /// Number of the report.
    pub report: String,
    /// Item.
    pub item: ItemId,
    /// Day it was found.
    pub found_on: Date,
    /// Part and fault, in the examiner's words.
    pub what: String,
    /// Whether it is a danger.
    pub danger: Danger,
    /// What would remedy it, where the report says so.
    pub remedy: Option<String>,
    /// Who clears it.
    pub by: String,
    /// Day it was cleared.
    pub cleared_on: Option<Date>,
}

impl Defect {
    /// Whether it was found by the end of a day, and not yet cleared.
    pub fn is_open(&self, as_of: Date) -> bool {
        self.found_on <= as_of && self.cleared_on.is_none_or(|cleared| cleared > as_of)
    }

    /// Whether it stops a launch: an open danger, or one whose day has passed. No rule's own date and no
    /// concession puts that off.
    pub fn stops_launch(&self, as_of: Date) -> bool {
        let danger = match self.danger {
            Danger::Now => true,
            Danger::By(day) => day < as_of,
            Danger::None => false,
        };
        danger && self.is_open(as_of)
    }
}

/// What readiness needs beyond the fleet.
#[derive(Clone, Debug, Default)]
pub struct Papers {
    /// Concessions.
    pub concessions: Vec<Concession>,
    /// Certificates.
    pub certificates: Vec<Certificate>,
    /// Defects.
    pub defects: Vec<Defect>,
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
        /// A live concession that does not count: no one waives what stands on law.
        refused: Option<Concession>,
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
    /// Gear that stands alone, or that bears the load of a launch or a recovery, must not be used, whether or not
    /// its position is a required one.
    OutOfUse {
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
    /// The newest certificate of an item that has an end has lapsed.
    Lapsed {
        /// The certificate.
        certificate: Certificate,
    },
    /// An examination found a defect that is a danger, or whose day has passed.
    Defect {
        /// The defect.
        defect: Defect,
    },
    /// Gear that nothing carries is laid up, and the station has no other of its kind.
    LaidUp {
        /// The item.
        item: ItemId,
    },
    /// All of a station's gear of a kind that nothing carries is withdrawn.
    Withdrawn {
        /// The item that was withdrawn last.
        item: ItemId,
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
            | Reason::OutOfUse { .. }
            | Reason::TooFew { .. }
            | Reason::LaidUp { .. }
            | Reason::Withdrawn { .. }
            | Reason::Defect { .. }
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

/// Papers by item.
struct Filed<'p> {
    concessions: HashMap<ItemId, Vec<&'p Concession>>,
    certificates: HashMap<ItemId, Vec<&'p Certificate>>,
    defects: HashMap<ItemId, Vec<&'p Defect>>,
}

impl<'p> Filed<'p> {
    fn of(papers: &'p Papers) -> Filed<'p> {
        let mut filed =
            Filed { concessions: HashMap::new(), certificates: HashMap::new(), defects: HashMap::new() };
        for paper in &papers.concessions {
            filed.concessions.entry(paper.item).or_default().push(paper);
        }
        for paper in &papers.certificates {
            filed.certificates.entry(paper.item).or_default().push(paper);
        }
        for paper in &papers.defects {
            filed.defects.entry(paper.item).or_default().push(paper);
        }
        filed
    }
}

impl Evaluator<'_> {
    /// Readiness of every station, in the order of the fleet.
    pub fn readiness(&self, papers: &Papers) -> Vec<StationReadiness> {
        let (filed, outfits) = (Filed::of(papers), self.outfits());
        (0u32..).map(StationId).zip(&outfits).map(|(id, outfit)| self.of_outfit(id, outfit, &filed)).collect()
    }

    /// Readiness of one station; none where the fleet has no such station.
    pub fn readiness_of(&self, station: StationId, papers: &Papers) -> Option<StationReadiness> {
        let outfits = self.outfits();
        let outfit = outfits.get(station.0 as usize)?;
        Some(self.of_outfit(station, outfit, &Filed::of(papers)))
    }

    fn of_outfit(&self, id: StationId, outfit: &Outfit, filed: &Filed) -> StationReadiness {
        let station = &self.fleet.stations[id.0 as usize];
        let mut reasons = self.reasons(&outfit.counted, filed);
        reasons.extend(self.out_of_use(&outfit.counted, &reasons));
        reasons.extend(self.laid_up(outfit));
        reasons.extend(self.all_withdrawn(outfit));
        reasons.extend(self.too_few(&outfit.counted, station));
        reasons.extend(self.old_log(outfit, station));
        reasons.sort_by_key(|reason| std::cmp::Reverse(reason.readiness()));
        let readiness = reasons.first().map_or(Readiness::Ready, Reason::readiness);
        StationReadiness { station: id, readiness, reasons }
    }

    fn reasons(&self, items: &[ItemId], papers: &Filed) -> Vec<Reason> {
        let mut reasons = Vec::new();
        let mut rows = Vec::new();
        for id in items.iter().filter(|id| !self.is_withdrawn(self.fleet.item(**id))) {
            rows.clear();
            self.rows_limiting(*id, &mut rows);
            let rows = rows.iter().map(|row| self.as_it_stands(row)).chain(self.kept_rows(*id));
            reasons.extend(rows.filter_map(|row| self.rule_reason(&row, papers)));
            reasons.extend(self.positions(*id));
            reasons.extend(self.lapsed(*id, papers));
            let defects = papers.defects.get(id).into_iter().flatten();
            let today = self.day(self.fleet.item(*id));
            let stop = defects.filter(|defect| defect.stops_launch(today));
            reasons.extend(stop.map(|defect| Reason::Defect { defect: Defect::clone(defect) }));
        }
        reasons
    }

    fn rule_reason(&self, row: &DueRow, papers: &Filed) -> Option<Reason> {
        let effect = self.set.rule(row.rule).overdue;
        if effect == Effect::Advisory || !Evaluator::bites(row) {
            return None;
        }
        let today = self.day(self.fleet.item(row.item));
        let own = papers.concessions.get(&row.item).into_iter().flatten();
        let mut live = own.filter(|concession| {
            concession.rule == row.rule && concession.from <= today && today <= concession.until
        });
        let concession = live.next().map(|concession| Concession::clone(concession));
        Some(match concession {
            Some(concession) if self.may_be_conceded(row.rule) => Reason::Conceded { row: *row, concession },
            refused => Reason::Rule { row: *row, effect, refused },
        })
    }

    /// Whether a concession waives a rule: none waives what stands on law. One that was signed before the rule came to
    /// stand on law ends with that.
    pub fn may_be_conceded(&self, rule: RuleId) -> bool {
        self.set.rule(rule).authority != Authority::Law
    }

    /// Required positions of a host that are empty, or hold what must not be used.
    pub(crate) fn positions(&self, host: ItemId) -> Vec<Reason> {
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

    fn lapsed(&self, id: ItemId, papers: &Filed) -> Option<Reason> {
        let own = papers.certificates.get(&id)?.iter().copied();
        let lapsed = lapsed(own, self.day(self.fleet.item(id)))?;
        Some(Reason::Lapsed { certificate: lapsed.clone() })
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

    fn old_log(&self, outfit: &Outfit, station: &Station) -> Option<Reason> {
        let end = self.end_at(station);
        let last = outfit.last_entry;
        let oldest = Instant(
            end.0.saturating_sub(i64::from(self.set.service.oldest_log_hours).saturating_mul(HOUR_MICROS)),
        );
        last.is_none_or(|last| last < oldest).then_some(Reason::OldLog { last })
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    #[test]
    fn a_defect_stops_a_launch_from_its_day_until_it_is_cleared() {
        let defect = |danger, cleared_on| Defect {
            key: "TR-1/1".to_owned(),
            report: "TR-1".to_owned(),
            item: ItemId(0),
            found_on: date(2026, 10, 6),
            what: "link 6: worn".to_owned(),
            danger,
            remedy: None,
            by: "competent person".to_owned(),
            cleared_on,
        };
        let stops = |danger, cleared, day| defect(danger, cleared).stops_launch(date(2026, 10, day));
        assert!(!stops(Danger::Now, None, 5) && stops(Danger::Now, None, 6));
        assert!(
            !stops(Danger::By(date(2026, 10, 12)), None, 12)
                && stops(Danger::By(date(2026, 10, 12)), None, 13)
        );
        assert!(!stops(Danger::None, None, 30) && defect(Danger::None, None).is_open(date(2026, 10, 30)));
        let cleared = Some(date(2026, 10, 14));
        assert!(stops(Danger::Now, cleared, 13) && !stops(Danger::Now, cleared, 14));
    }
}
