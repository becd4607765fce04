//! Usage clauses: what is used since the last work, and when the limit was reached.

use super::World;
use super::chains::{self, Counted};
use super::decimal::Decimal;
use super::moments;
use super::register::Item;
use super::rules::Usage;
use jiff::Timestamp;
use jiff::civil::Date;

pub struct Reckoned {
    pub used: Decimal,
    pub reached: Option<Date>,
}

/// Goes through the item's use event by event, strictly after the last work that counts.
pub fn reckon(
    world: &World,
    item: &Item,
    clause: &Usage,
    events: &[Counted],
    last_work: Option<Timestamp>,
) -> Result<Reckoned, String> {
    let mut used = match last_work {
        Some(_) => Decimal::ZERO,
        None => chains::inherited(item, &clause.meter, world.cutoff(item)?, &world.register)?,
    };
    let mut reached = (used >= clause.every).then(|| before_records(world, item));
    for event in events {
        if event.meter != clause.meter || last_work.is_some_and(|last| event.at <= last) {
            continue;
        }
        used = used + event.amount;
        if reached.is_none() && used >= clause.every {
            reached = Some(moments::date_at(event.at, &item.zone));
        }
    }
    Ok(Reckoned { used, reached })
}

/// Where use before the records reached the limit alone, no event gives a date.
fn before_records(world: &World, item: &Item) -> Date {
    item.entered.or(item.made).unwrap_or(world.as_of)
}
