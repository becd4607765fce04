//! From judged rows to finished mail: whose rows they are, what is said of them, and the bytes that go out.

use std::collections::HashSet;

use jiff::civil::Date;
use policies::due::{Because, DueRow, Evaluator};
use policies::explain::Derivation;
use policies::facts::{Done, Fleet, ItemId};
use policies::load::PolicySet;
use policies::owed::{Audience, is_told, last_day, stage};
use policies::rule::{Effect as RuleEffect, Rule, RuleId};
use policies::zone::{Instant, Zone};

use super::digest::{self, Digest, DigestLine, Effect, UsageLine};
use super::ical::{self, Event};
use super::message::{Letter, MessageError, message, message_id, sender};
use crate::gear;
use crate::kept_dates;
use crate::records::Person;
use crate::store::outbox::{Fresh, Told};

/// What all notices of one sweep share.
pub struct Desk<'f> {
    /// Rules and words.
    pub set: &'f PolicySet,
    /// The fleet as it stands.
    pub fleet: &'f Fleet,
    /// The day it is judged at the end of.
    pub as_of: Date,
    /// The present moment.
    pub now: Instant,
    /// Sender, as the settings give it.
    pub from: &'f str,
    /// Where the pages are reached.
    pub pages_url: Option<&'f str>,
}

/// The rows one person is to be told of, with what was told already.
pub struct Owed {
    /// Every row that is told to the person, new or not.
    pub rows: Vec<(DueRow, Told)>,
    /// Whether any of them has come to a stage not told yet.
    pub any_new: bool,
}

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

impl Desk<'_> {
    /// What a person is owed, given what they were told before.
    pub fn owed(&self, audience: Audience, rows: &[DueRow], told: &HashSet<Told>) -> Owed {
        let evaluator = Evaluator::without_forecasts(self.set, self.fleet, self.as_of);
        let mut found = Owed { rows: Vec::new(), any_new: false };
        for row in rows {
            let rule = self.set.rule(row.rule);
            let station = self.fleet.station_of(self.fleet.item(row.item)).map(|station| &*station.slug);
            if !is_told(audience, station, rule, row, self.as_of) {
                continue;
            }
            let mark = self.mark(&evaluator, row, rule);
            found.any_new |= !told.contains(&mark);
            found.rows.push((*row, mark));
        }
        found
    }

    fn mark(&self, evaluator: &Evaluator, row: &DueRow, rule: &Rule) -> Told {
        let item = self.fleet.item(row.item);
        let last = evaluator.counting(item, row.rule).next_back();
        let reached = stage(rule, row, self.as_of);
        Told {
            item: item.tag.to_string(),
            rule: rule.id.clone(),
            occurrence: occurrence(row, last),
            stage: reached.map_or_else(|| "escalated".to_owned(), |stage| stage.to_string()),
        }
    }

    /// The zone a person lives by.
    pub fn zone_of(&self, person: &Person) -> &Zone {
        let station =
            self.fleet.stations.iter().find(|station| Some(&*station.slug) == person.station.as_deref());
        station.map_or(&self.set.service.home_zone, |station| &self.fleet.zones[usize::from(station.zone.0)])
    }

    fn moment(zone: &Zone, at: Instant) -> String {
        let local = at.timestamp().to_zoned_datetime(zone.time_zone().clone());
        local.strftime("%-d %b %Y %H:%M (%Z)").to_string()
    }

    /// The daily digest of one person.
    ///
    /// # Errors
    /// A name or address that cannot stand in a mail: permanent, a person must mend it.
    pub fn digest(
        &self,
        number: String,
        person: &Person,
        owed: &Owed,
        occasion: String,
    ) -> Result<Fresh, MessageError> {
        let zone = self.zone_of(person);
        let station = person.station.as_deref();
        let here = self.fleet.stations.iter().find(|have| Some(&*have.slug) == station);
        let evaluator = Evaluator::during(self.set, self.fleet, self.as_of);
        let digest = Digest {
            number,
            to_name: person.name.clone(),
            to_address: person.key.clone(),
            from_address: self.sender().1.to_owned(),
            place: here.map_or("Region", |station| &*station.name).to_owned(),
            as_known: Self::moment(zone, self.now),
            last_log: gear::last_log(self.fleet, station).map(|at| Self::moment(zone, at)),
            lines: grouped(owed.rows.iter().map(|(row, _)| self.line(&evaluator, row)).collect()),
            pages_url: self.pages_url.map(str::to_owned),
            supersedes: None,
        };
        let events = self.events(owed);
        let calendar = ical::calendar(&events, self.now.timestamp(), self.sender().1);
        let said = Said {
            number: digest.number.clone(),
            kind: "due work",
            subject: digest::subject(&digest),
            text: digest::text(&digest),
            html: digest::html(&digest),
            calendar: (!events.is_empty()).then_some(calendar),
        };
        self.fresh(said, person, occasion, owed)
    }

    /// Finished mail of what is said to a person.
    pub(super) fn fresh(
        &self,
        said: Said,
        person: &Person,
        occasion: String,
        owed: &Owed,
    ) -> Result<Fresh, MessageError> {
        let domain = self.domain();
        let id = message_id(&format!("{occasion} {}", person.key), domain);
        let token = id[1..17].to_owned();
        let (from_name, from_address) = self.sender();
        let bytes = message(&Letter {
            from_name,
            from_address,
            reply_to: from_address,
            to_name: &person.name,
            to_address: &person.key,
            subject: &said.subject,
            text: &said.text,
            html: &said.html,
            message_id: &id,
            date: self.now.timestamp(),
            references: &[],
            list_id: &format!("notices.{domain}"),
            calendar: said.calendar.as_deref(),
        })?;
        let due = |row: &DueRow| row.due_on.map(|date| date.to_string());
        Ok(Fresh {
            number: said.number,
            kind: said.kind.to_owned(),
            occasion,
            person: person.key.clone(),
            recipient: person.key.clone(),
            urgent: owed.rows.iter().any(|(row, _)| self.stops(row)),
            not_before: None,
            subject: said.subject,
            message_id: id,
            token,
            supersedes: None,
            text: said.text,
            bytes,
            lines: owed.rows.iter().map(|(row, told)| (told.clone(), due(row))).collect(),
        })
    }

    fn stops(&self, row: &DueRow) -> bool {
        self.set.rule(row.rule).overdue == RuleEffect::StopsLaunch && Evaluator::bites(row)
    }

    fn domain(&self) -> &str {
        self.sender().1.rsplit('@').next().unwrap_or("localhost")
    }

    fn sender(&self) -> (&str, &str) {
        sender(self.from)
    }

    fn events(&self, owed: &Owed) -> Vec<Event> {
        let dated = owed.rows.iter().filter_map(|(row, _)| row.due_on.map(|due| (row, due)));
        dated.map(|(row, due_on)| self.event(row, due_on)).collect()
    }

    fn event(&self, row: &DueRow, due_on: Date) -> Event {
        let item = self.fleet.item(row.item);
        let rule = self.set.rule(row.rule);
        let cutoff = Evaluator::without_forecasts(self.set, self.fleet, self.as_of).cutoff(item);
        Event {
            item: item.tag.to_string(),
            rule: rule.id.clone(),
            domain: self.domain().to_owned(),
            due_on,
            summary: format!("{} · {}", item.tag, rule.title),
            description: format!("{}, {}; overdue: {}", rule.work, row.standing, rule.overdue),
            location: gear::place(self.set, self.fleet, row.item, cutoff),
            sequence: sequence(self.as_of),
            status: ical::Status::Confirmed,
            url: self.pages_url.map(|url| format!("{url}/item/{}", item.tag)),
        }
    }

    fn line(&self, evaluator: &Evaluator, row: &DueRow) -> DigestLine {
        let item = self.fleet.item(row.item);
        let rule = self.set.rule(row.rule);
        let cutoff = evaluator.cutoff(item);
        DigestLine {
            item: item.tag.to_string(),
            what: gear::what(self.set, self.fleet, row.item, cutoff),
            place: gear::place(self.set, self.fleet, row.item, cutoff),
            rule_id: rule.id.clone(),
            title: rule.title.clone(),
            work: rule.work.to_string(),
            standing: row.standing.to_string(),
            stops: effect(rule.overdue),
            due_on: row.due_on,
            last_day: last_day(rule, row),
            because: self.because(evaluator, row),
            usage: self.usage(evaluator, row.item, row.rule),
            by: rule.by.clone().unwrap_or_else(|| "station mechanic".to_owned()),
            authority: rule.authority.to_string(),
            source: rule.source.clone(),
            window: window(rule, row),
            records: rule.records.iter().map(record_text).collect(),
        }
    }

    /// The clause that gives the date, or that a later one waits for an engineer.
    fn because(&self, evaluator: &Evaluator, row: &DueRow) -> String {
        match evaluator.kept(row.item, row.rule) {
            Some(_) => kept_dates::waits(self.set, &evaluator.row(row.item, row.rule)),
            None => row.because.map(|because| because.to_string()).unwrap_or_default(),
        }
    }

    fn usage(&self, evaluator: &Evaluator, item: ItemId, rule: RuleId) -> Option<UsageLine> {
        let derivation = evaluator.derive(item, rule);
        let shown = derivation.row.meter?;
        let working = derivation.usage.iter().find(|working| working.clause.meter == shown)?;
        let [p10, p50, p90] = derivation.row.forecast;
        Some(UsageLine {
            meter: self.set.kinds.meter_name(shown).to_owned(),
            used: working.used.to_string(),
            limit: working.clause.every.to_string(),
            left: (working.clause.every - working.used).to_string(),
            by_place: self.by_place(&derivation, shown),
            p10,
            p50,
            p90,
        })
    }

    /// Where the use was gathered, place by place; use before the records among it.
    fn by_place(&self, derivation: &Derivation, meter: policies::kinds::MeterId) -> Vec<(String, String)> {
        let Some(working) = derivation.usage.iter().find(|working| working.clause.meter == meter) else {
            return Vec::new();
        };
        let mut places: Vec<(String, policies::amount::Amount)> = Vec::new();
        if working.opening.is_positive() {
            places.push(("before the records".to_owned(), working.opening));
        }
        for borne in &working.borne {
            let station = self.fleet.station_of(self.fleet.item(borne.host));
            let name = station.map_or_else(|| "stores".to_owned(), |station| station.slug.to_uppercase());
            let amount = borne.dated + borne.undated;
            match places.last_mut() {
                Some((last, sum)) if *last == name => *sum += amount,
                _ => places.push((name, amount)),
            }
        }
        places.into_iter().map(|(name, amount)| (name, amount.to_string())).collect()
    }
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

/// Like pieces in one place, due the same day by the same rule, are one line: four stoppers are one job.
fn grouped(lines: Vec<DigestLine>) -> Vec<DigestLine> {
    let mut found: Vec<DigestLine> = Vec::new();
    for line in lines {
        let alike = |have: &&mut DigestLine| {
            have.usage.is_none()
                && line.usage.is_none()
                && have.rule_id == line.rule_id
                && have.place == line.place
                && have.due_on == line.due_on
                && have.standing == line.standing
                && have.because == line.because
        };
        match found.iter_mut().find(alike) {
            None => found.push(line),
            Some(group) => {
                group.item = format!("{}, {}", group.item, line.item);
                if group.what != line.what && !group.what.split(" and ").any(|what| what == line.what) {
                    group.what = format!("{} and {}", group.what, line.what);
                }
            }
        }
    }
    found
}

/// What a notice says, before it becomes a message.
pub(super) struct Said {
    pub(super) number: String,
    /// What sort of notice it is, in words.
    pub(super) kind: &'static str,
    pub(super) subject: String,
    pub(super) text: String,
    pub(super) html: String,
    pub(super) calendar: Option<String>,
}

/// A calendar entry's version: later days replace earlier ones.
fn sequence(as_of: Date) -> u32 {
    let epoch = jiff::civil::date(2020, 1, 1);
    u32::try_from((as_of - epoch).get_days()).unwrap_or(0)
}

/// When the work meets its date; only a date of the calendar has a window.
fn window(rule: &Rule, row: &DueRow) -> Option<(Date, Date)> {
    let due = row.calendar_due.filter(|_| row.because == Some(Because::Calendar))?;
    Some((rule.window.early.before(due), rule.window.late.after(due, 1)))
}

fn effect(effect: RuleEffect) -> Effect {
    match effect {
        RuleEffect::StopsLaunch => Effect::StopsLaunch,
        RuleEffect::LimitsLaunch => Effect::LimitsLaunch,
        RuleEffect::Advisory => Effect::Advisory,
    }
}

/// `diameter in mm, at most 16`.
fn record_text(reading: &policies::rule::Reading) -> String {
    let unit = reading.unit.as_ref().map(|unit| format!(" in {unit}")).unwrap_or_default();
    let min = reading.min.map(|min| format!(", at least {min}")).unwrap_or_default();
    let max = reading.max.map(|max| format!(", at most {max}")).unwrap_or_default();
    format!("{}{unit}{min}{max}", reading.name)
}
