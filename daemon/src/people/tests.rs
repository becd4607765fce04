use std::collections::HashMap;

use policies::load::{PolicyFile, PolicySet};

use super::*;

const RULES: &str = r#"
[[kind]]
name = "chain"

[[rule]]
id         = "law"
title      = "What the law asks"
applies_to = { kind = "chain" }
work       = "check"
calendar   = { every = "1 year" }
overdue    = "advisory"
by         = "station mechanic"
authority  = "law"
source     = "invented"

[[rule]]
id         = "store"
title      = "Count it"
applies_to = { kind = "chain" }
work       = "check"
calendar   = { every = "1 year" }
overdue    = "advisory"
by         = "stores clerk"
authority  = "house"
"#;

fn set() -> PolicySet {
    policies::load::load(&[PolicyFile { name: "rules.toml".to_owned(), text: RULES.to_owned() }]).unwrap()
}

fn people() -> Newest<Person> {
    let person = |key: &str, role: &str, station: Option<&str>, void: bool| {
        let station = station.map(str::to_owned);
        (
            key.to_owned(),
            Person { key: key.to_owned(), role: role.to_owned(), station, void, ..Person::default() },
        )
    };
    HashMap::from([
        person("bay", "mechanic", Some("bay"), false),
        person("bar", "mechanic", Some("bar"), false),
        person("clerk", "clerk", None, false),
        person("gone", "engineer", None, true),
    ])
}

#[test]
fn what_the_law_asks_names_the_mechanic_of_the_station() {
    let (set, people) = (set(), people());
    let rule = set.rule(set.find_rule("law").unwrap());
    let does = |by| does_work(&people, by, rule, Some("bay"), false);
    assert!(does(Some("bay")).is_ok());
    let said = does(None).unwrap_err().to_string();
    assert!(said.contains("name who did it with --by") && said.contains("right by bay."), "{said}");
    assert!(does(Some("bar")).unwrap_err().to_string().contains("belongs to bar"));
    assert!(does_work(&people, None, rule, Some("bay"), true).is_ok(), "a failure is taken from anybody");
}

#[test]
fn a_clerk_does_the_stores_work_and_whoever_is_gone_does_none() {
    let (set, people) = (set(), people());
    let rule = set.rule(set.find_rule("store").unwrap());
    assert!(does_work(&people, Some("clerk"), rule, None, false).is_ok());
    assert!(does_work(&people, Some("bay"), rule, None, false).is_err());
    assert!(known(&people, "gone").is_err());
    assert!(engineer(&people, "clerk", "says so").unwrap_err().to_string().contains("the head says so"));
    assert!(of_station(&people, "bay", Some("bay"), "settles").is_ok());
    assert!(of_station(&people, "bay", Some("bar"), "settles").is_err());
}
