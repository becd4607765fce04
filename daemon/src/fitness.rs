//! Readiness in words: each station's state, its reasons and what clears them.

mod causes;
mod spare;

use std::collections::{BTreeSet, HashMap};

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::{DueRow, Evaluator};
use policies::facts::{Fleet, ItemId, StationId};
use policies::holds::Hold;
use policies::load::PolicySet;
use policies::quarantine::Shut;
use policies::readiness::{Certificate, Concession, Papers, Readiness, Reason, StationReadiness};
use policies::zone::Instant;
use serde::Serialize;

use crate::desk::DeskError;
use crate::doubts::says;
use crate::examine;
use crate::gear;
use crate::holds;
use crate::records;
use crate::store::Store;
use crate::store::current::{Newest, Register};
use crate::why::day;
pub use causes::{Causes, NO_CAUSES};
use spare::Gap;

/// A station's readiness in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// Slug.
    pub station: String,
    /// Name.
    #[serde(skip)]
    pub name: String,
    /// `ready`, `ready with limits`, `not ready` or `unknown`.
    pub readiness: &'static str,
    /// Every reason, worst first, each with what clears it.
    pub reasons: Vec<String>,
    /// Doubts in its log; they do not change its state.
    pub doubts: Vec<String>,
    /// Earliest day it can be ready again, where that can be said.
    pub back_on: Option<String>,
}

/// Concessions, certificates and defects of the register as they were known before a moment; without one, all.
///
/// # Errors
/// The store's failure.
pub async fn papers(store: &Store, known_before: Option<Instant>) -> Result<PaperRows, DeskError> {
    Ok(PaperRows {
        concessions: store.newest_known(known_before).await?,
        certificates: store.newest_known(known_before).await?,
        defects: store.newest_known(known_before).await?,
    })
}

/// Papers as they are stored.
#[derive(Default)]
pub struct PaperRows {
    concessions: Newest<records::Concession>,
    certificates: Newest<records::Certificate>,
    defects: Newest<records::Defect>,
}

impl PaperRows {
    /// Out of a register in memory.
    pub(crate) fn of_register(register: &Register) -> PaperRows {
        PaperRows {
            concessions: register.concessions.clone(),
            certificates: register.certificates.clone(),
            defects: register.defects.clone(),
        }
    }

    /// The papers of a fleet.
    pub fn of(&self, set: &PolicySet, fleet: &Fleet) -> Papers {
        papers_of(set, fleet, self.concessions.values(), self.certificates.values(), self.defects.values())
    }
}

/// Records that are not void, for items and rules that are known.
pub fn papers_of<'r>(
    set: &PolicySet,
    fleet: &Fleet,
    concessions: impl IntoIterator<Item = &'r records::Concession>,
    certificates: impl IntoIterator<Item = &'r records::Certificate>,
    defects: impl IntoIterator<Item = &'r records::Defect>,
) -> Papers {
    let concession = |row: &records::Concession| {
        Some(Concession {
            number: row.key.clone(),
            item: fleet.find(&row.item)?,
            rule: set.find_rule(&row.rule)?,
            from: row.from_date.parse().ok()?,
            until: row.until_date.parse().ok()?,
            conditions: row.conditions.clone(),
        })
    };
    let certificate = |row: &records::Certificate| {
        Some(Certificate {
            number: row.number.clone(),
            item: fleet.find(&row.item)?,
            issued_on: row.issued_on.parse().ok()?,
            valid_until: row.valid_until.as_deref().and_then(|date| date.parse().ok()),
        })
    };
    let certificates = certificates.into_iter().filter(|row| !row.void).filter_map(certificate).collect();
    let mut papers = Papers {
        concessions: concessions.into_iter().filter(|row| !row.void).filter_map(concession).collect(),
        certificates,
        defects: examine::defects::of_fleet(fleet, defects),
    };
    papers.concessions.sort_by(|a, b| a.number.cmp(&b.number));
    papers
}

/// Every station's readiness, in the order of their slugs.
pub fn lines(set: &PolicySet, fleet: &Fleet, as_of: impl Into<AsOf>, papers: &Papers) -> Vec<Line> {
    let as_of = as_of.into();
    let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
    let words = Words { set, fleet, as_of, evaluator: &evaluator, papers, causes: &NO_CAUSES };
    words.lines(&evaluator.readiness(papers))
}

/// What readiness is told from.
pub struct Words<'w> {
    /// Rules.
    pub set: &'w PolicySet,
    /// The fleet under them.
    pub fleet: &'w Fleet,
    /// The day that is judged.
    pub as_of: AsOf,
    /// Its judgements.
    pub evaluator: &'w Evaluator<'w>,
    /// Papers of the gear.
    pub papers: &'w Papers,
    /// What gear out of use asks to be looked into.
    pub causes: &'w Causes,
}

impl Words<'_> {
    /// Every station's readiness as judged, in the order of their slugs.
    pub fn lines(&self, judged: &[StationReadiness]) -> Vec<Line> {
        let holds = self.evaluator.holds();
        let on_hold = by_item(&holds);
        let doubts = self.evaluator.doubts_by_station();
        let line = |found: &StationReadiness| {
            let station = &self.fleet.stations[found.station.0 as usize];
            let doubts = &doubts[found.station.0 as usize];
            Line {
                station: station.slug.to_string(),
                name: station.name.to_string(),
                readiness: found.readiness.word(),
                reasons: self.reasons(found, &holds, &on_hold),
                doubts: doubts.iter().map(|doubt| says(self.set, self.fleet, doubt)).collect(),
                back_on: self.back_on(found).map(|day| day.to_string()),
            }
        };
        let mut lines: Vec<Line> = judged.iter().map(line).collect();
        lines.sort_by(|a, b| a.station.cmp(&b.station));
        lines
    }

    /// Every reason; the first that comes from a hold tells the whole of it.
    fn reasons(
        &self,
        found: &StationReadiness,
        holds: &[Hold],
        on_hold: &HashMap<ItemId, Vec<usize>>,
    ) -> Vec<String> {
        let words = holds::Words { set: self.set, fleet: self.fleet, evaluator: self.evaluator };
        let mut told = BTreeSet::new();
        let mut reasons = Vec::new();
        let mut lapsed = BTreeSet::new();
        for reason in &found.reasons {
            let mut text = match reason {
                Reason::Lapsed { certificate } if !lapsed.insert(&certificate.number) => continue,
                Reason::Lapsed { certificate } => self.lapsed(found, certificate),
                other => self.reason(found.station, other),
            };
            let row = row_of(reason);
            for index in row.and_then(|row| on_hold.get(&row.item)).into_iter().flatten() {
                let hold = &holds[*index];
                if row.is_some_and(|row| hold.waits_for(row.item, row.rule)) && told.insert(*index) {
                    text = text + "; " + &words.summary(hold);
                }
            }
            reasons.push(text);
        }
        reasons
    }

    /// What could fill the place of a reason that is a position without sound gear, as a sentence without its end.
    pub fn replacement(&self, station: StationId, reason: &Reason) -> Option<String> {
        let gap = match reason {
            Reason::Empty { host, position, .. } => {
                Gap { station, host: *host, position: *position, leaving: None }
            }
            Reason::Unfit { host, position, item, .. } => {
                Gap { station, host: *host, position: *position, leaving: Some(*item) }
            }
            _ => return None,
        };
        Some(self.spare_text(&gap).trim_start_matches("; ").to_owned())
    }

    fn gear(&self, id: ItemId) -> String {
        let cutoff = self.evaluator.cutoff(self.fleet.item(id));
        let what = gear::what(self.set, self.fleet, id, cutoff);
        format!("{} · {what} · {}", self.fleet.item(id).tag, gear::place(self.set, self.fleet, id, cutoff))
    }

    fn position(&self, host: ItemId, index: usize) -> String {
        let facts = self.fleet.item(host);
        let kind = self.set.kinds.kind(facts.kind);
        let name = kind.positions.get(index).map_or("position", |position| position.name.as_str());
        format!("{name} of {} {}", kind.name, facts.tag)
    }

    /// One reason, and what clears it.
    pub fn reason(&self, station: StationId, reason: &Reason) -> String {
        match reason {
            Reason::Rule { row, effect, refused } => {
                format!(
                    "{}: {}; {effect}; clears when {} by {}{}",
                    self.gear(row.item),
                    self.rule(row),
                    self.work(row),
                    self.by(row),
                    self.refused(row, refused.as_ref())
                )
            }
            Reason::Conceded { row, concession } => format!(
                "{}: {}; concession {} to {}: {}",
                self.gear(row.item),
                self.rule(row),
                concession.number,
                day(concession.until),
                concession.conditions
            ),
            Reason::Empty { host, position, missing } => {
                format!(
                    "{} lacks {missing}; clears when it is filled{}",
                    self.position(*host, *position),
                    self.spare_text(&Gap { station, host: *host, position: *position, leaving: None })
                )
            }
            Reason::Unfit { host, position, item, shut } => format!(
                "{} holds {}, {}; clears when it is replaced{}{}",
                self.position(*host, *position),
                self.fleet.item(*item).tag,
                self.shut(*item, shut),
                self.spare_text(&Gap { station, host: *host, position: *position, leaving: Some(*item) }),
                self.causes.get(*item).map(|cause| format!("; {cause}")).unwrap_or_default()
            ),
            Reason::OutOfUse { item, shut } => {
                format!(
                    "{}: {}; clears when it is {}",
                    self.gear(*item),
                    self.shut(*item, shut),
                    self.cleared(*item, shut)
                )
            }
            Reason::TooFew { kind, have, wanted } => {
                format!(
                    "{have} fit {} of the {wanted} that the service wants; clears when more are fitted",
                    self.set.kinds.kind(*kind).name
                )
            }
            Reason::Lapsed { certificate } => lapsed_words(&self.gear(certificate.item), certificate),
            Reason::Defect { defect } => {
                format!("{}: {}", self.gear(defect.item), examine::defects::stops(defect))
            }
            Reason::LaidUp { item } => {
                format!("{} is laid up; clears when it returns, or another takes its place", self.gear(*item))
            }
            Reason::Withdrawn { item } => self.without(*item),
            Reason::OldLog { last } => Words::old_log(*last),
        }
    }

    /// One certificate for all the gear of the station that it was the newest of.
    fn lapsed(&self, found: &StationReadiness, paper: &Certificate) -> String {
        let same = found.reasons.iter().filter_map(|reason| match reason {
            Reason::Lapsed { certificate } if certificate.number == paper.number => Some(certificate.item),
            _ => None,
        });
        let items: Vec<ItemId> = same.collect();
        let first = self.gear(paper.item);
        match &items[1.min(items.len())..] {
            [] => lapsed_words(&first, paper),
            more => {
                let tags: Vec<&str> = more.iter().map(|id| &*self.fleet.item(*id).tag).collect();
                lapsed_words(&format!("{first}, and {}", tags.join(", ")), paper)
            }
        }
    }

    /// Gear that nothing carries and that the station has no other of.
    fn without(&self, item: ItemId) -> String {
        let shut = self.evaluator.shut(item).map(|shut| self.shut(item, &shut)).unwrap_or_default();
        format!(
            "{}: {shut}, and the station has no other {}; clears when another takes its place, or when the withdrawn \
             one is put down to another station or to stores",
            self.gear(item),
            self.set.kinds.kind(self.fleet.item(item).kind).name
        )
    }

    fn old_log(last: Option<Instant>) -> String {
        let since = last.map(|last| last.timestamp().strftime("%-d %b %Y %H:%M UTC"));
        let said =
            since.map_or("nothing was ever logged".to_owned(), |at| format!("nothing logged since {at}"));
        said + "; clears when the log is written up"
    }

    fn rule(&self, row: &policies::due::DueRow) -> String {
        let title = &self.set.rule(row.rule).title;
        let since = row
            .due_on
            .map_or_else(|| "no date to count from".to_owned(), |due| format!("since {}", day(due)));
        format!("{title}, {} ({since})", row.standing)
    }

    fn work(&self, row: &policies::due::DueRow) -> String {
        format!("the {} is done", self.set.rule(row.rule).work)
    }

    fn by(&self, row: &policies::due::DueRow) -> String {
        self.set.rule(row.rule).by.clone().unwrap_or_else(|| "station mechanic".to_owned())
    }

    fn shut(&self, item: ItemId, shut: &Shut) -> String {
        let zone = self.fleet.zone_of(self.fleet.item(item));
        match shut {
            Shut::Withdrawn(at) => format!("withdrawn {}", day(zone.date_of(*at))),
            Shut::Quarantined(at) => format!("quarantined {}", day(zone.date_of(*at))),
            Shut::Condemned(found) => {
                let rule = &self.set.rule(found.rule).title;
                let criteria = self.set.service.regime.criteria();
                format!("a reading of {} beyond what {criteria} allow ({rule})", day(found.on))
            }
            Shut::Failed(done) => format!("failed {} on {}", self.set.rule(done.rule).title, day(done.date)),
        }
    }

    /// What ends it for gear that is not simply replaced.
    fn cleared(&self, item: ItemId, shut: &Shut) -> &'static str {
        let fitted =
            gear::fitted_at(self.fleet.item(item), self.evaluator.cutoff(self.fleet.item(item))).is_some();
        match (shut, fitted) {
            (Shut::Withdrawn(_), _) => "taken off",
            (Shut::Quarantined(_) | Shut::Condemned(_), true) => "released, or replaced",
            (Shut::Quarantined(_) | Shut::Condemned(_), false) => {
                "released, or laid up while another stands in"
            }
            (Shut::Failed(_), true) => "done and passed, released, or replaced",
            (Shut::Failed(_), false) => "done and passed, or released",
        }
    }

    fn refused(&self, row: &policies::due::DueRow, concession: Option<&Concession>) -> String {
        let law = |concession: &Concession| {
            let source = self.set.rule(row.rule).source.as_deref().unwrap_or("law");
            format!("; concession {} does not count: no one waives law ({source})", concession.number)
        };
        concession.map(law).unwrap_or_default()
    }

    /// The day after the next where spares or the station's own people clear every reason; not said where it waits on
    /// others. The evening of a day that is named has gone by; of a day that still runs the next is tomorrow.
    pub fn back_on(&self, found: &StationReadiness) -> Option<Date> {
        let against: Vec<&Reason> =
            found.reasons.iter().filter(|reason| reason.readiness() == Readiness::NotReady).collect();
        if found.readiness != Readiness::NotReady {
            return None;
        }
        let soon = against.iter().all(|reason| match reason {
            Reason::Empty { host, position, .. } => self.has_spare(&Gap {
                station: found.station,
                host: *host,
                position: *position,
                leaving: None,
            }),
            Reason::Unfit { host, position, item, .. } => self.has_spare(&Gap {
                station: found.station,
                host: *host,
                position: *position,
                leaving: Some(*item),
            }),
            Reason::Rule { row, .. } => {
                matches!(
                    self.set.rule(row.rule).by.as_deref(),
                    None | Some("station mechanic" | "beach crew")
                )
            }
            _ => false,
        });
        let station = &self.fleet.stations[found.station.0 as usize];
        let today = match self.as_of {
            AsOf::Now(_) => self.evaluator.day_at(station),
            AsOf::Day(day) => day.tomorrow().ok()?,
        };
        soon.then(|| today.tomorrow().ok()).flatten()
    }
}

fn lapsed_words(gear: &str, paper: &Certificate) -> String {
    let until = paper.valid_until.map(day).unwrap_or_default();
    format!("{gear}: certificate {} lapsed on {until}; clears with a new one", paper.number)
}

/// Where in the list the holds of each item are.
fn by_item(holds: &[Hold]) -> HashMap<ItemId, Vec<usize>> {
    let mut found: HashMap<ItemId, Vec<usize>> = HashMap::new();
    for (index, hold) in holds.iter().enumerate() {
        for held in &hold.items {
            found.entry(held.item).or_default().push(index);
        }
    }
    found
}

fn row_of(reason: &Reason) -> Option<&DueRow> {
    match reason {
        Reason::Rule { row, .. } | Reason::Conceded { row, .. } => Some(row),
        _ => None,
    }
}
