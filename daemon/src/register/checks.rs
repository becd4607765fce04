//! What shows only when the register is seen as a whole: references, overlaps, dials.

use std::collections::HashMap;

use policies::amount::Amount;
use policies::dial;
use policies::fitting::{self, Stay, StayFault};
use policies::rule::Effect;
use policies::zone::{Instant, When};

use super::fault::{Faults, RowFault};
use super::places::Places;
use super::plan::{Change, Plan};
use super::proofs::{COLUMN, Found, Tests};
use super::readings::{lacking, understated};
use crate::items::suits::Suits;
use crate::people;
use crate::records::{Fitting, Item, Usage, Work, when};
use crate::store::Stored;
use crate::store::fleet::is_replacement;

pub(super) fn whole(plan: &Plan, places: &Places, faults: &Faults) {
    stations(plan, faults);
    people(plan, faults);
    items(plan, faults);
    new_kinds(plan, places, faults);
    stock(plan, faults);
    orders(plan, faults);
    doubts(plan, faults);
    substitutions(plan, faults);
    loans(plan, faults);
    fittings(plan, places, faults);
    unsuited(plan, places, faults);
    logs(plan, places, faults);
    early_records(plan, places, faults);
    proof_loads(plan, places, faults);
    papers(plan, places, faults);
    concessions(plan, places, faults);
}

/// Loads of proof load tests, against what the gear must bear and may be proved with.
fn proof_loads(plan: &Plan, places: &Places, faults: &Faults) {
    let change = &plan.changes.work;
    if change.records().next().is_none() {
        return;
    }
    let tests = Tests::of(&plan.register, places);
    for row in change.records() {
        note_readings(plan, places, change, row, faults);
        match tests.fault(row) {
            None => {}
            Some(Found::Wrong(message)) => faults.add(change.fault(&row.key, COLUMN, message)),
            Some(Found::Rounded(message) | Found::NotJudged(message)) => {
                faults.note(change.fault(&row.key, COLUMN, message));
            }
        }
    }
}

/// History that nobody of the register stands for is taken as it is; a person should know.
fn concessions(plan: &Plan, places: &Places, faults: &Faults) {
    let change = &plan.changes.concessions;
    let people = &plan.register.people;
    for row in change.records().filter(|row| !row.void) {
        if let Err(why) = people::engineer(people, &row.by, "gives a concession") {
            faults.note(change.fault(&row.key, "by", why.to_string()));
        }
        let rule = places.set.find_rule(&row.rule).map(|id| places.set.rule(id));
        let stops = rule.is_some_and(|rule| rule.overdue == Effect::StopsLaunch);
        let second = row.second.as_deref().filter(|second| *second != row.by);
        let said = second.is_some_and(|by| people::engineer(people, by, "says the second word").is_ok());
        if stops && !said {
            let note =
                format!("{} stops a launch; another engineer or the head says the second word", row.rule);
            faults.note(change.fault(&row.key, "second", note));
        }
    }
}

/// A paper from before the gear was made, or from days to come; a person should know.
fn papers(plan: &Plan, places: &Places, faults: &Faults) {
    let change = &plan.changes.certificates;
    let today = places.set.service.home_zone.date_of(places.now).to_string();
    for row in change.records().filter(|row| !row.void) {
        let item = plan.register.items.get(&row.item);
        let made = item.and_then(|item| item.manufactured_on.as_ref()).filter(|made| row.issued_on < **made);
        if let Some(made) = made {
            let note = format!("{} lies before {} was made ({made})", row.issued_on, row.item);
            faults.note(change.fault(&row.key, "issued_on", note));
        }
        if row.issued_on > today {
            let note = format!("{} lies after today", row.issued_on);
            faults.note(change.fault(&row.key, "issued_on", note));
        }
    }
}

/// History without its readings is taken as it stands; a person should know.
fn note_readings(plan: &Plan, places: &Places, change: &Change<Work>, row: &Work, faults: &Faults) {
    let Some(rule) = places.set.find_rule(&row.rule).map(|id| places.set.rule(id)) else { return };
    let said = lacking(rule, row).or_else(|| understated(places.set, &plan.register, row));
    if let Some(message) = said {
        faults.note(change.fault(&row.key, COLUMN, message));
    }
}

impl<R: Stored> Change<R> {
    /// Where a key stands in the file; row 0 for one that is stored but not in it.
    fn fault(&self, key: &str, column: &str, message: String) -> RowFault {
        let file = if self.file.is_empty() { format!("{} (stored)", R::TABLE) } else { self.file.clone() };
        let row = self.lines.get(key).copied().unwrap_or(0);
        RowFault { file, row, column: column.to_owned(), message }
    }

    /// The records of this file, new or corrected.
    fn records(&self) -> impl Iterator<Item = &R> {
        self.new.iter().chain(&self.corrected)
    }
}

fn stations(plan: &Plan, faults: &Faults) {
    let change = &plan.changes.stations;
    for row in change.records() {
        for flank in row.flanks.iter().flat_map(|flanks| flanks.split(';')).map(str::trim) {
            if flank == row.key || !plan.register.stations.contains_key(flank) {
                let message =
                    format!("\"{flank}\" is no other station; give slugs of neighbours, \";\" between them");
                faults.add(change.fault(&row.key, "flanks", message));
            }
        }
    }
}

fn people(plan: &Plan, faults: &Faults) {
    let change = &plan.changes.people;
    for row in change.records() {
        let missing = row.deputy.as_ref().filter(|deputy| !plan.register.people.contains_key(*deputy));
        if let Some(deputy) = missing {
            let message = format!("\"{deputy}\" is nobody in people.csv; add them");
            faults.add(change.fault(&row.key, "deputy", message));
        }
    }
}

fn items(plan: &Plan, faults: &Faults) {
    let change = &plan.changes.items;
    for row in change.records() {
        if let Some(part) = row.part.as_ref().filter(|part| !plan.register.parts.contains_key(*part)) {
            let message = format!("\"{part}\" is no part; add it to parts.csv");
            faults.add(change.fault(&row.key, "part", message));
        }
        if let Some(parent) = &row.cut_from
            && !is_cut_soundly(&plan.register.items, &row.key, parent)
        {
            let message = format!("\"{parent}\" is no other item it can have been cut from");
            faults.add(change.fault(&row.key, "cut_from", message));
        }
        if let Some(parent) = &row.taken_from
            && !is_cut_soundly(&plan.register.items, &row.key, parent)
        {
            let message = format!("\"{parent}\" is no other item it can have been taken out of");
            faults.add(change.fault(&row.key, "taken_from", message));
        }
    }
}

/// Records of an item must suit its kind also when that is corrected after them.
fn new_kinds(plan: &Plan, places: &Places, faults: &Faults) {
    let change = &plan.changes.items;
    for tag in &plan.of_new_kind {
        if let Some(unfit) = unfit_record(plan, places, tag) {
            let kind = places.kind_of(tag).map_or("", |kind| &kind.name);
            let message =
                format!("{tag} has {unfit}, which a {kind} cannot have; make that void, or enter a new item");
            faults.add(change.fault(tag, "kind", message));
        }
    }
}

fn unfit_record(plan: &Plan, places: &Places, tag: &str) -> Option<String> {
    let kind = places.kind_of(tag)?;
    let register = &plan.register;
    let fits = |row: &Fitting| {
        let position = places.kind_of(&row.host)?.position(&row.position)?;
        let takes = position.takes.iter().map(|id| &places.set.kinds.kind(*id).name);
        places.kind_of(&row.item).filter(|kind| takes.into_iter().any(|name| *name == kind.name))
    };
    let of_it = |row: &&Fitting| !row.void && (row.item == tag || row.host == tag) && fits(row).is_none();
    if let Some(row) = register.fittings.values().filter(of_it).min_by_key(|row| &row.key) {
        return Some(format!("a fitting of {} on {}", row.item, row.host));
    }
    let meter = |row: &Usage| places.set.kinds.find_meter(&row.meter).and_then(|id| kind.meter(id));
    let unread = |row: &&Usage| !row.void && row.host == tag && meter(row).is_none();
    if let Some(row) = register.usage.values().filter(unread).min_by_key(|row| &row.key) {
        return Some(format!("use \"{}\" of {}", row.key, row.meter));
    }
    let rule_kind = |row: &Work| {
        Some(&places.set.kinds.kind(places.set.rule(places.set.find_rule(&row.rule)?).applies_to.kind).name)
    };
    let other =
        |row: &&Work| !row.void && row.item == tag && rule_kind(row).is_some_and(|name| *name != kind.name);
    let row = register.work.values().filter(other).min_by_key(|row| &row.key)?;
    Some(format!("work \"{}\" on {}", row.key, row.rule))
}

fn is_cut_soundly(items: &HashMap<String, Item>, tag: &str, parent: &str) -> bool {
    let mut at = Some(parent);
    for _ in 0..=items.len() {
        match at {
            None => return true,
            Some(parent) if parent == tag => return false,
            Some(parent) => match items.get(parent) {
                None => return false,
                Some(item) => at = item.taken_from.as_deref().or(item.cut_from.as_deref()),
            },
        }
    }
    false
}

fn stock(plan: &Plan, faults: &Faults) {
    let change = &plan.changes.stock;
    for row in change.records().filter(|row| !plan.register.parts.contains_key(&row.part)) {
        let message = format!("\"{}\" is no part; add it to parts.csv", row.part);
        faults.add(change.fault(&row.key, "part", message));
    }
}

/// An order names a part and somebody known.
fn orders(plan: &Plan, faults: &Faults) {
    let change = &plan.changes.orders;
    for row in change.records().filter(|row| !row.void) {
        if !plan.register.parts.contains_key(&row.part) {
            let message = format!("\"{}\" is no part; add it to parts.csv", row.part);
            faults.add(change.fault(&row.key, "part", message));
        }
        if !plan.register.people.contains_key(&row.by) {
            let message = format!("\"{}\" is nobody in people.csv; add them", row.by);
            faults.add(change.fault(&row.key, "by", message));
        }
    }
}

/// Answers name people and entries of the register.
fn doubts(plan: &Plan, faults: &Faults) {
    let change = &plan.changes.doubts;
    for row in change.records() {
        if !plan.register.people.contains_key(&row.by) {
            let message = format!("\"{}\" is nobody in people.csv; add them", row.by);
            faults.add(change.fault(&row.key, "by", message));
        }
        for (column, key) in [("first", &row.first), ("second", &row.second)] {
            if let Some(key) = key.as_ref().filter(|key| !plan.register.usage.contains_key(*key)) {
                let message = format!("\"{key}\" is no row of usage.csv; add it");
                faults.add(change.fault(&row.key, column, message));
            }
        }
    }
}

/// Only an engineer or the head says that gear may differ.
fn substitutions(plan: &Plan, faults: &Faults) {
    let change = &plan.changes.substitutions;
    for row in change.records() {
        let message = match plan.register.people.get(&row.by).map(|person| &*person.role) {
            Some("engineer" | "head") => continue,
            Some(role) => {
                format!("{} is {role}; an engineer or the head allows a substitution", row.by)
            }
            None => format!("\"{}\" is nobody in people.csv; add them", row.by),
        };
        faults.add(change.fault(&row.key, "by", message));
    }
}

/// Somebody known agrees a loan.
fn loans(plan: &Plan, faults: &Faults) {
    let change = &plan.changes.loans;
    for row in change.records().filter(|row| !row.void) {
        if !plan.register.people.contains_key(&row.by) {
            let message = format!("\"{}\" is nobody in people.csv; add them", row.by);
            faults.add(change.fault(&row.key, "by", message));
        }
    }
}

/// What was fitted although it does not suit its place is history, and counts; a person should know.
fn unsuited(plan: &Plan, places: &Places, faults: &Faults) {
    let change = &plan.changes.fittings;
    let suits = Suits::of(&plan.register, places);
    for row in change.records().filter(|row| !row.void && row.removed_at.is_none()) {
        for against in suits.against(row, None) {
            let (item, position, host) = (&row.item, &row.position, &row.host);
            let note = format!("{item} does not suit the {position} of {host}: {against}");
            faults.note(change.fault(&row.key, "item", note));
        }
    }
}

fn fittings(plan: &Plan, places: &Places, faults: &Faults) {
    let mut rows: Vec<&Fitting> = plan.register.fittings.values().filter(|row| !row.void).collect();
    rows.sort_unstable_by(|a, b| (a.at, &a.key).cmp(&(b.at, &b.key)));
    let stays: Vec<Stay> = rows.iter().map(|row| stay(row, places)).collect();
    let change = &plan.changes.fittings;
    for (index, fault) in fitting::check(&stays) {
        let (at, other) = match fault {
            StayFault::TwoPlaces(other) | StayFault::Full(other) => (index, Some(other)),
            StayFault::Backwards | StayFault::Loop => (index, None),
        };
        let row = rows[at];
        let here = |other: usize| {
            format!("{} on {} from {}", rows[other].item, rows[other].host, text_of(rows[other]))
        };
        let (column, message) = match (fault, other) {
            (StayFault::TwoPlaces(_), Some(other)) => (
                "fitted_at",
                format!("{} is fitted elsewhere then ({}); remove it there first", row.item, here(other)),
            ),
            (StayFault::Full(_), Some(other)) => (
                "position",
                format!("{} of {} is full then ({}); remove that first", row.position, row.host, here(other)),
            ),
            (StayFault::Loop, _) => ("host", format!("{} would carry itself; correct the host", row.item)),
            _ => ("removed_at", "is not after fitted_at; correct one of them".to_owned()),
        };
        // Told at a row of this import where there is one.
        let key = [Some(&row.key), other.map(|other| &rows[other].key)];
        let told = key.into_iter().flatten().find(|key| change.lines.contains_key(*key)).unwrap_or(&row.key);
        faults.add(change.fault(told, column, message));
    }
}

fn stay<'r>(row: &'r Fitting, places: &'r Places) -> Stay<'r> {
    let position = places.kind_of(&row.host).and_then(|kind| kind.position(&row.position));
    Stay {
        item: &row.item,
        host: &row.host,
        position: &row.position,
        // A position that a later policy dropped keeps what it held.
        capacity: position.map_or(u32::MAX, |position| position.count),
        fitted: when(row.at, row.day.as_deref()),
        removed: row.removed_at.map(|at| when(at, row.removed_day.as_deref())),
        zone: places.zone_of(&row.item),
    }
}

fn text_of(row: &Fitting) -> String {
    row.day.clone().unwrap_or_else(|| Instant(row.at).timestamp().to_string())
}

/// One host's meter has counts or readings, never both; a dial only falls when it rolls over or is replaced.
fn logs(plan: &Plan, places: &Places, faults: &Faults) {
    let change = &plan.changes.usage;
    // Readings and counts of each host's meter.
    let mut touched: HashMap<(&str, &str), [Vec<&Usage>; 2]> = HashMap::new();
    for row in change.records() {
        touched.entry((&row.host, &row.meter)).or_default();
    }
    if touched.is_empty() {
        return;
    }
    for row in plan.register.usage.values().filter(|row| !row.void) {
        let Some([readings, counts]) = touched.get_mut(&(row.host.as_str(), row.meter.as_str())) else {
            continue;
        };
        match row.reading {
            Some(_) => readings.push(row),
            None => counts.push(row),
        }
    }
    for ((host, meter), [readings, counts]) in touched {
        if counts.is_empty() || readings.is_empty() {
            dials(plan, places, faults, readings);
            continue;
        }
        let message = format!("{meter} of {host} has counts and readings; keep to one");
        if let Some(row) = first_in_file(change, readings.into_iter().chain(counts)) {
            let column = if row.reading.is_some() { "reading" } else { "count" };
            faults.add(change.fault(&row.key, column, message));
        }
    }
}

/// The one of some rows that stands first in the file of this import, since a stored one stands nowhere.
fn first_in_file<'r>(change: &Change<Usage>, rows: impl Iterator<Item = &'r Usage>) -> Option<&'r Usage> {
    rows.min_by_key(|row| (change.lines.get(&row.key).copied().unwrap_or(usize::MAX), &row.key))
}

fn dials(plan: &Plan, places: &Places, faults: &Faults, mut rows: Vec<&Usage>) {
    let Some(first) = rows.first() else { return };
    let kind = places.kind_of(&first.host);
    let meter = places.set.kinds.find_meter(&first.meter);
    let rolls_over_at =
        kind.zip(meter).and_then(|(kind, meter)| kind.meter(meter)).and_then(|m| m.rolls_over_at);
    let zone = places.zone_of(&first.host);
    let moment = |row: &Usage| match when(row.at, row.day.as_deref()) {
        When::At(at) => at,
        When::Day(day) => zone.last_second_of(day),
    };
    let reading = |row: &Usage| dial::Reading {
        at: moment(row),
        when: when(row.at, row.day.as_deref()),
        value: Amount::from_millionths(row.reading.unwrap_or_default()),
        replaced: row.note.as_deref().is_some_and(is_replacement),
    };
    rows.sort_by_key(|row| reading(row).order());
    let mut readings: Vec<dial::Reading> = rows.iter().map(|row| reading(row)).collect();
    note_jumps(&plan.changes.usage, &rows, &readings, faults);
    if let Err(fall) = dial::uses(&mut readings, rolls_over_at) {
        let change = &plan.changes.usage;
        let near = [fall.index, fall.index.saturating_sub(1)];
        let near = near.into_iter().map(|at| rows[at]).find(|row| change.lines.contains_key(&row.key));
        // Else a row of this import that says of a reading that it never was lets the dial fall.
        let same_dial = |row: &&Usage| row.host == rows[0].host && row.meter == rows[0].meter;
        let told = near.or_else(|| first_in_file(change, change.records().filter(same_dial)));
        faults.add(change.fault(&told.unwrap_or(rows[fall.index]).key, "reading", fall.to_string()));
    }
}

/// A reading ten times the one before has most likely a digit too many; a person should know.
fn note_jumps(change: &Change<Usage>, rows: &[&Usage], readings: &[dial::Reading], faults: &Faults) {
    for (pair, row) in readings.windows(2).zip(&rows[1..]) {
        let (before, now) = (pair[0].value, pair[1].value);
        let tenfold = before.is_positive() && now.millionths() / 10 >= before.millionths();
        if tenfold && !pair[1].replaced && change.lines.contains_key(&row.key) {
            let note =
                format!("{now} is ten times the reading before, {before}, or more; read the dial again");
            faults.note(change.fault(&row.key, "reading", note));
        }
    }
}

/// Records before the item was made or in service count; a person should know.
fn early_records(plan: &Plan, places: &Places, faults: &Faults) {
    let before = |tag: &str, at: i64| {
        let item = plan.register.items.get(tag)?;
        let start = item.entered_service_on.as_ref().or(item.manufactured_on.as_ref())?;
        let day = start.parse().ok()?;
        (Instant(at) < places.zone_of(tag).start_of(day))
            .then(|| format!("lies before {tag} came into service ({start})"))
    };
    let changes = &plan.changes;
    for row in changes.fittings.records() {
        if let Some(note) = before(&row.item, row.at) {
            faults.note(changes.fittings.fault(&row.key, "fitted_at", note));
        }
    }
    for row in changes.work.records() {
        if let Some(note) = before(&row.item, row.at) {
            faults.note(changes.work.fault(&row.key, "done_at", note));
        }
    }
    for row in changes.states.records() {
        if let Some(note) = before(&row.item, row.at) {
            faults.note(changes.states.fault(&row.key, "at", note));
        }
    }
    for row in changes.usage.records() {
        if let Some(note) = before(&row.host, row.at) {
            faults.note(changes.usage.fault(&row.key, "at", note));
        }
    }
}
