//! Clauses that count only while the item is somewhere, or while a reading stands.

use super::{Story, gauge, rule, story};
use jiff::civil::{Date, date};

fn where_it_is(condition: &str) -> String {
    rule("fall", "calendar = { every = \"1 month\" }")
        .replace("kind = \"fall\" }", &format!("kind = \"fall\", {condition} }}"))
}

/// Fitted from the 2nd to 24:00 of the 10th, and on the 20th from eight to six.
#[test]
fn in_store_is_fitted_to_nothing_at_the_end_of_the_day() {
    let fittings = "item,fitted_at,host,position,removed_at\n\
        FA,2026-03-02,CA,fall,2026-03-10\nFA,2026-03-20T08:00,CB,fall,2026-03-20T18:00\n\
        FA,2026-03-25T23:59,CB,fall,\n";
    let item = |condition| story(&where_it_is(condition)).items("FA,fall,north,2024-01-01\n");
    let stored = item("in_store = true").with("fittings", fittings);
    let fitted = item("in_store = false").with("fittings", fittings);
    let days =
        [(1, true), (2, false), (9, false), (10, false), (11, true), (20, true), (24, true), (25, false)];
    for (day, in_store) in days {
        let day = date(2026, 3, day);
        assert_eq!((stored.has("FA", day), fitted.has("FA", day)), (in_store, !in_store), "{day}");
    }
}

#[test]
fn of_laid_up_and_returned_the_last_speaks_and_quarantine_does_not() {
    let states = "key,item,at,state,void\n1,FA,2026-10-01,laid up,\n2,FA,2026-10-01,returned,\n\
        3,FA,2026-12-01,quarantined,\n4,FA,2026-12-05,released,\n5,FA,2027-01-10,returned,yes\n\
        6,FA,2027-03-01T09:00,returned,\n";
    let item = |condition| story(&where_it_is(condition)).items("FA,fall,north,2024-01-01\n");
    let laid_up = item("laid_up = true").with("states", states);
    let working = item("laid_up = false").with("states", states);
    let days = [
        (date(2026, 9, 30), false),
        (date(2026, 10, 1), true),
        (date(2026, 12, 6), true),
        (date(2027, 2, 28), true),
        (date(2027, 3, 1), false),
    ];
    for (day, is) in days {
        assert_eq!((laid_up.has("FA", day), working.has("FA", day)), (is, !is), "{day}");
    }
    // Laid up for good takes no row away that asks for nothing of the kind.
    let plain = story(&rule("fall", "calendar = { every = \"1 month\" }"));
    let plain = plain.items("FA,fall,north,2024-01-01\n").with("states", states);
    assert!(plain.has("FA", date(2026, 12, 6)));
}

fn measured(work: &str) -> Story {
    let clauses = "calendar = [{ every = \"12 months\" }, { every = \"3 months\", when = { reading = \"severity\", at_least = 60 } }]";
    story(&gauge(clauses))
        .items("FA,fall,north,2024-01-01\n")
        .with("work", &format!("key,item,rule,done_at,outcome,measurements,void\n{work}"))
}

/// 59.9 is below 60; a failed reading of 60 tightens the interval from the last passed work.
#[test]
fn the_last_reading_decides_whether_a_clause_counts() {
    let story = measured(
        "1,FA,gauge,2026-01-10,passed,severity=59.9,\n2,FA,gauge,2026-02-10,failed,wear=1; severity = 60,\n\
         3,FA,gauge,2026-03-01,passed,wear=3,\n4,FA,gauge,2026-05-01,passed,severity=20,\n\
         5,FA,gauge,2026-05-02,passed,severity=99,yes\n",
    );
    let due = |day: Date| story.at("FA", day).calendar_due;
    assert_eq!(due(date(2026, 1, 9)), Some(date(2025, 1, 1)));
    assert_eq!(due(date(2026, 2, 9)), Some(date(2027, 1, 10)));
    assert_eq!(due(date(2026, 2, 10)), Some(date(2026, 4, 10)));
    // Work without the reading counts, and leaves the reading standing.
    assert_eq!(due(date(2026, 3, 1)), Some(date(2026, 6, 1)));
    assert_eq!(due(date(2026, 5, 1)), Some(date(2027, 5, 1)));
    assert_eq!(due(date(2026, 6, 1)), Some(date(2027, 5, 1)));
}

#[test]
fn of_readings_at_one_instant_one_that_meets_the_bound_is_enough() {
    let rows = |one: &str, other: &str| {
        measured(&format!(
            "1,FA,gauge,2026-07-01,passed,severity={one},\n2,FA,gauge,2026-07-01,done,severity={other},\n"
        ))
    };
    for (one, other) in [("75", "20"), ("20", "75"), ("60.000", "59.999999")] {
        assert_eq!(rows(one, other).at("FA", date(2026, 8, 1)).calendar_due, Some(date(2026, 10, 1)));
    }
    assert_eq!(rows("59", "20").at("FA", date(2026, 8, 1)).calendar_due, Some(date(2027, 7, 1)));
}

/// The rule's own work, and work that covers the other rule, carry no reading of the other rule.
#[test]
fn the_reading_is_that_of_the_rule_itself() {
    let watch = rule(
        "fall",
        "usage = [{ meter = \"launches\", every = 5, when = { of = \"gauge\", reading = \"wear\", at_most = 2.5 } }]\n\
         covers = [\"gauge\"]\nrecords = [{ name = \"wear\" }]",
    );
    let story = |work: &str| {
        story(&(gauge("calendar = { every = \"1 year\" }") + &watch))
            .items("FA,fall,north,2024-01-01\n")
            .with("fittings", "item,fitted_at,host,position\nFA,2026-01-01,CA,fall\n")
            .with("usage", "key,host,at,meter,count\n1,CA,2026-02-01,launches,7\n")
            .with("work", &format!("key,item,rule,done_at,outcome,measurements\n{work}"))
    };
    let row = |work: &str| story(work).row("FA", "fall-rule", date(2026, 3, 1));
    // Nothing read yet: as if the clause were not there.
    let unread = row("");
    assert_eq!((unread.used.len(), unread.usage_due, unread.standing_without_forecast), (0, None, "in date"));
    let met = row("1,FA,gauge,2026-01-15,failed,wear=2.5\n");
    assert_eq!(met.used, [("launches".to_owned(), "7".to_owned(), "5".to_owned())]);
    assert_eq!((met.usage_due, met.standing_without_forecast), (Some(date(2026, 2, 1)), "overdue"));
    assert!(row("1,FA,gauge,2026-01-15,failed,wear=2.500001\n").used.is_empty());
    // Done on the 15th, with a reading of its own that is not the gauge's.
    assert!(row("1,FA,fall-rule,2026-01-15,done,wear=1\n").used.is_empty());
    let both = "1,FA,gauge,2026-01-15,failed,wear=2\n2,FA,fall-rule,2026-01-20,done,wear=9\n";
    assert_eq!(row(both).used.len(), 1);
}

#[test]
fn a_clause_that_does_not_count_wants_no_base() {
    let item = |work: &str| measured(work).items("FA,fall,north,\n");
    let only =
        |story: Story| Story { rules: story.rules.replace("{ every = \"12 months\" }, ", ""), ..story };
    let quiet = only(item("1,FA,gauge,2026-01-10,failed,severity=59\n")).at("FA", date(2026, 2, 1));
    assert_eq!((quiet.no_base, quiet.standing_without_forecast), (false, "in date"));
    let loud = only(item("1,FA,gauge,2026-01-10,failed,severity=60\n")).at("FA", date(2026, 2, 1));
    assert_eq!((loud.no_base, loud.standing_without_forecast), (true, "overdue"));
}

#[test]
fn a_condition_names_a_reading_that_its_rule_records() {
    let on = |when: &str| {
        let clause = format!("calendar = {{ every = \"1 year\", when = {{ {when} }} }}");
        let rules = gauge("calendar = { every = \"1 year\" }") + &rule("fall", &clause);
        story(&rules).items("FA,fall,north,2024-01-01\n").try_at(date(2026, 1, 1))
    };
    assert!(on("of = \"gauge\", reading = \"wear\", at_least = 1").is_ok());
    assert!(on("of = \"gauge\", reading = \"sag\", at_least = 1").is_err());
    assert!(on("reading = \"wear\", at_least = 1").is_err());
    assert!(on("of = \"gone\", reading = \"wear\", at_least = 1").is_err());
    assert!(on("of = \"gauge\", reading = \"wear\"").is_err());
    assert!(on("of = \"gauge\", reading = \"wear\", at_least = 1, at_most = 2").is_err());
}
