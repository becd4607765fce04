//! Readings of a dial into uses.

use crate::amount::Amount;
use crate::zone::{Instant, When};

/// One reading of a dial.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reading {
    /// Moment it counts at; the end of its day when only the day is known.
    pub at: Instant,
    /// As it was written down.
    pub when: When,
    /// What the dial said.
    pub value: Amount,
    /// Noted `meter replaced`.
    pub replaced: bool,
}

impl Reading {
    /// Time order; at one moment the old meter comes before the new, and the lower reading before the higher.
    pub fn order(&self) -> (Instant, bool, Amount) {
        (self.at, self.replaced, self.value)
    }
}

/// Use between two readings, counted at the later one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DialUse {
    /// Moment of the later reading.
    pub at: Instant,
    /// As it was written down.
    pub when: When,
    /// Difference, with the roll-over added.
    pub amount: Amount,
}

/// A reading below the one before it that is neither a roll-over nor a new meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "the dial falls from {from} to {to}; correct the reading, or note \"meter replaced\" on the first of the new meter"
)]
pub struct DialFall {
    /// Index of the falling reading in time order.
    pub index: usize,
    /// The reading before.
    pub from: Amount,
    /// The falling reading.
    pub to: Amount,
}

/// The note that marks a new meter.
pub const REPLACED: &str = "meter replaced";

/// Sorts readings by time and turns them into uses.
///
/// The first reading, and the first of a new meter, is a baseline. A note on a rising reading that the
/// next one falls below marks the old meter's last reading, else the new meter's first. A fall on a
/// dial that rolls over adds the modulus, as long as that makes less than half a turn: more would be a
/// slip of the pen.
///
/// # Errors
/// The first [`DialFall`], by index in time order.
pub fn uses(readings: &mut [Reading], rolls_over_at: Option<Amount>) -> Result<Vec<DialUse>, DialFall> {
    readings.sort_by_key(Reading::order);
    let mut found = Vec::with_capacity(readings.len());
    let mut baseline_next = true;
    for index in 0..readings.len() {
        let reading = readings[index];
        let closes_old = reading.replaced && closes_old_meter(readings, index);
        if baseline_next || (reading.replaced && !closes_old) {
            baseline_next = closes_old;
            continue;
        }
        let before = readings[index - 1].value;
        let amount = difference(before, reading.value, rolls_over_at).ok_or(DialFall {
            index,
            from: before,
            to: reading.value,
        })?;
        if amount.is_positive() {
            found.push(DialUse { at: reading.at, when: reading.when, amount });
        }
        baseline_next = closes_old;
    }
    Ok(found)
}

fn closes_old_meter(readings: &[Reading], index: usize) -> bool {
    let rises = index > 0 && readings[index].value >= readings[index - 1].value;
    rises && readings.get(index + 1).is_some_and(|next| !next.replaced && next.value < readings[index].value)
}

fn difference(before: Amount, now: Amount, rolls_over_at: Option<Amount>) -> Option<Amount> {
    if now >= before {
        return Some(now - before);
    }
    let turned = now + rolls_over_at? - before;
    (!turned.is_negative() && turned + turned < rolls_over_at?).then_some(turned)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(at: i64, value: &str, replaced: bool) -> Reading {
        Reading { at: Instant(at), when: When::At(Instant(at)), value: value.parse().unwrap(), replaced }
    }

    fn total(readings: &[(&str, bool)], modulus: Option<i64>) -> Result<String, DialFall> {
        let mut list: Vec<Reading> =
            (0i64..).zip(readings).map(|(at, (value, replaced))| reading(at, value, *replaced)).collect();
        let found = uses(&mut list, modulus.map(Amount::whole))?;
        Ok(found.iter().map(|found| found.amount).sum::<Amount>().to_string())
    }

    #[test]
    fn readings_of_one_moment_are_put_in_order() {
        let mut list = [reading(5, "88.4", false), reading(5, "88.3", false), reading(1, "80", false)];
        assert_eq!(uses(&mut list, None).unwrap().len(), 2);
    }

    /// domain brief 4.2: 9,982 to 37 on a 10,000 h meter is 55 h.
    #[test]
    fn rolls_over_by_the_modulus() {
        assert_eq!(total(&[("9982", false), ("37", false)], Some(10_000)).unwrap(), "55");
    }

    /// domain brief 4.2: 4,700 to 4,812 removed, new 3 to 96: 112 + 93 = 205 h, wherever the note stands.
    #[test]
    fn adds_both_meters_of_a_replacement() {
        let on_new = [("4700", false), ("4812", false), ("3", true), ("96", false)];
        let on_old = [("4700", false), ("4812", true), ("3", false), ("96", false)];
        assert_eq!(total(&on_new, None).unwrap(), "205");
        assert_eq!(total(&on_old, Some(10_000)).unwrap(), "205");
    }

    #[test]
    fn a_fall_otherwise_is_refused() {
        assert_eq!(total(&[("50", false), ("49.5", false)], None).unwrap_err().index, 1);
        assert!(total(&[("4812", false), ("4700", false)], Some(10_000)).is_err());
        assert_eq!(total(&[("50", false)], None).unwrap(), "0");
    }
}
