//! What a station lacks for a launch beyond its due rows: required positions that are empty or hold what may not
//! be used, too few of a kind, a certificate that lapsed, a defect that is a danger.

use std::sync::Arc;

use policies::facts::{ItemId, StationId};
use policies::kinds::KindId;
use policies::quarantine::Shut;
use policies::readiness::{Certificate, Defect, Papers, Reason, StationReadiness};

use super::asked::Asked;
use super::fault::Fault;
use super::fitness;
use super::line::{Line, Mark};
use super::place::{Place, View};
use super::source::Source;
use super::visit::Visit;
use super::words;
use crate::examine::defects;
use crate::fitness::{Causes, Words, papers_of};
use crate::records;

/// What is lacking, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Gap {
    pub(super) station: StationId,
    reason: Reason,
}

/// Why people took items out of use, and the certificates and defects of all.
pub(super) struct Told {
    pub(super) states: Arc<Vec<records::State>>,
    pub(super) certificates: Arc<Vec<records::Certificate>>,
    pub(super) defects: Arc<Vec<records::Defect>>,
    /// What gear out of use asks to be looked into.
    pub(super) causes: Causes,
}

impl Told {
    /// Reads them; work is looked through only of gear that is out of use and still fitted: at that station, where one
    /// is given.
    ///
    /// # Errors
    /// The store's own.
    pub(super) async fn read(
        visit: &Visit,
        asked: &Asked,
        source: &Source<'_>,
        station: Option<&str>,
    ) -> Result<Told, Fault> {
        let set = &*visit.web.desk.set;
        let out = source.fleet(|fleet| Ok(Causes::asked(set, fleet, asked.judged, station))).await?;
        let works = if out.is_empty() { Vec::new() } else { source.of_items::<records::Work>(&out).await? };
        Ok(Told {
            states: source.all().await?,
            certificates: source.all().await?,
            defects: source.all().await?,
            causes: source.fleet(|fleet| Ok(Causes::of(set, fleet, asked.judged, &works))).await?,
        })
    }

    fn papers(&self, view: &View, concessions: &[records::Concession]) -> Papers {
        papers_of(view.set, view.fleet, concessions, &*self.certificates, &*self.defects)
    }

    /// The newest reason a person gave for an item that is out of use.
    pub(super) fn reason(&self, view: &View, id: ItemId, shut: &Shut) -> Option<&str> {
        let at = match shut {
            Shut::Withdrawn(at) | Shut::Quarantined(at) => at.0,
            Shut::Failed(_) | Shut::Condemned(_) => return None,
        };
        let mut states = self.states.iter().filter(|state| *state.item == *view.tag(id) && state.at == at);
        states.find_map(|state| state.reason.as_deref())
    }
}

impl Gap {
    /// The item or host that is named for it, where there is one.
    pub(super) fn gear(&self) -> Option<ItemId> {
        match &self.reason {
            Reason::Empty { host, .. } => Some(*host),
            Reason::Unfit { item, .. }
            | Reason::OutOfUse { item, .. }
            | Reason::LaidUp { item }
            | Reason::Withdrawn { item } => Some(*item),
            Reason::Lapsed { certificate } => Some(certificate.item),
            Reason::Defect { defect } => Some(defect.item),
            Reason::Rule { .. } | Reason::Conceded { .. } | Reason::TooFew { .. } | Reason::OldLog { .. } => {
                None
            }
        }
    }
}

/// What is lacking among the reasons of stations. Rows and logs are told of elsewhere on the page.
pub(super) fn lacking(judged: Vec<StationReadiness>) -> Vec<Gap> {
    let gaps = judged.into_iter().flat_map(|found| {
        let station = found.station;
        found.reasons.into_iter().map(move |reason| Gap { station, reason })
    });
    let lacks = |gap: &Gap| {
        !matches!(gap.reason, Reason::Rule { .. } | Reason::Conceded { .. } | Reason::OldLog { .. })
    };
    gaps.filter(lacks).collect()
}

impl View<'_> {
    /// Every station's readiness.
    pub(super) fn readiness(
        &self,
        told: &Told,
        concessions: &[records::Concession],
    ) -> Vec<StationReadiness> {
        self.evaluator.readiness(&told.papers(self, concessions))
    }

    /// Everything that is lacking at a station.
    pub(super) fn gaps(&self, told: &Told, station: StationId) -> Vec<Gap> {
        lacking(self.evaluator.readiness_of(station, &told.papers(self, &[])).into_iter().collect())
    }

    /// The lines of what is lacking; gear of one sort and place whose certificate lapsed is one line.
    pub(super) fn gap_lines<'g>(&self, gaps: impl Iterator<Item = &'g Gap>, told: &Told) -> Vec<Line> {
        let mut lines: Vec<Line> = Vec::new();
        let mut gaps = gaps.peekable();
        if gaps.peek().is_none() {
            return lines;
        }
        let papers = told.papers(self, &[]);
        for gap in gaps {
            let line = self.gap_line(gap, told, &papers);
            let lapsed = matches!(gap.reason, Reason::Lapsed { .. });
            let same = |have: &&mut Line| {
                lapsed && (&have.what, &have.place, &have.because) == (&line.what, &line.place, &line.because)
            };
            match lines.iter_mut().find(same) {
                Some(have) => have.tags.extend(line.tags),
                None => lines.push(line),
            }
        }
        lines
    }

    /// The line of what is lacking.
    fn gap_line(&self, gap: &Gap, told: &Told, papers: &Papers) -> Line {
        let said = match &gap.reason {
            Reason::Empty { host, position, missing } => self.empty(*host, *position, *missing),
            Reason::Unfit { item, shut, .. } => self.unfit(*item, shut, told.reason(self, *item, shut)),
            Reason::OutOfUse { item, shut } => Line {
                task: "release it, or put another in its place".to_owned(),
                ..self.unfit(*item, shut, told.reason(self, *item, shut))
            },
            Reason::LaidUp { item } => self.laid_up(*item),
            Reason::Withdrawn { item } => self.all_withdrawn(*item),
            Reason::TooFew { kind, have, wanted } => self.too_few(gap.station, *kind, *have, *wanted),
            Reason::Lapsed { certificate } => self.lapsed(certificate),
            Reason::Defect { defect } => self.defect(defect),
            Reason::Rule { .. } | Reason::Conceded { .. } | Reason::OldLog { .. } => Line::default(),
        };
        let notes = said.notes.iter().cloned().chain(self.gap_notes(gap, told, papers)).collect();
        Line { stops: true, by: "before the next launch".to_owned(), notes, ..said }
    }

    /// The spare that could go in, and the cause that is to be looked for.
    fn gap_notes(&self, gap: &Gap, told: &Told, papers: &Papers) -> Vec<String> {
        let words = Words {
            set: self.set,
            fleet: self.fleet,
            as_of: self.judged,
            evaluator: &self.evaluator,
            papers,
            causes: &told.causes,
        };
        let spare = words.replacement(gap.station, &gap.reason);
        let cause = match &gap.reason {
            Reason::Unfit { item, .. } | Reason::OutOfUse { item, .. } => told.causes.get(*item),
            _ => None,
        };
        spare.into_iter().chain(cause.map(str::to_owned)).collect()
    }

    fn empty(&self, host: ItemId, position: usize, missing: u32) -> Line {
        let position = &self.kind(host).positions[position];
        Line {
            mark: Mark { shape: "☐", word: "empty" },
            tags: vec![self.links.to_item(self.tag(host))],
            what: format!("{} of the {}", position.name, self.kind(host).name),
            place: self.place(host),
            task: format!("fit {}", words::count(missing as usize, "items")),
            because: format!("{missing} of {} places empty", position.count),
            ..Line::default()
        }
    }

    fn unfit(&self, id: ItemId, shut: &Shut, reason: Option<&str>) -> Line {
        Line {
            mark: Mark { shape: "✕", word: fitness::word(shut) },
            tags: vec![self.links.to_item(self.tag(id))],
            what: self.what(id),
            place: self.place(id),
            task: "fit a sound one in its place".to_owned(),
            because: self.shut_words(id, shut, reason),
            ..Line::default()
        }
    }

    fn laid_up(&self, id: ItemId) -> Line {
        Line {
            mark: Mark { shape: "☐", word: "laid up" },
            tags: vec![self.links.to_item(self.tag(id))],
            what: self.what(id),
            place: self.place(id),
            task: "bring it back, or another in its place".to_owned(),
            because: "it is laid up, and the station has no other".to_owned(),
            ..Line::default()
        }
    }

    fn all_withdrawn(&self, id: ItemId) -> Line {
        Line {
            mark: Mark { shape: "✕", word: "withdrawn" },
            task: "bring another in its place".to_owned(),
            because: "it is withdrawn, and the station has no other".to_owned(),
            ..self.laid_up(id)
        }
    }

    fn too_few(&self, station: StationId, kind: KindId, have: u32, wanted: u32) -> Line {
        let name = &self.set.kinds.kind(kind).name;
        Line {
            mark: Mark { shape: "☐", word: "too few" },
            what: name.clone(),
            place: Place { stands: self.station(station).name.to_string(), ..Place::default() },
            task: format!("fit {} more", wanted.saturating_sub(have)),
            because: format!("{have} fit ones of the {wanted} that the service wants"),
            ..Line::default()
        }
    }

    fn defect(&self, defect: &Defect) -> Line {
        Line {
            mark: Mark { shape: "✕", word: "defect" },
            tags: vec![self.links.to_item(self.tag(defect.item))],
            what: self.what(defect.item),
            place: self.place(defect.item),
            task: defect.remedy.clone().unwrap_or_else(|| "put the defect right".to_owned()),
            because: defects::says(defect),
            notes: vec![defects::clears(defect)],
            ..Line::default()
        }
    }

    fn lapsed(&self, certificate: &Certificate) -> Line {
        let until = certificate.valid_until.map(|until| words::day(until, self.as_of)).unwrap_or_default();
        Line {
            mark: Mark { shape: "■", word: "lapsed" },
            tags: vec![self.links.to_item(self.tag(certificate.item))],
            what: self.what(certificate.item),
            place: self.place(certificate.item),
            task: "bring its new certificate".to_owned(),
            because: format!("{} was valid until {until}", certificate.number),
            ..Line::default()
        }
    }
}
