//! The example register, and what the contract makes of it on two as-of dates.

use super::{Row, reckon};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

const EXAMPLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/golden/register-1");

fn folder(path: &Path, ending: &str) -> BTreeMap<String, String> {
    let mut files = BTreeMap::new();
    for entry in fs::read_dir(path).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|found| found == ending) {
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            files.insert(name, fs::read_to_string(path).unwrap());
        }
    }
    files
}

fn line(row: &Row) -> String {
    let date = |date: Option<jiff::civil::Date>| date.map(|d| d.to_string()).unwrap_or_default();
    let used = row.used.iter().map(|(meter, used, limit)| format!("{meter}={used}/{limit}"));
    [
        row.item.clone(),
        row.rule.clone(),
        if row.no_base { "yes".to_owned() } else { String::new() },
        date(row.calendar_due),
        date(row.usage_due),
        date(row.after_due),
        used.collect::<Vec<_>>().join(";"),
    ]
    .join(",")
}

fn compare(as_of: &str) {
    let base = Path::new(EXAMPLE);
    let policies = folder(&base.join("policies"), "toml");
    let rows = reckon(&folder(base, "csv"), &policies, as_of.parse().unwrap()).unwrap();
    let found: Vec<String> = rows.iter().map(line).collect();
    let file = base.join(format!("expected/register-1-as-of-{as_of}.csv"));
    let text = fs::read_to_string(file).unwrap();
    let expected: Vec<&str> = text.lines().skip(1).collect();
    assert_eq!(expected.len(), 480);
    assert_eq!(found, expected);
}

#[test]
fn the_example_as_of_the_end_of_february_2029() {
    compare("2029-02-28");
}

#[test]
fn the_example_as_of_the_first_of_may_2030() {
    compare("2030-05-01");
}
