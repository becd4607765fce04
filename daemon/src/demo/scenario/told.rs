//! Work that the stories tell, and work that they leave undone.

use jiff::Timestamp;

use super::gear::Fleet;
use super::usage::Log;
use super::work::Work;

pub struct Told {
    pub works: Vec<Work>,
    holds: Vec<Hold>,
}

/// After `from` no work of these rules is done on the item.
pub struct Hold {
    pub item: &'static str,
    pub rules: &'static [&'static str],
    pub from: Timestamp,
}

impl Told {
    pub fn of(fleet: &Fleet, log: &Log) -> Self {
        let mut works = super::moved_wire::works();
        works.extend(super::nethery::works(log));
        works.extend(super::bravell::works());
        works.extend(super::senloe::works(fleet));
        works.extend(super::orrabel::works(log));
        works.extend(super::store_room::works());
        let mut holds = super::bravell::holds();
        holds.extend(super::store_room::holds());
        Self { works, holds }
    }

    /// When the rule's work was passed or done in a story, in order of time.
    pub fn passed(&self, item: &str, rule: &str) -> Vec<Timestamp> {
        let mut times: Vec<Timestamp> = self
            .works
            .iter()
            .filter(|work| work.item == item && work.rule == rule && work.outcome != "failed")
            .map(|work| work.at)
            .collect();
        times.sort();
        times
    }

    pub fn held(&self, item: &str, rule: &str) -> Option<Timestamp> {
        self.holds.iter().find(|hold| hold.item == item && hold.rules.contains(&rule)).map(|hold| hold.from)
    }
}

pub fn told(
    item: &str,
    rule: &'static str,
    at: Timestamp,
    by: &str,
    measurements: &str,
    note: &'static str,
) -> Work {
    Work {
        item: item.to_owned(),
        rule,
        at,
        outcome: "passed",
        by: by.to_owned(),
        certificate: None,
        measurements: measurements.to_owned(),
        note,
    }
}

pub const EXAMINER: &str = "booking@testhouse.example";
pub const LOFT: &str = "stores@mcbs.example";
