//! What opens work that waits for an event, and what does not.

use jiff::civil::{Date, date};
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome};
use policies::load::PolicySet;

use crate::gear::{fit, fleet, launches, row, rule, set, when};

/// The rule that waits for an event, and others whose work may be one.
fn waits(clause: &str) -> PolicySet {
    set(&format!(
        "{}{}{}{}",
        rule("asked", &format!("after = {{ {clause} }}")).replace("\"check\"", "\"measurement\""),
        rule("renew", "calendar = { every = \"10 years\" }").replace("\"check\"", "\"renewal\""),
        rule("pull", "calendar = { every = \"10 years\" }").replace("\"check\"", "\"proof load test\""),
        rule("look", "calendar = { every = \"10 years\" }"),
    ))
}

fn event(name: &str) -> PolicySet {
    waits(&format!("event = \"{name}\", within = \"0 days\""))
}

fn due(set: &PolicySet, fleet: &Fleet) -> Option<Date> {
    row(set, fleet, "F-1", "asked", "2026-12-31").after_due
}

fn works(set: &PolicySet, done: &[(&str, &str, Outcome)]) -> Fleet {
    fleet(set, |b| {
        for (rule, on, outcome) in done {
            b.work("F-1", rule, when(on), *outcome);
        }
    })
}

#[test]
fn sound_work_of_its_sort_opens() {
    let set = event("renewal");
    let found = |done: &[(&str, &str, Outcome)]| due(&set, &works(&set, done));
    let looked = ("look", "2026-03-01", Outcome::Done);
    let failed = ("renew", "2026-03-02", Outcome::Failed);
    assert_eq!(found(&[looked, failed]), None);
    assert_eq!(found(&[looked, failed, ("renew", "2026-03-03", Outcome::Done)]), Some(date(2026, 3, 3)));
    assert_eq!(found(&[looked, failed, ("renew", "2026-03-04", Outcome::Passed)]), Some(date(2026, 3, 4)));
}

#[test]
fn a_failed_proof_load_opens() {
    let set = event("proof load failed");
    let found = |done: &[(&str, &str, Outcome)]| due(&set, &works(&set, done));
    let passed = ("pull", "2026-03-01", Outcome::Passed);
    let other = ("look", "2026-03-02", Outcome::Failed);
    assert_eq!(found(&[passed, other]), None);
    assert_eq!(found(&[passed, other, ("pull", "2026-03-03", Outcome::Failed)]), Some(date(2026, 3, 3)));
}

/// F-10 and F-11 are a set; F-1 is of none.
#[test]
fn renewal_of_another_of_its_set_opens() {
    let set = event("set member renewed");
    let found = |item: &str, rule: &str, outcome: Outcome| {
        let fleet = fleet(&set, |b| {
            for tag in ["F-10", "F-11"] {
                let (kind, station) = ("fall", Some("quay"));
                let record = ItemRecord { tag, kind, station, set: Some("S-1"), ..ItemRecord::default() };
                assert!(b.item(&record));
            }
            b.work(item, rule, when("2026-03-03"), outcome);
        });
        row(&set, &fleet, "F-10", "asked", "2026-12-31").after_due
    };
    assert_eq!(found("F-11", "renew", Outcome::Done), Some(date(2026, 3, 3)));
    assert_eq!(found("F-11", "renew", Outcome::Failed), None);
    assert_eq!(found("F-11", "look", Outcome::Done), None);
    assert_eq!(found("F-10", "renew", Outcome::Done), None, "its own");
    assert_eq!(found("F-1", "renew", Outcome::Done), None, "of no set");
}

/// A removal known to the day is that day's; while it is fitted there is none.
#[test]
fn a_removal_opens() {
    let set = event("removed");
    let found = |to: Option<&str>| {
        let fleet = fleet(&set, |b| fit(b, "F-1", "C-1", "2026-03-01", to));
        due(&set, &fleet)
    };
    assert_eq!(found(None), None);
    assert_eq!(found(Some("2026-03-10")), Some(date(2026, 3, 10)));
    assert_eq!(found(Some("2026-03-11T00:00:00")), Some(date(2026, 3, 11)));
}

/// Events count strictly after the last work that counts, and before the end of the day.
#[test]
fn work_closes_what_came_before_it() {
    let set = event("fitted");
    let found = |done: &str, fitted: &str| {
        let fleet = fleet(&set, |b| {
            b.work("F-1", "asked", when(done), Outcome::Done);
            fit(b, "F-1", "C-1", fitted, None);
        });
        due(&set, &fleet)
    };
    assert_eq!(found("2026-03-02T10:00:00", "2026-03-02T10:00:00"), None);
    assert_eq!(found("2026-03-02T10:00:00", "2026-03-02T10:00:01"), Some(date(2026, 3, 2)));
    assert_eq!(found("2026-03-02T10:00:00", "2027-01-01"), None, "not yet");
}

/// Off by the end of a day and on again the next: a night in store, unless the one moment is the other.
#[test]
fn a_night_in_store_makes_an_issue() {
    let set = event("issued from stores");
    let found = |fitted: &str| {
        let fleet = fleet(&set, |b| {
            fit(b, "F-1", "C-1", "2026-01-01", Some("2026-02-01"));
            b.work("F-1", "asked", when("2026-01-10"), Outcome::Done);
            fit(b, "F-1", "C-2", fitted, None);
        });
        due(&set, &fleet)
    };
    assert_eq!(found("2026-02-02T00:00:00"), None);
    assert_eq!(found("2026-02-02T00:00:01"), Some(date(2026, 2, 2)));
}

type Stay<'t> = (&'t str, Option<&'t str>);

/// F-1 and F-2 on one carriage, by moments.
fn fellows(set: &PolicySet, own: Stay, fellow: Stay) -> Option<Date> {
    let fleet = fleet(set, |b: &mut FleetBuilder| {
        fit(b, "F-1", "C-1", own.0, own.1);
        fit(b, "F-2", "C-1", fellow.0, fellow.1);
        // Neither another kind of gear nor another host makes a fellow.
        fit(b, "W-1", "C-1", "2026-03-02T12:00:00", Some("2026-03-03T12:00:00"));
        fit(b, "F-3", "C-2", "2026-03-02T12:00:00", Some("2026-03-03T12:00:00"));
    });
    due(set, &fleet)
}

#[test]
fn a_fellow_counts_from_the_moment_both_sit_there() {
    let set = event("fellow fitted");
    let own = ("2026-03-01T10:00:00", Some("2026-03-20T10:00:00"));
    for (fitted, due) in [
        ("2026-03-01T09:59:59", None),
        ("2026-03-01T10:00:00", Some(date(2026, 3, 1))),
        ("2026-03-20T09:59:59", Some(date(2026, 3, 20))),
        ("2026-03-20T10:00:00", None),
    ] {
        assert_eq!(fellows(&set, own, (fitted, None)), due, "{fitted}");
    }
}

#[test]
fn a_fellow_taken_off_counts_while_the_item_stays() {
    let set = event("fellow removed");
    let own = ("2026-03-05T10:00:00", Some("2026-03-20T10:00:00"));
    for (removed, due) in [
        ("2026-03-05T09:59:59", None),
        ("2026-03-05T10:00:00", Some(date(2026, 3, 5))),
        ("2026-03-20T09:59:59", Some(date(2026, 3, 20))),
        ("2026-03-20T10:00:00", None),
    ] {
        assert_eq!(fellows(&set, own, ("2026-02-01", Some(removed))), due, "{removed}");
    }
    assert_eq!(fellows(&set, own, ("2026-02-01", None)), None);
}

/// Done on 10 January, which is enough up to 10 February: the first moment of the 11th opens.
#[test]
fn use_opens_from_the_first_moment_that_is_not_waived() {
    let set = waits("event = \"launches\", within = \"0 days\", unless_done_within = \"1 month\"");
    let found = |used: &[(&str, i64)]| {
        let fleet = fleet(&set, |b| {
            b.work("F-1", "asked", when("2026-01-10"), Outcome::Done);
            fit(b, "F-1", "C-1", "2026-01-01", None);
            launches(b, "C-1", used);
        });
        due(&set, &fleet)
    };
    assert_eq!(found(&[("2026-02-10T23:59:59", 1)]), None);
    assert_eq!(found(&[("2026-02-11T00:00:00", 1), ("2026-02-12T00:00:00", 1)]), Some(date(2026, 2, 11)));
}

/// Three launches since it was fitted again on 1 February; those before it do not count.
#[test]
fn use_counts_since_the_event_alone() {
    let set =
        waits("event = \"fitted\", within = \"2 days\", once_used = { meter = \"launches\", count = 3 }");
    let fleet = fleet(&set, |b| {
        b.work("F-1", "asked", when("2026-01-10"), Outcome::Done);
        fit(b, "F-1", "C-1", "2026-01-01", Some("2026-01-31"));
        fit(b, "F-1", "C-2", "2026-02-01", None);
        launches(b, "C-1", &[("2026-01-15T10:00:00", 2)]);
        launches(
            b,
            "C-2",
            &[("2026-02-05T10:00:00", 1), ("2026-02-06T10:00:00", 1), ("2026-02-07T10:00:00", 1)],
        );
    });
    assert_eq!(due(&set, &fleet), Some(date(2026, 2, 9)));
    assert_eq!(row(&set, &fleet, "F-1", "asked", "2026-02-06").after_due, None);
}
