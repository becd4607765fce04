//! One due row as a line of a notice.

use jiff::civil::Date;
use policies::due::{Because, DueRow, Evaluator};
use policies::explain::Derivation;
use policies::facts::ItemId;
use policies::owed::last_day;
use policies::rule::{Effect as RuleEffect, Rule, RuleId};
use policies::zone::Zone;

use super::matters::Matter;
use super::{Chain, Desk, Owed, Subject};
use crate::gear;
use crate::kept_dates;
use crate::notices::digest::{DigestLine, Effect, UsageLine};
use crate::notices::ical::{Event, Status};
use crate::store::outbox::Told;
use crate::store::telling::{Heard, Passed, Said};

/// So many earlier notices are named with a line.
const MOST_EARLIER: usize = 6;

impl Desk<'_> {
    pub(super) fn line_of(
        &self,
        evaluator: &Evaluator,
        owed: &Owed,
        matters: &[Matter],
        chain: &Chain,
        zone: &Zone,
    ) -> DigestLine {
        let mut line = match owed.subject {
            Subject::Row(row) => self.line(evaluator, &row),
            Subject::Matter(index) => matters[index].line.clone(),
        };
        line.marks = vec![owed.mark.clone()];
        line.corrected = owed.corrected.as_ref().map(corrected);
        let work = (owed.mark.item.clone(), owed.mark.rule.clone());
        let earlier = chain.get(&work).map_or(&[][..], Vec::as_slice);
        let from = earlier.len().saturating_sub(MOST_EARLIER);
        line.told_before = earlier[from..].iter().map(|passed| Self::told(passed, zone)).collect();
        line
    }

    /// `N-2026-1131 to mechanic.net@mcbs.example, 27 Sep 2026: sent, answered done on 28 Sep 2026`
    fn told(passed: &Passed, zone: &Zone) -> String {
        let day = |at| Self::moment(zone, at);
        let answer = match &passed.answer {
            Some((answer, at)) => format!("answered {} {}", answer.to_uppercase(), day(*at)),
            None => "no answer".to_owned(),
        };
        let state = passed.state.replace('_', " ");
        format!("{} to {}, {}: {state}, {answer}", passed.number, passed.person, day(passed.composed_at))
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
            conceded: self.conceded(row),
            marks: Vec::new(),
            told_before: Vec::new(),
            corrected: None,
        }
    }

    /// The concession a row stands under, in words.
    fn conceded(&self, row: &DueRow) -> Option<String> {
        let mut live = self.papers.concessions.iter().filter(|paper| {
            paper.item == row.item
                && paper.rule == row.rule
                && paper.from <= self.as_of
                && self.as_of <= paper.until
        });
        live.next().map(|paper| {
            format!("Concession {} until the end of {}: {}", paper.number, paper.until, paper.conditions)
        })
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

    /// A dated row as an entry of the reader's calendar.
    pub(super) fn event(&self, owed: &Owed, heard: &Heard) -> Option<Event> {
        let (Subject::Row(row), Some(due_on)) = (owed.subject, owed.due_on) else { return None };
        let said = heard.newest.get(&(owed.mark.item.clone(), owed.mark.rule.clone()));
        let said = said.filter(|said| said.occurrence == owed.mark.occurrence);
        let moved = |said: &Said| said.due_on.as_deref() != Some(due_on.to_string().as_str());
        let rule = self.set.rule(row.rule);
        Some(Event {
            due_on,
            description: format!("{}, {}; overdue: {}", rule.work, row.standing, rule.overdue),
            sequence: said.map_or(0, |said| said.changes + u32::from(moved(said))),
            ..self.entry(row.item, rule, owed.mark.occurrence.clone())
        })
    }

    fn entry(&self, id: ItemId, rule: &Rule, occurrence: String) -> Event {
        let item = self.fleet.item(id);
        let cutoff = Evaluator::without_forecasts(self.set, self.fleet, self.as_of).cutoff(item);
        Event {
            item: item.tag.to_string(),
            rule: rule.id.clone(),
            occurrence,
            domain: self.domain().to_owned(),
            due_on: self.as_of,
            summary: format!("{} · {}", item.tag, rule.title),
            description: String::new(),
            location: gear::place(self.set, self.fleet, id, cutoff),
            sequence: 0,
            status: Status::Confirmed,
            url: self.pages_url.map(|url| format!("{url}/item/{}", item.tag)),
        }
    }

    /// Entries of the reader's calendar that are to go: the work was done, the gear withdrawn, or it falls due for
    /// another reason now.
    pub(super) fn gone(&self, heard: &Heard) -> Vec<(Event, Told)> {
        let evaluator = Evaluator::without_forecasts(self.set, self.fleet, self.as_of);
        let gone = heard.newest.iter().filter_map(|((tag, rule), said)| {
            let due_on: Date = said.due_on.as_ref()?.parse().ok()?;
            let (item, rule) = (self.fleet.find(tag)?, self.set.find_rule(rule)?);
            let mut rows = Vec::new();
            evaluator.rows_of(item, &mut rows);
            let row = rows.iter().find(|row| row.rule == rule);
            let stands = row.map(|row| self.mark(&evaluator, row, self.set.rule(rule)));
            if stands.is_some_and(|mark| mark.occurrence == said.occurrence) {
                return None;
            }
            let event = Event {
                due_on,
                sequence: said.changes + 1,
                status: Status::Cancelled,
                ..self.entry(item, self.set.rule(rule), said.occurrence.clone())
            };
            let told = Told {
                item: tag.clone(),
                rule: self.set.rule(rule).id.clone(),
                occurrence: said.occurrence.clone(),
                stage: "off the calendar".to_owned(),
            };
            Some((event, told))
        });
        let mut gone: Vec<(Event, Told)> = gone.collect();
        gone.sort_by(|a, b| a.1.cmp(&b.1));
        gone
    }
}

fn corrected(said: &Said) -> String {
    let due = said.due_on.as_deref().unwrap_or("no date");
    format!("Corrected since {}, which said {due}.", said.number)
}

/// Like pieces in one place, due the same day by the same rule, are one line: four stoppers are one job.
pub(super) fn grouped(lines: Vec<DigestLine>) -> Vec<DigestLine> {
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
                && have.conceded == line.conceded
                && have.corrected == line.corrected
                && have.told_before == line.told_before
        };
        match found.iter_mut().find(alike) {
            None => found.push(line),
            Some(group) => join(group, line),
        }
    }
    found
}

fn join(group: &mut DigestLine, line: DigestLine) {
    group.item = format!("{}, {}", group.item, line.item);
    if group.what != line.what && !group.what.split(" and ").any(|what| what == line.what) {
        group.what = format!("{} and {}", group.what, line.what);
    }
    group.marks.extend(line.marks);
}

/// When the work meets its date; only a date of the calendar has a window. One that is past is told as such.
fn window(rule: &Rule, row: &DueRow) -> Option<(Date, Date)> {
    let due = row.calendar_due.filter(|_| row.because == Some(Because::Calendar))?;
    if row.standing == policies::standing::Standing::Overdue {
        return None;
    }
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
