//! The whole derivation of one row: what was counted, from when, and which clause won.

use jiff::civil::Date;

use crate::after::{self, Open};
use crate::alike::Unlike;
use crate::amount::Amount;
use crate::due::{Because, CalendarFound, DueRow, Evaluator};
use crate::facts::{Done, ItemId, Outcome};
use crate::forecast::{Dates, Rate};
use crate::rule::{After, Calendar, RuleId, Usage};
use crate::usage::{self, Period};
use crate::zone::Instant;

/// Use borne on one host over one stretch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Borne {
    /// Host; the item itself for its own meter.
    pub host: ItemId,
    /// From this moment; [`Instant::MIN`] for always.
    pub from: Instant,
    /// Until just before this moment; [`Instant::MAX`] while it lasts.
    pub to: Instant,
    /// Use known to the moment.
    pub dated: Amount,
    /// Use known to the day only, which counts whole.
    pub undated: Amount,
}

/// What a forecast was made from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ForecastWorking {
    /// Host whose log it uses.
    pub host: ItemId,
    /// Its rate, with the prior it borrows from and the spread.
    pub rate: Rate,
    /// How much of the season the fleet's logs say, from 0 to 1; the rest is the service's own.
    pub season_learnt: f64,
    /// Uses left.
    pub remaining: Amount,
    /// 10, 50 and 90 % dates.
    pub dates: Dates,
}

/// A usage clause with its working.
#[derive(Clone, Debug, PartialEq)]
pub struct UsageWorking {
    /// Clause.
    pub clause: Usage,
    /// Use before the records, where no work ends it.
    pub opening: Amount,
    /// Use by host and stretch.
    pub borne: Vec<Borne>,
    /// Sum.
    pub used: Amount,
    /// Date on which the limit was reached.
    pub reached_on: Option<Date>,
    /// Forecast while it is not.
    pub forecast: Option<ForecastWorking>,
    /// Whether its condition holds; without one it always counts.
    pub counts: bool,
}

/// A calendar clause with its working.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CalendarWorking {
    /// Clause.
    pub clause: Calendar,
    /// What it says.
    pub found: CalendarFound,
}

/// An after clause with its working.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AfterWorking {
    /// Clause.
    pub clause: After,
    /// The earliest event since the last work that counts.
    pub open: Option<Open>,
    /// The same where the clause opens only after some use, which has not been made yet: its moment and the use since.
    pub waits: Option<(Instant, Amount)>,
}

/// The whole derivation of a row.
#[derive(Clone, Debug, PartialEq)]
pub struct Derivation {
    /// The row it explains.
    pub row: DueRow,
    /// The last work that counts.
    pub last: Option<Done>,
    /// Work on the rule that failed since then.
    pub failed: Vec<Done>,
    /// Work since then that does not count for want of its certificate.
    pub not_proved: Vec<Done>,
    /// Calendar clauses.
    pub calendar: Vec<CalendarWorking>,
    /// Usage clauses.
    pub usage: Vec<UsageWorking>,
    /// After clauses.
    pub after: Vec<AfterWorking>,
    /// How its fellows on one host differ, where they must not.
    pub unlike: Option<Unlike>,
    /// The clause that comes next after the winning one, and its date.
    pub runner_up: Option<(Because, Date)>,
}

impl Evaluator<'_> {
    /// How the row of an item and rule comes about.
    pub fn derive(&self, id: ItemId, rule_id: RuleId) -> Derivation {
        let item = self.fleet.item(id);
        let rule = self.set.rule(rule_id);
        let row = self.row(id, rule_id);
        let last = self.counting(item, rule_id).next_back().copied();
        let period = Period { after: last.map(|done| done.at), before: self.cutoff(item) };
        let date = last.map(|done| done.date);
        let calendar = rule.calendar.iter();
        let calendar =
            calendar.map(|c| CalendarWorking { clause: *c, found: self.calendar_due(id, rule_id, c, date) });
        let open = |clause: &After| after::open(self.set, self.fleet, id, clause, period, date);
        let after = rule.after.iter().map(|clause| {
            let found = open(clause);
            let used = |meter, at| {
                usage::used(self.fleet, id, meter, Period { after: Some(at), before: period.before })
            };
            let waits = clause.once_used.filter(|_| found.is_none()).and_then(|(meter, _)| {
                let event = open(&After { once_used: None, ..*clause })?;
                Some((event.at, used(meter, event.at)))
            });
            AfterWorking { clause: *clause, open: found, waits }
        });
        Derivation {
            last,
            failed: self.failed_since(id, rule_id, period),
            not_proved: self
                .not_proved(item, rule_id)
                .filter(|done| period.holds(done.at))
                .copied()
                .collect(),
            calendar: calendar.collect(),
            usage: rule.usage.iter().map(|clause| self.usage_working(id, clause, period)).collect(),
            after: after.collect(),
            unlike: self.unlike(id, rule),
            runner_up: runner_up(&row),
            row,
        }
    }

    fn failed_since(&self, id: ItemId, rule: RuleId, period: Period) -> Vec<Done> {
        let works = self.fleet.item(id).works.iter();
        let failed =
            works.filter(|done| done.outcome == Outcome::Failed && self.set.counts_for(done.rule, rule));
        let since =
            |done: &&Done| period.after.is_none_or(|after| done.at >= after) && done.at < period.before;
        failed.filter(since).copied().collect()
    }

    fn usage_working(&self, id: ItemId, clause: &Usage, period: Period) -> UsageWorking {
        let found = self.usage_due(id, clause, period);
        UsageWorking {
            clause: *clause,
            opening: usage::opening_of(self.fleet, id, clause.meter, period),
            borne: self.borne(id, clause, period),
            used: found.used,
            reached_on: found.reached_on,
            forecast: self.forecast_working(id, clause, period, found.used, found.dates),
            counts: self.counts(id, clause.when),
        }
    }

    fn borne(&self, id: ItemId, clause: &Usage, period: Period) -> Vec<Borne> {
        let parts = usage::stretches(self.fleet, id, clause.meter, period);
        let mut borne: Vec<Borne> = parts
            .map(|(host, log, from, to)| {
                let dated = log.between(from, to);
                let to = if to == period.before { Instant::MAX } else { to };
                Borne { host, from, to, dated, undated: Amount::ZERO }
            })
            .filter(|part| part.host != id || part.dated.is_positive())
            .collect();
        for (host, use_) in usage::undated(self.fleet, id, clause.meter, period) {
            let near =
                borne.iter_mut().filter(|part| part.host == host).min_by_key(|part| gap(part, use_.at));
            match near {
                Some(part) => part.undated += use_.amount,
                None => borne.push(Borne {
                    host,
                    from: use_.at,
                    to: use_.at,
                    dated: Amount::ZERO,
                    undated: use_.amount,
                }),
            }
        }
        borne
    }

    fn forecast_working(
        &self,
        id: ItemId,
        clause: &Usage,
        period: Period,
        used: Amount,
        dates: Dates,
    ) -> Option<ForecastWorking> {
        let forecaster = self.forecaster.as_ref().filter(|_| used < clause.every)?;
        let host = forecaster.host(id, clause.meter, period.before)?;
        let rate = forecaster.rate(host, clause.meter, self.fleet.item(id).zone);
        let season_learnt = forecaster.learnt().season(clause.meter).learnt;
        Some(ForecastWorking { host, rate, season_learnt, remaining: clause.every - used, dates })
    }
}

/// How far a moment lies from a stretch.
fn gap(part: &Borne, at: Instant) -> i64 {
    let before = part.from.0.saturating_sub(at.0);
    let after = at.0.saturating_sub(part.to.0);
    before.max(after).max(0)
}

fn runner_up(row: &DueRow) -> Option<(Because, Date)> {
    let usage = row.usage_due.or(row.forecast[0]);
    let dates =
        [(row.calendar_due, Because::Calendar), (usage, Because::Usage), (row.after_due, Because::After)];
    let others = dates.into_iter().filter(|(_, because)| row.because != Some(*because));
    others.filter_map(|(date, because)| Some((because, date?))).min_by_key(|(_, date)| *date)
}
