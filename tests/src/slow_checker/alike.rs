//! Items of one kind on one host that must agree in what they are.

use super::World;
use super::decimal::Decimal;
use super::kinds::Kind;
use super::moments;
use super::place;
use super::register::{Fitting, Item};
use super::rules::{Alike, Rule};
use jiff::Timestamp;
use jiff::civil::Date;

/// The local date of the latest fitting among those that do not agree. An item that left one host
/// for another on the as-of date stands on both until 24:00: the earlier date counts.
pub fn due(world: &World, item: &Item, rule: &Rule) -> Result<Option<Date>, String> {
    let cutoff = world.cutoff(item)?;
    let kind = world.policy.kind(&item.kind)?;
    let mut earliest: Option<Date> = None;
    for own in place::fitted(world, &item.tag, cutoff) {
        let together = together(world, item, &own.host, cutoff);
        let mut agree = true;
        for clause in &rule.alikes {
            agree &= agrees(world, clause, kind, &together)?;
        }
        let latest = together.iter().map(|f| f.from).max();
        if let Some(latest) = latest.filter(|_| !agree) {
            let date = moments::date_at(latest, &item.zone);
            earliest = Some(earliest.map_or(date, |known| known.min(date)));
        }
    }
    Ok(earliest)
}

/// Every fitting of an item of the kind on that host now, withdrawn ones aside.
fn together<'a>(world: &'a World, item: &Item, host: &str, cutoff: Timestamp) -> Vec<&'a Fitting> {
    let mut together = Vec::new();
    for other in world.register.items.iter().filter(|other| other.kind == item.kind) {
        if !place::withdrawn(world, &other.tag, cutoff) {
            together.extend(place::fitted(world, &other.tag, cutoff).filter(|f| f.host == host));
        }
    }
    together
}

fn agrees(world: &World, clause: &Alike, kind: &Kind, together: &[&Fitting]) -> Result<bool, String> {
    let attribute = kind.attribute(&clause.attribute);
    let attribute = attribute.ok_or_else(|| format!("{} has no {:?}", kind.name, clause.attribute))?;
    let mut values: Vec<&str> = Vec::new();
    for fitting in together {
        let item = world.register.item(&fitting.item)?;
        // What is not known is not compared.
        values.extend(item.attributes.get(&attribute.column).map(String::as_str));
    }
    if !attribute.number {
        return Ok(values.iter().all(|value| *value == values[0]));
    }
    let numbers: Vec<Decimal> = values.into_iter().map(Decimal::parse).collect::<Result<_, _>>()?;
    Ok(match (numbers.iter().max(), numbers.iter().min()) {
        (Some(most), Some(least)) => *most - *least <= clause.within,
        _ => true,
    })
}
