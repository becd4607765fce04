//! The work that counts for a rule, and other happenings of work.

use super::World;
use super::register::{Item, Outcome, Work};
use super::rules::Rule;
use jiff::Timestamp;

/// When work that counts for the rule was passed or done on the item, in order of time.
pub fn counting(world: &World, item: &Item, rule: &Rule) -> Vec<Timestamp> {
    let counts = |work: &&Work| {
        work.item == item.tag
            && work.outcome == Outcome::PassedOrDone
            && (work.rule == rule.id || covers(world, &work.rule, &rule.id))
            && (work.certified || !asks_for_certificate(world, &[&work.rule, &rule.id]))
    };
    times(world.register.work.iter().filter(counts))
}

fn covers(world: &World, doing: &str, also: &str) -> bool {
    let rule = world.policy.rule(doing);
    rule.is_some_and(|rule| rule.covers.iter().any(|covered| covered == also))
}

fn asks_for_certificate(world: &World, rules: &[&str]) -> bool {
    rules.iter().any(|id| world.policy.rule(id).is_some_and(|rule| rule.certificate))
}

/// When work so named had that outcome on items of that choice.
pub fn of_word(
    world: &World,
    named: &str,
    outcome: Outcome,
    chosen: impl Fn(&str) -> bool,
) -> Vec<Timestamp> {
    let is = |work: &&Work| {
        let rule = world.policy.rule(&work.rule);
        let agrees = rule.is_some_and(|rule| rule.work == named);
        agrees && work.outcome == outcome && chosen(&work.item)
    };
    times(world.register.work.iter().filter(is))
}

fn times<'a>(work: impl Iterator<Item = &'a Work>) -> Vec<Timestamp> {
    let mut times: Vec<Timestamp> = work.map(|work| work.at).collect();
    times.sort();
    times
}
