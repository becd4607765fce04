//! How many rows each clause decides: without it they would read otherwise.

use super::super::{RandomFleet, random_fleet};
use crate::slow_checker::{Row, reckon_each};
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use toml::{Table, Value};

const SEEDS: u64 = 10;

type Strike = fn(&mut Table);

/// Each takes a clause out of a rule.
const CLAUSES: [(&str, Strike); 23] = [
    ("in_store = true", |rule| condition(rule, "in_store", true)),
    ("in_store = false", |rule| condition(rule, "in_store", false)),
    ("laid_up = true", |rule| condition(rule, "laid_up", true)),
    ("laid_up = false", |rule| condition(rule, "laid_up", false)),
    ("by", |rule| keep(rule, "calendar", |clause| !clause.contains_key("by"))),
    ("on", |rule| keep(rule, "calendar", |clause| !clause.contains_key("on"))),
    ("calendar when", |rule| bare(rule, "calendar", |_| true)),
    ("usage when", |rule| bare(rule, "usage", |_| true)),
    ("at_least", |rule| bare(rule, "calendar", |when| when.contains_key("at_least"))),
    ("at_most", |rule| bare(rule, "calendar", |when| when.contains_key("at_most"))),
    ("when of itself", |rule| bare(rule, "calendar", |when| !when.contains_key("of"))),
    ("reading at_least", |rule| keep(rule, "after", |clause| !reads(clause, "at_least"))),
    ("reading at_most", |rule| keep(rule, "after", |clause| !reads(clause, "at_most"))),
    ("issued from stores", |rule| keep(rule, "after", |clause| !is(clause, "issued from stores"))),
    ("returned from lay-up", |rule| keep(rule, "after", |clause| !is(clause, "returned from lay-up"))),
    ("fellow fitted", |rule| keep(rule, "after", |clause| !is(clause, "fellow fitted"))),
    ("fellow removed", |rule| keep(rule, "after", |clause| !is(clause, "fellow removed"))),
    ("unless_done_within", |rule| each(rule, "after", |clause| drop(clause.remove("unless_done_within")))),
    ("once_used", |rule| each(rule, "after", |clause| drop(clause.remove("once_used")))),
    ("certificate", |rule| drop(rule.remove("certificate"))),
    ("path proof load failed", |rule| {
        keep(rule, "after", |clause| !is(clause, "path proof load failed"));
    }),
    ("alike text", |rule| keep(rule, "alike", |clause| clause["attribute"].as_str() != Some("mark"))),
    ("alike number", |rule| keep(rule, "alike", |clause| clause["attribute"].as_str() == Some("mark"))),
];

fn condition(rule: &mut Table, key: &str, wanted: bool) {
    let applies = rule.get_mut("applies_to").and_then(Value::as_table_mut).unwrap();
    if applies.get(key).and_then(Value::as_bool) == Some(wanted) {
        applies.remove(key);
    }
}

fn each(rule: &mut Table, key: &str, change: impl Fn(&mut Table)) {
    match rule.get_mut(key) {
        Some(Value::Table(one)) => change(one),
        Some(Value::Array(list)) => list.iter_mut().filter_map(Value::as_table_mut).for_each(change),
        _ => {}
    }
}

fn keep(rule: &mut Table, key: &str, wanted: impl Fn(&Table) -> bool) {
    let kept = match rule.get(key) {
        Some(Value::Table(one)) => vec![Value::Table(one.clone())],
        Some(Value::Array(list)) => list.clone(),
        _ => return,
    };
    let kept: Vec<Value> = kept.into_iter().filter(|clause| clause.as_table().is_some_and(&wanted)).collect();
    rule.insert(key.to_owned(), Value::Array(kept));
}

fn bare(rule: &mut Table, key: &str, which: impl Fn(&Table) -> bool) {
    each(rule, key, |clause| {
        if clause.get("when").and_then(Value::as_table).is_some_and(&which) {
            clause.remove("when");
        }
    });
}

fn is(clause: &Table, event: &str) -> bool {
    clause["event"].as_str() == Some(event)
}

fn reads(clause: &Table, bound: &str) -> bool {
    is(clause, "reading") && clause["when"].as_table().is_some_and(|when| when.contains_key(bound))
}

/// The policies without that clause; nothing where no rule has it.
fn without(fleet: &RandomFleet, strike: Strike) -> Option<BTreeMap<String, String>> {
    let mut set: Table = fleet.policies["rules.toml"].parse().unwrap();
    let before = set.clone();
    let rules = set.get_mut("rule").and_then(Value::as_array_mut).unwrap();
    rules.iter_mut().filter_map(Value::as_table_mut).for_each(strike);
    let mut policies = fleet.policies.clone();
    policies.insert("rules.toml".to_owned(), set.to_string());
    (set != before).then_some(policies)
}

/// A row that is only in one of the tables counts where the clause is a condition of having rows;
/// elsewhere a rule left without clauses makes nothing due.
fn decided(with: &[Row], without: &[Row], rows_hang_on_it: bool) -> usize {
    let told = |rows: &[Row]| -> BTreeSet<String> {
        let says = |row: &&Row| {
            let date = row.calendar_due.or(row.usage_due).or(row.after_due);
            rows_hang_on_it || row.no_base || date.is_some() || !row.used.is_empty()
        };
        let line = |row: &Row| {
            if rows_hang_on_it { format!("{} {}", row.item, row.rule) } else { format!("{row:?}") }
        };
        rows.iter().filter(says).map(line).collect()
    };
    let (with, without) = (told(with), told(without));
    with.difference(&without).count().max(without.difference(&with).count())
}

/// Printed with `--nocapture`.
#[test]
fn every_clause_decides_rows() {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let mut total = 0;
    for seed in 0..SEEDS {
        let fleet = random_fleet(seed);
        let days: Vec<Date> = fleet.as_of.iter().copied().step_by(2).collect();
        let tables = reckon_each(&fleet.files, &fleet.policies, &days).unwrap();
        total += tables.iter().map(Vec::len).sum::<usize>();
        for (name, strike) in CLAUSES {
            let Some(policies) = without(&fleet, strike) else { continue };
            let others = reckon_each(&fleet.files, &policies, &days).unwrap();
            let both = tables.iter().zip(&others);
            let rows = both.map(|(with, without)| decided(with, without, name.contains(" = ")));
            *counts.entry(name).or_default() += rows.sum::<usize>();
        }
    }
    println!("of {total} rows:");
    for (name, _) in CLAUSES {
        let count = counts.get(name).copied().unwrap_or_default();
        println!("{count:6} {name}");
        assert!(count > 0, "{name} decided no row");
    }
}
