//! Use rows, with the readings of dials turned into use.

use super::decimal::Decimal;
use super::kinds::Meter;
use super::moments::{self, Moment};
use super::policy::Policy;
use super::register::{Files, Item, Use, find};
use super::sheets::{self, Line};

/// A row of a dial before it is known what use it stands for.
struct Reading {
    value: Decimal,
    new_meter: bool,
    row: Use,
}

pub fn uses(files: &Files, items: &[Item], policy: &Policy) -> Result<Vec<Use>, String> {
    sheets::no_key_twice(&sheets::lines(files, "usage.csv")?, "key")?;
    let mut uses = Vec::new();
    let mut readings = Vec::new();
    for line in sheets::live(files, "usage.csv")? {
        let row = row(&line, items, policy)?;
        match (line.get("count"), line.get("reading")) {
            (Some(count), None) => {
                let amount = positive(count).map_err(|e| line.wrong("count", e))?;
                uses.push(Use { amount, ..row });
            }
            (None, Some(reading)) => readings.push(Reading {
                value: Decimal::parse(reading).map_err(|e| line.wrong("reading", e))?,
                new_meter: line.get("note") == Some("meter replaced"),
                row,
            }),
            _ => return Err(line.wrong("count", "exactly one of count and reading")),
        }
    }
    one_way_of_counting(&uses, &readings)?;
    uses.extend(read_off(readings, items, policy)?);
    Ok(uses)
}

fn positive(count: &str) -> Result<Decimal, String> {
    let amount = Decimal::parse(count)?;
    if amount > Decimal::ZERO { Ok(amount) } else { Err("must be above 0".to_owned()) }
}

fn row(line: &Line, items: &[Item], policy: &Policy) -> Result<Use, String> {
    let host = find(items, line.need("host")?)?;
    let name = line.need("meter")?;
    meter(policy, host, name).map_err(|e| line.wrong("meter", e))?;
    let moment = moments::read(line.need("at")?, &host.zone).map_err(|e| line.wrong("at", e))?;
    let (at, whole_day) = match moment {
        Moment::Exact(instant) => (instant, None),
        Moment::Day(day) => {
            let begin = moments::start_of(day, &host.zone)?;
            let end = moments::end_of(day, &host.zone)?;
            (moments::last_second_of(day, &host.zone)?, Some((begin, end)))
        }
    };
    let (host, meter) = (host.tag.clone(), name.to_owned());
    Ok(Use { host, meter, amount: Decimal::ZERO, at, whole_day })
}

fn meter<'a>(policy: &'a Policy, host: &Item, name: &str) -> Result<&'a Meter, String> {
    let found = policy.kind(&host.kind)?.meters.iter().find(|meter| meter.name == name);
    found.ok_or_else(|| format!("{} has no meter {name:?}", host.tag))
}

fn one_way_of_counting(counted: &[Use], readings: &[Reading]) -> Result<(), String> {
    for Reading { row, .. } in readings {
        let same = |u: &Use| u.host == row.host && u.meter == row.meter;
        if counted.iter().any(same) {
            return Err(format!("{} {} has counts and readings", row.host, row.meter));
        }
    }
    Ok(())
}

fn read_off(mut readings: Vec<Reading>, items: &[Item], policy: &Policy) -> Result<Vec<Use>, String> {
    readings.sort_by_key(|reading| reading.row.at);
    let mut uses = Vec::new();
    for n in 0..readings.len() {
        let now = &readings[n];
        let same = |r: &&Reading| r.row.host == now.row.host && r.row.meter == now.row.meter;
        let before = readings[..n].iter().rev().find(same);
        let Some(before) = before.filter(|_| !now.new_meter) else {
            continue;
        };
        let modulus = meter(policy, find(items, &now.row.host)?, &now.row.meter)?.rolls_over_at;
        let amount = difference(before.value, now.value, modulus)
            .ok_or_else(|| format!("{} {}: the dial fell", now.row.host, now.row.meter))?;
        uses.push(Use { host: now.row.host.clone(), meter: now.row.meter.clone(), amount, ..now.row });
    }
    Ok(uses)
}

fn difference(before: Decimal, now: Decimal, modulus: Option<Decimal>) -> Option<Decimal> {
    if now >= before {
        return Some(now - before);
    }
    modulus.map(|modulus| now + modulus - before)
}
