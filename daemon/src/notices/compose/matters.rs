//! What is told beside due rows: a station that its gear takes off, a defect with a day, a concession that ends, a
//! log that has gone silent.

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::{Item, ItemId, StationId};
use policies::loans::{Loan, ending};
use policies::owed::Audience;
use policies::readiness::{Concession, Danger, Defect, Reason, StationReadiness};
use policies::span::Span;
use policies::zone::Instant;

use super::Desk;
use crate::fitness::Words;
use crate::gear;
use crate::items::loans::end_words;
use crate::notices::digest::{DigestLine, Effect};
use crate::store::outbox::Told;

/// A defect's day is first told so long before.
const DEFECT_LEAD: i32 = 30;
/// And again so long before.
const DEFECT_REMINDER: i32 = 7;
/// A concession's end is told so long before, and so long after.
const CONCESSION_DAYS: i32 = 7;

/// A loan's end is told so long before.
const LOAN_DAYS: u32 = 7;

/// Something to be told that is no due row.
#[derive(Clone, Debug)]
pub struct Matter {
    /// What would be told.
    pub mark: Told,
    /// The station it is about, by slug; none for gear in central stores.
    pub station: Option<String>,
    /// It stops a launch now.
    pub bites: bool,
    /// Gear has to be replaced, so that stores are told too.
    pub replaces: bool,
    /// As a line of a notice.
    pub line: DigestLine,
}

impl Matter {
    /// Whether somebody is told: mechanics and engineers of its station, stores what has to be replaced.
    pub fn is_for(&self, audience: Audience) -> bool {
        let within = |own: Option<&str>| own.is_none() || own == self.station.as_deref();
        match audience {
            Audience::Mechanic(own) | Audience::Engineer(own) => within(own) && self.station.is_some(),
            Audience::Clerk(own) => within(own) && (self.station.is_none() || self.replaces),
            Audience::Head(_) | Audience::TestHouse(_) => false,
        }
    }
}

impl Desk<'_> {
    /// Every matter as of the day, in the order of stations and gear.
    pub fn matters(&self) -> Vec<Matter> {
        let now = AsOf::Now(self.now);
        let evaluator = Evaluator::without_forecasts(self.set, self.fleet, now);
        let words = Words {
            set: self.set,
            fleet: self.fleet,
            as_of: now,
            evaluator: &evaluator,
            papers: self.papers,
            causes: self.causes,
        };
        let mut found = Vec::new();
        for station in evaluator.readiness(self.papers) {
            let reasons = station.reasons.iter();
            found.extend(reasons.filter_map(|reason| self.off(&words, &station, reason)));
        }
        found.extend(self.papers.defects.iter().filter_map(|defect| self.defect(&words, defect)));
        found.extend(self.papers.concessions.iter().filter_map(|paper| self.concession(&words, paper)));
        let lent = evaluator.loans(self.loans);
        let ending = ending(&lent, self.as_of, Span::days(LOAN_DAYS));
        found.extend(ending.into_iter().flat_map(|loan| self.loan(&words, loan)));
        found
    }

    /// A reason that is no rule's: the rows tell those.
    fn off(&self, words: &Words, found: &StationReadiness, reason: &Reason) -> Option<Matter> {
        let station = &self.fleet.stations[found.station.0 as usize];
        let (subject, since) = match reason {
            Reason::Rule { .. } | Reason::Conceded { .. } | Reason::Defect { .. } => return None,
            Reason::OldLog { last } => {
                (station.slug.to_string(), last.map_or_else(|| "never".to_owned(), Self::text))
            }
            Reason::Lapsed { certificate } => {
                (self.tag(certificate.item), format!("certificate {}", certificate.number))
            }
            other => self.since(words, found.station, other)?,
        };
        let silent = matches!(reason, Reason::OldLog { .. });
        let said = words.reason(found.station, reason);
        let (standing, title) = if silent {
            ("log silent", "A log without entries leaves the station unknown")
        } else {
            ("off", "What takes a station off")
        };
        // A paper lapses beside whatever else is wrong with the same gear: each is told by itself.
        let about = if matches!(reason, Reason::Lapsed { .. }) { "lapsed" } else { standing };
        let mark = Told {
            item: subject.clone(),
            rule: format!("readiness {about}"),
            occurrence: since,
            stage: "now".to_owned(),
        };
        let line = DigestLine {
            item: subject,
            what: String::new(),
            place: station.name.to_string(),
            rule_id: "readiness".to_owned(),
            title: title.to_owned(),
            work: "check".to_owned(),
            standing: standing.to_owned(),
            stops: if silent { Effect::LimitsLaunch } else { Effect::StopsLaunch },
            because: said,
            ..blank()
        };
        let replaces = matches!(reason, Reason::Unfit { .. } | Reason::OutOfUse { .. });
        Some(Matter { mark, station: Some(station.slug.to_string()), bites: !silent, replaces, line })
    }

    /// What a reason is about, and which time it came about: gear that goes, comes back and goes again is told again.
    fn since(&self, words: &Words, station: StationId, reason: &Reason) -> Option<(String, String)> {
        let item = match reason {
            Reason::Empty { host, .. } => *host,
            Reason::Unfit { item, .. }
            | Reason::OutOfUse { item, .. }
            | Reason::Withdrawn { item }
            | Reason::LaidUp { item } => *item,
            Reason::TooFew { kind, .. } => {
                let mut own = self.fleet.ids().filter(|id| {
                    let item = self.fleet.item(*id);
                    item.kind == *kind && item.station == Some(station)
                });
                own.next()?
            }
            _ => return None,
        };
        let newest = self.newest_change(words, item);
        Some((self.tag(item), newest.map_or_else(|| "from the start".to_owned(), Self::text)))
    }

    /// The newest moment at which an item, or what is fitted to it, was moved, worked on or set aside.
    fn newest_change(&self, words: &Words, id: ItemId) -> Option<Instant> {
        let cutoff = words.evaluator.cutoff(self.fleet.item(id));
        let of = |item: &Item| {
            let fits = item.fittings.iter().flat_map(|fit| [fit.from, fit.to]);
            let states = item.states.iter().map(|change| change.at);
            let done = item.works.iter().map(|done| done.at);
            fits.chain(states).chain(done).filter(|at| *at < cutoff).max()
        };
        self.fleet.bearers(id).into_iter().filter_map(|part| of(self.fleet.item(part))).max()
    }

    fn tag(&self, id: ItemId) -> String {
        self.fleet.item(id).tag.to_string()
    }

    fn text(at: Instant) -> String {
        format!("since {}", at.timestamp())
    }

    fn gear_line(&self, words: &Words, id: ItemId) -> DigestLine {
        let cutoff = words.evaluator.cutoff(self.fleet.item(id));
        DigestLine {
            item: self.tag(id),
            what: gear::what(self.set, self.fleet, id, cutoff),
            place: gear::place(self.set, self.fleet, id, cutoff),
            ..blank()
        }
    }

    fn owner(&self, id: ItemId) -> Option<String> {
        self.fleet.station_of(self.fleet.item(id)).map(|station| station.slug.to_string())
    }

    /// A defect with a day of its own, or a danger now.
    fn defect(&self, words: &Words, defect: &Defect) -> Option<Matter> {
        if !defect.is_open(self.as_of) {
            return None;
        }
        let day = match defect.danger {
            Danger::Now => None,
            Danger::By(day) => Some(day),
            Danger::None => return None,
        };
        let (stage, standing) = day.map_or(Some(("now", "danger now")), |day| self.nearing(day))?;
        let remedy = defect.remedy.as_ref().map(|remedy| format!(" Remedy: {remedy}.")).unwrap_or_default();
        let line = DigestLine {
            rule_id: format!("defect {}", defect.key),
            title: format!("{} (report {})", defect.what, defect.report),
            work: "repair".to_owned(),
            standing: standing.to_owned(),
            stops: Effect::StopsLaunch,
            due_on: day,
            last_day: day,
            because: format!("an examination found it on {}.{remedy}", defect.found_on),
            by: "competent person".to_owned(),
            ..self.gear_line(words, defect.item)
        };
        let mark = Told {
            item: self.tag(defect.item),
            rule: line.rule_id.clone(),
            occurrence: format!("found {}", defect.found_on),
            stage: stage.to_owned(),
        };
        let bites = defect.stops_launch(self.as_of);
        Some(Matter { mark, station: self.owner(defect.item), bites, replaces: false, line })
    }

    /// How near a day is, as a stage and in words; none while it is far.
    fn nearing(&self, day: Date) -> Option<(&'static str, &'static str)> {
        match (day - self.as_of).get_days() {
            ..0 => Some(("overdue 0", "overdue")),
            0 => Some(("due", "due")),
            1..=DEFECT_REMINDER => Some(("reminder 1", "falling due")),
            left if left <= DEFECT_LEAD => Some(("lead", "falling due")),
            _ => None,
        }
    }

    /// A concession that ends soon, or has just ended.
    fn concession(&self, words: &Words, paper: &Concession) -> Option<Matter> {
        let left = (paper.until - self.as_of).get_days();
        if paper.from > self.as_of || !(-CONCESSION_DAYS..=CONCESSION_DAYS).contains(&left) {
            return None;
        }
        let (stage, standing) =
            if left < 0 { ("ended", "concession ended") } else { ("lead", "concession ends") };
        let rule = self.set.rule(paper.rule);
        let line = DigestLine {
            rule_id: format!("concession {}", paper.number),
            title: format!("Concession on {}", rule.title),
            work: rule.work.to_string(),
            standing: standing.to_owned(),
            stops: Effect::LimitsLaunch,
            due_on: Some(paper.until),
            because: format!("its conditions: {}", paper.conditions),
            ..self.gear_line(words, paper.item)
        };
        let mark = Told {
            item: self.tag(paper.item),
            rule: line.rule_id.clone(),
            occurrence: format!("until {}", paper.until),
            stage: stage.to_owned(),
        };
        Some(Matter { mark, station: self.owner(paper.item), bites: false, replaces: false, line })
    }
}

impl Desk<'_> {
    /// A loan that ends soon or is over, for the lender and for who has it.
    fn loan(&self, words: &Words, loan: &Loan) -> Vec<Matter> {
        let Some(until) = loan.until() else { return Vec::new() };
        let over = loan.is_over(self.as_of);
        let user = self.fleet.stations[loan.user.0 as usize].slug.to_string();
        let lender = loan.lender.map(|at| self.fleet.stations[at.0 as usize].slug.to_string());
        let line = DigestLine {
            rule_id: "loan".to_owned(),
            title: format!("Loan to {}", user.to_uppercase()),
            work: "check".to_owned(),
            standing: if over { "loan over" } else { "loan ends" }.to_owned(),
            due_on: Some(until),
            because: end_words(self.fleet, loan, self.as_of),
            ..self.gear_line(words, loan.item)
        };
        let to = |station: Option<String>| Matter {
            mark: Told {
                item: self.tag(loan.item),
                rule: "loan".to_owned(),
                occurrence: format!("until {until}"),
                stage: if over { "over" } else { "ends" }.to_owned(),
            },
            station,
            bites: false,
            replaces: false,
            line: line.clone(),
        };
        vec![to(Some(user)), to(lender)]
    }
}

/// A line that nothing is said in yet.
fn blank() -> DigestLine {
    DigestLine {
        item: String::new(),
        what: String::new(),
        place: String::new(),
        rule_id: String::new(),
        title: String::new(),
        work: String::new(),
        standing: String::new(),
        stops: Effect::Advisory,
        due_on: None,
        last_day: None,
        because: String::new(),
        usage: None,
        by: "station mechanic".to_owned(),
        authority: "house".to_owned(),
        source: None,
        window: None,
        records: Vec::new(),
        conceded: None,
        marks: Vec::new(),
        told_before: Vec::new(),
        corrected: None,
    }
}
