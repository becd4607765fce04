//! From judged rows to finished mail: whose they are, what is said of them, and the bytes that go out.

mod line;
pub mod matters;

use std::collections::{HashMap, HashSet};

use jiff::civil::Date;
use policies::due::{Because, DueRow, Evaluator};
use policies::facts::{Done, Fleet, Item};
use policies::load::PolicySet;
use policies::loans::Agreed;
use policies::owed::{Audience, asked, is_told, stage};
use policies::readiness::Papers;
use policies::rule::{Effect as RuleEffect, Rule};
use policies::zone::{Instant, Zone};

use super::digest::{self, Digest, DigestLine};
use super::ical;
use super::message::{Letter, MessageError, message, message_id, sender};
use super::templates::{TemplateError, Templates};
use crate::accounts::links;
use crate::fitness::Causes;
use crate::gear;
use crate::records::Person;
use crate::store::outbox::{Fresh, FreshLine, Told};
use crate::store::telling::{Heard, Passed, Said as SaidBefore, Work};
use matters::Matter;

/// Ids that a thread carries; a mail reader needs no more.
pub const MOST_REFERENCES: usize = 20;

/// What all notices of one sweep share.
pub struct Desk<'f> {
    /// Rules and words.
    pub set: &'f PolicySet,
    /// The fleet as it stands.
    pub fleet: &'f Fleet,
    /// Concessions, certificates and defects.
    pub papers: &'f Papers,
    /// What gear out of use asks to be looked into.
    pub causes: &'f Causes,
    /// Loans that were agreed.
    pub loans: &'f [Agreed],
    /// The day it is judged at the end of.
    pub as_of: Date,
    /// The present moment.
    pub now: Instant,
    /// Sender, as the settings give it.
    pub from: &'f str,
    /// Where answers go, where that is not the sender.
    pub reply_to: Option<&'f str>,
    /// Where the pages are reached.
    pub pages_url: Option<&'f str>,
    /// What links to single notices follow from.
    pub links: Links<'f>,
    /// From when until when the service was down, where that is news.
    pub down: Option<(Instant, Instant)>,
}

/// Links to single notices.
#[derive(Clone, Copy, Debug)]
pub enum Links<'f> {
    /// Notices have none.
    None,
    /// They open, and follow from this secret.
    Live(&'f str),
    /// They only show where one would stand.
    Sample,
}

/// In place of a link's token where a notice is only shown: it is no token's length, and opens nothing.
const SAMPLE: &str = "sample-that-opens-nothing";

/// Why a notice cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// A name or address that cannot stand in a mail: permanent, a person must mend it.
    #[error(transparent)]
    Message(#[from] MessageError),
    /// A template of the house that cannot be filled in.
    #[error(transparent)]
    Template(#[from] TemplateError),
}

/// Something a person is to be told, a due row or another matter.
#[derive(Clone, Debug)]
pub struct Owed {
    /// What would be told.
    pub mark: Told,
    /// The date it names.
    pub due_on: Option<Date>,
    /// It stops a launch now.
    pub bites: bool,
    /// The due row, or which of the matters.
    pub subject: Subject,
    /// What was told of it before, and is no longer so.
    pub corrected: Option<SaidBefore>,
}

/// What a line is about.
#[derive(Clone, Copy, Debug)]
pub enum Subject {
    /// A due row.
    Row(DueRow),
    /// A matter, by its place in the list.
    Matter(usize),
}

/// Where a notice goes and on what grounds.
#[derive(Clone, Debug)]
pub struct Addressed<'p> {
    /// Whom it is for.
    pub person: &'p Person,
    /// The address it goes to.
    pub to: String,
    /// Name of who reads there.
    pub to_name: String,
    /// Why it goes there, where that is not the person's own address.
    pub why: Option<String>,
}

/// Where a notice stands among others.
#[derive(Clone, Debug, Default)]
pub struct Place {
    /// Its number.
    pub number: String,
    /// What it is sent for.
    pub occasion: String,
    /// The number of the notice it replaces.
    pub supersedes: Option<String>,
    /// Message-IDs of those before it, oldest first.
    pub references: Vec<String>,
}

/// What was asked, and of whom, before a notice climbs.
pub type Chain = HashMap<Work, Vec<Passed>>;

/// What a role makes a person read; none for roles that are told nothing.
pub fn audience(person: &Person) -> Option<Audience<'_>> {
    let scope = person.station.as_deref();
    match person.role.as_str() {
        "mechanic" => Some(Audience::Mechanic(scope)),
        "engineer" => Some(Audience::Engineer(scope)),
        "head" => Some(Audience::Head(scope)),
        "clerk" => Some(Audience::Clerk(scope)),
        "test house" => Some(Audience::TestHouse(scope)),
        _ => None,
    }
}

/// What sort of notice a role is sent.
fn kind(person: &Person) -> &'static str {
    if matches!(person.role.as_str(), "engineer" | "head") { "escalation" } else { "due work" }
}

impl Desk<'_> {
    /// Every row and matter a person is to be told, new or not.
    ///
    /// `unanswered`: work told to a mechanic that nobody answered in the time the service allows.
    pub fn owed(
        &self,
        audience: Audience,
        rows: &[DueRow],
        matters: &[Matter],
        heard: &Heard,
        unanswered: &HashSet<(Work, String)>,
    ) -> Vec<Owed> {
        let evaluator = Evaluator::without_forecasts(self.set, self.fleet, self.as_of);
        let mut found = Vec::new();
        for row in rows {
            let rule = self.set.rule(row.rule);
            let station = self.fleet.station_of(self.fleet.item(row.item)).map(|station| &*station.slug);
            let mut mark = self.mark(&evaluator, row, rule);
            if let (Audience::TestHouse(_), Some(reached)) = (audience, asked(rule, row, self.as_of)) {
                mark.stage = reached.to_string();
            }
            let corrected = moved(heard, &mark, row);
            if !is_told(audience, station, rule, row, self.as_of) {
                let silent = climbs(audience, station, rule) && {
                    let work = (mark.item.clone(), mark.rule.clone());
                    unanswered.contains(&(work, mark.occurrence.clone()))
                };
                if silent {
                    "no answer".clone_into(&mut mark.stage);
                } else if corrected.is_none() {
                    continue;
                }
            }
            if let Some(due) = row.due_on.filter(|_| corrected.is_some()) {
                mark.stage = format!("corrected to {due}");
            }
            let bites = rule.overdue == RuleEffect::StopsLaunch && Evaluator::bites(row);
            found.push(Owed { mark, due_on: row.due_on, bites, subject: Subject::Row(*row), corrected });
        }
        let told = matters.iter().enumerate().filter(|(_, matter)| matter.is_for(audience));
        found.extend(told.map(|(index, matter)| Owed {
            mark: matter.mark.clone(),
            due_on: matter.line.due_on,
            bites: matter.bites,
            subject: Subject::Matter(index),
            corrected: None,
        }));
        found
    }

    fn mark(&self, evaluator: &Evaluator, row: &DueRow, rule: &Rule) -> Told {
        let item = self.fleet.item(row.item);
        let reached = stage(rule, row, self.as_of);
        Told {
            item: item.tag.to_string(),
            rule: rule.id.clone(),
            occurrence: occurrence_of(evaluator, item, row),
            stage: reached.map_or_else(|| "escalated".to_owned(), |stage| stage.to_string()),
        }
    }

    /// The zone a person lives by.
    pub fn zone_of(&self, person: &Person) -> &Zone {
        zone_of(self.set, self.fleet, person)
    }

    fn moment(zone: &Zone, at: Instant) -> String {
        let local = at.timestamp().to_zoned_datetime(zone.time_zone().clone());
        local.strftime("%-d %b %Y %H:%M (%Z)").to_string()
    }

    /// The notice of what one person is owed.
    ///
    /// # Errors
    /// A name or address that cannot stand in a mail: permanent, a person must mend it.
    pub fn digest(
        &self,
        to: &Addressed,
        owed: &[Owed],
        matters: &[Matter],
        (heard, chain): (&Heard, &Chain),
        templates: &Templates,
        place: Place,
    ) -> Result<Fresh, WriteError> {
        let zone = self.zone_of(to.person);
        let station = to.person.station.as_deref();
        let here = self.fleet.stations.iter().find(|have| Some(&*have.slug) == station);
        let evaluator = Evaluator::during(self.set, self.fleet, self.as_of);
        let lines = owed.iter().map(|owed| self.line_of(&evaluator, owed, matters, chain, zone));
        let digest = Digest {
            number: place.number.clone(),
            to_name: to.to_name.clone(),
            to_address: to.to.clone(),
            from_address: self.sender().1.to_owned(),
            place: here.map_or("Region", |station| &*station.name).to_owned(),
            as_known: Self::moment(zone, self.now),
            last_log: gear::last_log(self.fleet, station).map(|at| Self::moment(zone, at)),
            lines: line::grouped(lines.collect()),
            pages_url: self.pages_url.map(str::to_owned),
            link: self.link(&place.number),
            supersedes: place.supersedes.clone(),
            why_you: to.why.clone(),
            down: self.down.map(|(from, to)| (Self::moment(zone, from), Self::moment(zone, to))),
            watched: self.watched(station),
        };
        let (off, gone): (Vec<ical::Event>, Vec<Told>) = self.gone(heard).into_iter().unzip();
        let events: Vec<ical::Event> =
            owed.iter().filter_map(|owed| self.event(owed, heard)).chain(off).collect();
        let calendar = ical::calendar(&events, self.now.timestamp(), self.sender().1);
        let kind = if owed.is_empty() { "all is well" } else { kind(to.person) };
        let words = templates.render(kind, &digest::page(&digest))?;
        let said = Said {
            kind,
            subject: words.subject,
            text: words.text,
            html: words.html,
            calendar: (!events.is_empty()).then_some(calendar),
            urgent: owed.iter().any(|owed| owed.bites),
            lines: numbered(&digest).into_iter().chain(gone.into_iter().map(off_calendar)).collect(),
        };
        Ok(self.fresh(said, to, place)?)
    }

    /// How many pieces of gear somebody who answers for a station, or the region, is told of.
    fn watched(&self, station: Option<&str>) -> usize {
        let evaluator = Evaluator::without_forecasts(self.set, self.fleet, self.as_of);
        let items = self.fleet.items.iter().filter(|item| !evaluator.is_withdrawn(item));
        let owner = |item| self.fleet.station_of(item).map(|station| &*station.slug);
        items.filter(|item| station.is_none() || owner(item) == station).count()
    }

    /// Finished mail of what is said to a person.
    pub(crate) fn fresh(&self, said: Said, to: &Addressed, place: Place) -> Result<Fresh, MessageError> {
        let domain = self.domain();
        let id = message_id(&format!("{} {} {}", place.number, place.occasion, to.person.key), domain);
        let (from_name, from_address) = self.sender();
        let bytes = message(&Letter {
            from_name,
            from_address,
            reply_to: self.reply_to.unwrap_or(from_address),
            to_name: &to.to_name,
            to_address: &to.to,
            subject: &said.subject,
            text: &said.text,
            html: &said.html,
            message_id: &id,
            date: self.now.timestamp(),
            references: &place.references,
            list_id: &format!("notices.{domain}"),
            calendar: said.calendar.as_deref(),
        })?;
        Ok(Fresh {
            number: place.number,
            kind: said.kind.to_owned(),
            occasion: place.occasion,
            person: to.person.key.clone(),
            recipient: to.to.clone(),
            urgent: said.urgent,
            not_before: None,
            subject: said.subject,
            token: id.get(1..17).unwrap_or_default().to_owned(),
            message_id: id,
            supersedes: place.supersedes,
            text: said.text,
            bytes,
            lines: said.lines,
        })
    }

    /// Where a notice's matters can be read without a sign-in.
    fn link(&self, number: &str) -> Option<String> {
        let pages = self.pages_url?.trim_end_matches('/');
        let token = match self.links {
            Links::None => return None,
            Links::Sample => Ok(SAMPLE.to_owned()),
            Links::Live(secret) => links::token_of(secret, number),
        };
        let token =
            token.inspect_err(|error| tracing::error!(%error, "a notice goes without its link")).ok()?;
        Some(format!("{pages}/n/{token}"))
    }

    fn domain(&self) -> &str {
        self.sender().1.rsplit('@').next().unwrap_or("localhost")
    }

    fn sender(&self) -> (&str, &str) {
        sender(self.from)
    }
}

/// Whether an engineer is told of what a mechanic left without an answer.
fn climbs(audience: Audience, station: Option<&str>, rule: &Rule) -> bool {
    let Audience::Engineer(own) = audience else { return false };
    rule.overdue == RuleEffect::StopsLaunch && station.is_some() && (own.is_none() || own == station)
}

/// What the newest notice said of a row, where a correction has given it another date since. A likely date drifts
/// with every launch, which is no correction.
fn moved(heard: &Heard, mark: &Told, row: &DueRow) -> Option<SaidBefore> {
    let said = heard.newest.get(&(mark.item.clone(), mark.rule.clone()))?;
    let dated = matches!(row.because, Some(Because::Calendar | Because::After));
    let due = row.due_on.map(|due| due.to_string());
    let other = said.occurrence == mark.occurrence && said.due_on.is_some() && said.due_on != due;
    (dated && other).then(|| said.clone())
}

/// The lines by the numbers they bear in the notice. What stands in one line twice, such as two empty positions of one
/// host, is one thing told.
fn numbered(digest: &Digest) -> Vec<FreshLine> {
    let sorted = digest::sorted(digest);
    let mut seen = HashSet::new();
    let lines = (1i64..).zip(sorted).flat_map(|(number, line)| {
        let due_on = line.due_on.map(|due| due.to_string());
        line.marks.iter().map(move |told| FreshLine { number, told: told.clone(), due_on: due_on.clone() })
    });
    let once =
        lines.filter(|line| seen.insert((line.number, line.told.item.clone(), line.told.rule.clone())));
    once.collect()
}

/// What went off the calendar is kept with the notice under no number: nobody is asked for it.
fn off_calendar(told: Told) -> FreshLine {
    FreshLine { number: 0, told, due_on: None }
}

/// Which time a row's work falls due.
pub(crate) fn occurrence_of(evaluator: &Evaluator, item: &Item, row: &DueRow) -> String {
    occurrence(row, evaluator.counting(item, row.rule).next_back())
}

/// Which time the work falls due: since it was last done, for want of a date, after which event.
fn occurrence(row: &DueRow, last: Option<&Done>) -> String {
    let since = last.map_or_else(|| "never done".to_owned(), |done| format!("since {}", done.at.timestamp()));
    let base = if row.because == Some(Because::NoBase) { ", no base" } else { "" };
    let event = row.after_due.map(|due| format!(", event {due}")).unwrap_or_default();
    format!("{since}{base}{event}")
}

/// The zone a person lives by: their station's, or home.
pub fn zone_of<'z>(set: &'z PolicySet, fleet: &'z Fleet, person: &Person) -> &'z Zone {
    let station = fleet.stations.iter().find(|station| Some(&*station.slug) == person.station.as_deref());
    station.map_or(&set.service.home_zone, |station| &fleet.zones[usize::from(station.zone.0)])
}

/// What a notice says, before it becomes a message.
pub(crate) struct Said {
    /// What sort of notice it is, in words.
    pub(crate) kind: &'static str,
    pub(crate) subject: String,
    pub(crate) text: String,
    pub(crate) html: String,
    pub(crate) calendar: Option<String>,
    pub(crate) urgent: bool,
    pub(crate) lines: Vec<FreshLine>,
}

/// A line that can be set in a notice.
pub type Line = DigestLine;
