//! A line of gear, as a mechanic would say it: tag, what it is, where it sits; what, by when, because.

use policies::explain::Derivation;
use policies::facts::ItemId;
use policies::rule::{Rule, Work};
use policies::standing::Standing;
use policies::usage::{self, Period};

use super::caution;
use super::judged::{Bite, Judged};
use super::links::Link;
use super::place::{Place, View};
use super::when::When;
use super::words;
use crate::kept_dates;

/// A standing in words, with a mark whose shape tells it apart without colour.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Mark {
    pub(super) shape: &'static str,
    pub(super) word: &'static str,
}

const ON_HOLD: Mark = Mark { shape: "✕", word: "on hold" };

const CONCEDED: Mark = Mark { shape: "◇", word: "by concession" };

/// The mark of a row: a concession and a hold say more than its date does.
fn mark_of(judged: &Judged) -> Mark {
    match (judged.bite, judged.concession) {
        (Bite::Limits, Some(_)) => CONCEDED,
        _ if judged.row.held => ON_HOLD,
        _ => mark(judged.row.standing),
    }
}

/// Meters that say that gear was used.
const USES: [&str; 3] = ["launches", "recoveries", "pulls"];

/// The mark of a standing.
pub(super) fn mark(standing: Standing) -> Mark {
    let shape = match standing {
        Standing::InDate => "○",
        Standing::FallingDue => "△",
        Standing::Due => "▲",
        Standing::InTolerance => "◆",
        Standing::Overdue => "■",
    };
    Mark { shape, word: standing.word() }
}

/// One line.
#[derive(Clone, Debug, Default)]
pub(super) struct Line {
    pub(super) mark: Mark,
    /// It stops a launch as things are.
    pub(super) stops: bool,
    pub(super) tags: Vec<Link>,
    pub(super) what: String,
    pub(super) place: Place,
    /// The station, where no heading says it.
    pub(super) station: Option<Link>,
    pub(super) task: String,
    /// What is renewed together with it.
    pub(super) with: Vec<Link>,
    pub(super) by: String,
    pub(super) because: String,
    /// Where the figure's derivation stands.
    pub(super) why: Option<String>,
    /// What else must be known: a concession, a loan, a quarantine.
    pub(super) notes: Vec<String>,
    pub(super) detail: Option<Detail>,
}

/// What the hand needs that does the work.
#[derive(Clone, Debug)]
pub(super) struct Detail {
    pub(super) by: String,
    pub(super) records: Vec<String>,
    /// Use left, by meter.
    pub(super) left: Vec<String>,
    pub(super) last: String,
    pub(super) effect: &'static str,
    pub(super) authority: &'static str,
    pub(super) source: Option<String>,
    pub(super) caution: &'static str,
    pub(super) rule: Link,
    /// Where it is recorded, for who may; each gear's tag.
    pub(super) records_at: Vec<Link>,
}

impl View<'_> {
    /// The line of rows that read alike.
    pub(super) fn line(&self, rows: &[&Judged]) -> Line {
        let Some(first) = rows.first() else { return Line::default() };
        let (row, rule) = (&first.row, self.set.rule(first.row.rule));
        let ids: Vec<ItemId> = rows.iter().map(|judged| judged.row.item).collect();
        let found = Derivation { row: *row, ..self.evaluator.derive(row.item, row.rule) };
        let When { by, because } = self.when(&found);
        Line {
            mark: mark_of(first),
            stops: first.bite == Bite::Stops,
            tags: ids.iter().map(|id| self.links.to_item(self.tag(*id))).collect(),
            what: self.whats(&ids),
            place: self.place(row.item),
            station: None,
            task: words::lower_first(&rule.title),
            with: self.renewed_with(rule, &ids),
            by,
            because,
            why: Some(self.links.why(self.tag(row.item), &rule.id)),
            notes: self.notes(first, &found),
            detail: None,
        }
    }

    /// The line with everything the hand needs.
    pub(super) fn full_line(&self, rows: &[&Judged]) -> Line {
        let detail = rows.first().map(|first| self.detail(first));
        Line { detail, ..self.line(rows) }
    }

    fn whats(&self, ids: &[ItemId]) -> String {
        let mut found: Vec<String> = Vec::new();
        for id in ids {
            let what = self.what(*id);
            if !found.contains(&what) {
                found.push(what);
            }
        }
        words::list_of_lists(&found)
    }

    /// Members of the set that go the same way, where it is this item that is renewed first.
    fn renewed_with(&self, rule: &Rule, ids: &[ItemId]) -> Vec<Link> {
        let name = ids
            .first()
            .and_then(|id| self.item(*id).set.as_deref())
            .filter(|_| rule.work == Work::Renewal && rule.after.is_empty());
        let members = name.into_iter().flat_map(|name| self.fleet.set(name));
        let others = members.filter(|id| !ids.contains(id) && !self.evaluator.is_withdrawn(self.item(**id)));
        others.map(|id| self.links.to_item(self.tag(*id))).collect()
    }

    fn notes(&self, judged: &Judged, found: &Derivation) -> Vec<String> {
        let id = judged.row.item;
        let allowed = judged.concession.map(|concession| {
            let until = concession.until_date.parse().map(words::full_day).unwrap_or_default();
            let key = &concession.key;
            format!(
                "allowed under concession {key} to 24:00 on {until}, on these conditions: {}",
                concession.conditions
            )
        });
        let lent = self.lender(id).map(|lender| format!("on loan from {lender}"));
        let unfit = self.shut(id).map(|shut| self.shut_words(id, &shut, None));
        let used = judged.concession.is_none().then(|| self.used_on_hold(found)).flatten();
        let (item, rule) = (judged.row.item, judged.row.rule);
        let kept = self.evaluator.kept(item, rule);
        let corrected = || kept_dates::waits(self.set, &self.evaluator.row(item, rule));
        let waits = kept.map(|kept| if kept.gone { kept_dates::LOST.to_owned() } else { corrected() });
        allowed.into_iter().chain(waits).chain(used).chain(lent).chain(unfit).collect()
    }

    /// What gear did since the event that holds it.
    fn used_on_hold(&self, found: &Derivation) -> Option<String> {
        let holding = found.after.iter().filter(|working| working.clause.within.is_zero());
        let since = holding.filter_map(|working| Some(working.open?.at)).min()?;
        let period = Period { after: Some(since), before: self.cutoff(found.row.item) };
        let counts = USES.into_iter().filter_map(|name| {
            let meter = self.set.kinds.find_meter(name)?;
            let used = usage::used(self.fleet, found.row.item, meter, period);
            used.is_positive().then(|| words::amount(used, name))
        });
        let counts: Vec<String> = counts.collect();
        (!counts.is_empty()).then(|| format!("used while on hold: {}", words::list(&counts)))
    }

    fn detail(&self, judged: &Judged) -> Detail {
        let (row, rule) = (&judged.row, self.set.rule(judged.row.rule));
        let found = self.evaluator.derive(row.item, row.rule);
        let left = found.usage.iter().map(|working| {
            let meter = self.set.kinds.meter_name(working.clause.meter);
            let left = working.clause.every - working.used;
            format!("{} used of {}, {left} left", words::amount(working.used, meter), working.clause.every)
        });
        Detail {
            by: rule.by.clone().unwrap_or_else(|| "not laid down".to_owned()),
            records: rule.records.iter().map(words::reading).collect(),
            left: left.collect(),
            last: found.last.map_or("never recorded".to_owned(), |done| words::full_day(done.date)),
            effect: rule.overdue.word(),
            authority: rule.authority.word(),
            source: rule.source.clone(),
            caution: caution::of(self.set, rule),
            rule: Link { text: rule.id.clone(), href: self.links.rule(&rule.id) },
            records_at: Vec::new(),
        }
    }
}
