//! The rows of one item, one for each rule that applies.

use super::applies::applies;
use super::calendar::{self, Found, Ground};
use super::chains::{self, Counted};
use super::register::Item;
use super::rules::Rule;
use super::standing::{self, Standing};
use super::when::When;
use super::{Row, World, after, alike, moments, place, usage, when, work_done};
use jiff::Timestamp;
use jiff::civil::Date;

pub fn of_item(world: &World, item: &Item) -> Result<Vec<Row>, String> {
    let cutoff = world.cutoff(item)?;
    if place::withdrawn(world, &item.tag, cutoff) {
        return Ok(Vec::new());
    }
    let mut events = chains::counted(&item.tag, &world.register);
    events.retain(|event| event.at < cutoff);
    let kind = world.policy.kind(&item.kind)?;
    let mut rows = Vec::new();
    for rule in &world.policy.rules {
        if rule.has_rows() && applies(rule, item, kind) && place::suits(world, item, rule)? {
            rows.push(Reckoning::new(world, item, rule, &events)?.row()?);
        }
    }
    Ok(rows)
}

/// One row in the making: each clause adds its date and makes the standing no better.
struct Reckoning<'a> {
    world: &'a World,
    item: &'a Item,
    rule: &'a Rule,
    events: &'a [Counted],
    work: Vec<Timestamp>,
    standing: Standing,
    row: Row,
}

impl<'a> Reckoning<'a> {
    fn new(world: &'a World, item: &'a Item, rule: &'a Rule, events: &'a [Counted]) -> Result<Self, String> {
        let cutoff = world.cutoff(item)?;
        let mut work = work_done::counting(world, item, rule);
        work.retain(|at| *at < cutoff);
        let row = empty(item, rule);
        Ok(Reckoning { world, item, rule, events, work, standing: Standing::InDate, row })
    }

    fn row(mut self) -> Result<Row, String> {
        self.calendars()?;
        self.usages()?;
        self.afters()?;
        self.row.standing_without_forecast = self.standing.word();
        Ok(self.row)
    }

    fn counts(&self, when: Option<&When>) -> Result<bool, String> {
        when::holds(self.world, self.item, self.rule, when)
    }

    fn worsen(&mut self, standing: Standing) {
        self.standing = self.standing.max(standing);
    }

    fn calendars(&mut self) -> Result<(), String> {
        let done: Vec<Date> = self.work.iter().map(|at| moments::date_at(*at, &self.item.zone)).collect();
        let ground = Ground {
            item: self.item,
            rule: self.rule,
            done: &done,
            fittings: &self.world.register.fittings,
            as_of: self.world.as_of,
        };
        for clause in &self.rule.calendars {
            if !self.counts(clause.when.as_ref())? {
                continue;
            }
            match calendar::due(clause, &ground)? {
                Found::NoBase => {
                    self.row.no_base = true;
                    self.worsen(Standing::Overdue);
                }
                Found::Nothing => {}
                Found::Due(date) => {
                    self.row.calendar_due = earlier(self.row.calendar_due, Some(date));
                    self.worsen(standing::of_calendar(date, self.rule, self.world.as_of)?);
                }
            }
        }
        // One clause without a base leaves the whole calendar without a date.
        if self.row.no_base {
            self.row.calendar_due = None;
        }
        Ok(())
    }

    fn usages(&mut self) -> Result<(), String> {
        let last = self.work.last().copied();
        for clause in &self.rule.usages {
            if !self.counts(clause.when.as_ref())? {
                continue;
            }
            let found = usage::reckon(self.world, self.item, clause, self.events, last)?;
            self.row.usage_due = earlier(self.row.usage_due, found.reached);
            self.worsen(standing::of_usage(found.used, clause));
            let (used, limit) = (found.used.to_string(), clause.every.to_string());
            self.row.used.push((clause.meter.clone(), used, limit));
        }
        Ok(())
    }

    fn afters(&mut self) -> Result<(), String> {
        let last = self.work.last().copied();
        for clause in &self.rule.afters {
            let due = after::due(self.world, self.item, clause, self.events, last)?;
            self.opened(due)?;
        }
        // Work does not clear it: only the items themselves do.
        if !self.rule.alikes.is_empty() {
            let unlike = alike::due(self.world, self.item, self.rule)?;
            self.opened(unlike)?;
        }
        Ok(())
    }

    fn opened(&mut self, due: Option<Date>) -> Result<(), String> {
        self.row.after_due = earlier(self.row.after_due, due);
        if let Some(date) = due {
            self.worsen(standing::of_after(date, self.rule, self.world.as_of)?);
        }
        Ok(())
    }
}

fn empty(item: &Item, rule: &Rule) -> Row {
    Row {
        item: item.tag.clone(),
        rule: rule.id.clone(),
        no_base: false,
        calendar_due: None,
        usage_due: None,
        after_due: None,
        used: Vec::new(),
        standing_without_forecast: "",
    }
}

fn earlier(known: Option<Date>, other: Option<Date>) -> Option<Date> {
    match (known, other) {
        (Some(known), Some(other)) => Some(known.min(other)),
        (known, other) => known.or(other),
    }
}
