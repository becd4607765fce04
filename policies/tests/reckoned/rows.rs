//! Rows of the due table: which date comes first, and how it stands.

use std::collections::BTreeSet;

use jiff::civil::date;
use policies::due::{Because, Evaluator};
use policies::facts::{Fleet, Outcome, State};
use policies::load::PolicySet;
use policies::standing::Standing;

use crate::gear::{fall, fit, fleet, id, launches, meter, on, row, rule, set, when, whole};

/// A rule that waits for a calendar date, launches and a shock at once.
fn every_clause() -> PolicySet {
    set(&rule(
        "all",
        "calendar = { every = \"6 months\" }\nusage = { meter = \"launches\", every = 10, early = 2, late = 3 }\n\
         after = { event = \"fitted\", within = \"30 days\" }\nwindow = { early = \"7 days\", late = \"5 days\" }\n\
         notice = { lead = \"14 days\" }",
    ))
}

/// Done on 1 March (so calendar 1 September), fitted on `fitted`, ten launches by `tenth`.
fn moved(set: &PolicySet, fitted: &str, tenth: &str) -> Fleet {
    fleet(set, |b| {
        b.work("F-1", "all", when("2026-03-01"), Outcome::Passed);
        fit(b, "F-1", "C-1", fitted, None);
        launches(b, "C-1", &[(tenth, 10)]);
    })
}

#[test]
fn the_earliest_date_gives_the_row() {
    let set = every_clause();
    let at_dawn = |day: &str| format!("{day}T06:00:00");
    for (fitted, tenth, due, because) in [
        ("2026-06-01", "2026-08-01", date(2026, 7, 1), Because::After),
        ("2026-06-01", "2026-06-20", date(2026, 6, 20), Because::Usage),
        ("2026-08-20", "2026-09-10", date(2026, 9, 1), Because::Calendar),
        // On a tie calendar before usage before after.
        ("2026-08-02", "2026-09-01", date(2026, 9, 1), Because::Calendar),
        ("2026-06-01", "2026-07-01", date(2026, 7, 1), Because::Usage),
    ] {
        let row = row(&set, &moved(&set, fitted, &at_dawn(tenth)), "F-1", "all", "2026-12-31");
        assert_eq!((row.due_on, row.because), (Some(due), Some(because)), "{fitted} {tenth}");
    }
    let row = row(&set, &moved(&set, "2026-06-01", "2026-08-01T06:00:00"), "F-1", "all", "2026-12-31");
    assert_eq!(row.calendar_due, Some(date(2026, 9, 1)));
    assert_eq!(row.usage_due, Some(date(2026, 8, 1)));
    assert_eq!(row.after_due, Some(date(2026, 7, 1)));
    assert_eq!((row.meter, row.used, row.limit), (Some(meter(&set, "launches")), whole(10), whole(10)));
    assert!(!row.held, "thirty days are allowed");
}

/// Of all its clauses the worst stands: 1 September less 14 days is 18 August; 5 days late at most.
#[test]
fn a_row_stands_as_its_worst_clause_does() {
    let set = every_clause();
    let fleet = |count: i64| {
        fleet(&set, |b| {
            fit(b, "F-1", "C-1", "2026-02-01", None);
            b.work("F-1", "all", when("2026-03-01"), Outcome::Passed);
            launches(b, "C-1", &[("2026-03-02T10:00:00", count)]);
        })
    };
    for (count, as_of, standing) in [
        (7, "2026-08-17", Standing::InDate),
        (7, "2026-08-18", Standing::FallingDue),
        (8, "2026-08-17", Standing::FallingDue),
        (10, "2026-08-17", Standing::Due),
        (7, "2026-09-01", Standing::Due),
        (11, "2026-08-17", Standing::InTolerance),
        (7, "2026-09-06", Standing::InTolerance),
        (14, "2026-08-17", Standing::Overdue),
        (7, "2026-09-07", Standing::Overdue),
    ] {
        let row = row(&set, &fleet(count), "F-1", "all", as_of);
        assert_eq!(row.standing, standing, "{count} by {as_of}");
        assert_eq!(row.used_up, count >= 13, "{count}");
        assert_eq!(Evaluator::bites(&row), standing == Standing::Overdue);
    }
    let last = row(&set, &fleet(13), "F-1", "all", "2026-08-17");
    assert_eq!((last.standing, last.used_up), (Standing::InTolerance, true));
    assert!(Evaluator::bites(&last), "nothing is left");
}

#[test]
fn an_event_with_nothing_allowed_holds() {
    let set = set(&rule(
        "hold",
        "after = { event = \"fitted\", within = \"0 days\" }\nwindow = { late = \"9 days\" }",
    ));
    let fleet = fleet(&set, |b| fit(b, "F-1", "C-1", "2026-03-01", None));
    let row = row(&set, &fleet, "F-1", "hold", "2026-03-02");
    assert_eq!((row.standing, row.held, row.used_up), (Standing::InTolerance, true, false));
    assert!(Evaluator::bites(&row));
}

/// Of several events the earliest is the date.
#[test]
fn the_earliest_event_counts() {
    let clauses = "after = [{ event = \"removed\", within = \"5 days\" }, { event = \"fitted\", within = \"90 days\" }]";
    let set = set(&rule("two", clauses));
    let due = |removed: &str| {
        let fleet = fleet(&set, |b| fit(b, "F-1", "C-1", "2026-03-01", Some(removed)));
        row(&set, &fleet, "F-1", "two", "2026-12-31").after_due
    };
    assert_eq!(due("2026-05-24"), Some(date(2026, 5, 29)));
    assert_eq!(due("2026-05-26"), Some(date(2026, 5, 30)), "90 days after 1 March");
}

/// No day to count from: overdue, whatever else is known, and no calendar date.
#[test]
fn without_a_base_a_row_is_overdue() {
    let clauses = "calendar = [{ every = \"1 year\" }, { on = \"2027-01-31\" }]\n\
                   usage = { meter = \"launches\", every = 10 }";
    let set = set(&rule("base", clauses));
    let known = fleet(&set, |b| fall(b, "F-10", Some("2026-01-05"), None, 0));
    let row_of = |fleet: &Fleet, tag: &str| row(&set, fleet, tag, "base", "2026-02-01");
    let unknown = row_of(&known, "F-1");
    assert_eq!((unknown.standing, unknown.because), (Standing::Overdue, Some(Because::NoBase)));
    assert_eq!((unknown.due_on, unknown.calendar_due), (None, None));
    assert!(Evaluator::bites(&unknown));
    let based = row_of(&known, "F-10");
    assert_eq!((based.standing, based.calendar_due), (Standing::InDate, Some(date(2027, 1, 5))));
    assert!(!Evaluator::bites(&based));
}

/// Work counts strictly before the end of the as-of date, and only where it did not fail.
#[test]
fn only_sound_work_up_to_the_evening_counts() {
    let set = set(&format!(
        "{}{}{}",
        rule("own", "calendar = { every = \"1 month\" }"),
        rule("wide", "calendar = { every = \"1 year\" }\ncovers = [\"own\"]"),
        rule("other", "calendar = { every = \"1 year\" }")
    ));
    let fleet = fleet(&set, |b| {
        fall(b, "F-10", Some("2026-01-01"), None, 0);
        b.work("F-10", "own", when("2026-02-10"), Outcome::Passed);
        b.work("F-10", "own", when("2026-02-20"), Outcome::Failed);
        b.work("F-10", "wide", when("2026-03-05"), Outcome::Done);
        b.work("F-10", "other", when("2026-03-07"), Outcome::Done);
        b.work("F-10", "own", when("2026-03-09T00:00:00"), Outcome::Done);
    });
    for (as_of, due) in [
        ("2026-02-09", date(2026, 2, 1)),
        ("2026-02-10", date(2026, 3, 10)),
        ("2026-03-04", date(2026, 3, 10)),
        ("2026-03-08", date(2026, 4, 5)),
        ("2026-03-09", date(2026, 4, 9)),
    ] {
        assert_eq!(row(&set, &fleet, "F-10", "own", as_of).due_on, Some(due), "{as_of}");
    }
}

/// Withdrawn from the start of its day on: an item has no rows.
#[test]
fn a_withdrawn_item_has_no_rows() {
    let set = every_clause();
    let fleet = fleet(&set, |b| {
        b.state("F-1", when("2026-03-01T00:00:00"), State::Withdrawn);
        b.state("F-2", when("2026-01-01"), State::Quarantined);
    });
    let count = |as_of: &str| {
        let evaluator = Evaluator::without_forecasts(&set, &fleet, on(as_of));
        let (mut rows, mut counting) = (Vec::new(), Vec::new());
        let meters = BTreeSet::from([meter(&set, "launches")]);
        evaluator.rows_of(id(&fleet, "F-1"), &mut rows);
        evaluator.rows_counting(id(&fleet, "F-1"), &meters, &mut counting);
        (rows.len(), counting.len(), evaluator.table().len())
    };
    assert_eq!(count("2026-02-28"), (1, 1, 3), "three falls");
    assert_eq!(count("2026-03-01"), (0, 0, 2));
}

/// A table holds every row of every item, item by item, and no row of a rule that is for use alone.
#[test]
fn a_table_has_a_row_for_each_item_and_rule() {
    let set = set(&format!(
        "{}{}",
        rule("day", "calendar = { every = \"1 month\" }"),
        "[[rule]]\nid = \"use\"\ntitle = \"t\"\napplies_to = { kind = \"fall\" }\nwork = \"check\"\nbefore_use = true\n\
         overdue = \"advisory\"\nauthority = \"house\"\n"
    ));
    let fleet = fleet(&set, |_| {});
    let rows = Evaluator::without_forecasts(&set, &fleet, on("2026-03-01")).table();
    let found: Vec<(&str, &str)> =
        rows.iter().map(|row| (&*fleet.item(row.item).tag, set.rule(row.rule).id.as_str())).collect();
    assert_eq!(found, [("F-1", "day"), ("F-2", "day"), ("F-3", "day")]);
}

/// Use of a meter moves the rows that count it or wait for it or for so much of it since an event, and no others.
#[test]
fn use_moves_the_rows_that_count_it() {
    let set = set(&format!(
        "{}{}{}{}{}",
        rule("counts", "usage = { meter = \"launches\", every = 10 }"),
        rule("waits", "after = { event = \"launches\", within = \"1 day\" }"),
        rule(
            "run-in",
            "after = { event = \"pulls\", within = \"1 day\", once_used = { meter = \"launches\", count = 3 } }"
        ),
        rule(
            "others",
            "usage = { meter = \"pulls\", every = 10 }\nafter = { event = \"pulls\", within = \"1 day\" }"
        ),
        rule("stored", "applies_to.in_store = true\nusage = { meter = \"launches\", every = 10 }").replacen(
            "applies_to = { kind = \"fall\" }\n",
            "applies_to.kind = \"fall\"\n",
            1
        ),
    ));
    let fleet = fleet(&set, |b| fit(b, "F-1", "W-1", "2026-01-01", None));
    let moved = |tag: &str, name: &str| {
        let mut rows = Vec::new();
        let meters = BTreeSet::from([meter(&set, name)]);
        let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-03-01"));
        evaluator.rows_counting(id(&fleet, tag), &meters, &mut rows);
        rows.iter().map(|row| set.rule(row.rule).id.clone()).collect::<Vec<_>>()
    };
    assert_eq!(moved("F-1", "launches"), ["counts", "waits", "run-in"]);
    assert_eq!(moved("F-2", "launches"), ["counts", "waits", "run-in", "stored"]);
    assert_eq!(moved("F-1", "pulls"), ["run-in", "others"]);
}

/// Law caps a fixed grid, house rules keep it: done on 9 April in a window of 30 days (domain brief 4.4 A).
#[test]
fn the_law_alone_caps_a_grid() {
    let clause = "calendar = { every = \"6 months\", grid = \"fixed\", anchor = \"2025-10-31\" }\n\
                  window = { early = \"30 days\" }";
    let law = rule("grid", &format!("{clause}\nsource = \"an act\"")).replace("\"house\"", "\"law\"");
    for (text, due) in [(law, date(2026, 10, 9)), (rule("grid", clause), date(2026, 10, 31))] {
        let set = set(&text);
        let fleet = fleet(&set, |b| b.work("F-1", "grid", when("2026-04-09"), Outcome::Passed));
        assert_eq!(row(&set, &fleet, "F-1", "grid", "2026-05-01").due_on, Some(due));
    }
}

/// Of several calendar clauses the earliest date.
#[test]
fn the_earliest_calendar_clause_counts() {
    let set = set(&rule(
        "two",
        "calendar = [{ every = \"1 year\" }, { on = \"2026-06-30\" }, { every = \"2 years\" }]",
    ));
    let fleet = fleet(&set, |b| fall(b, "F-10", Some("2026-01-05"), None, 0));
    let row = row(&set, &fleet, "F-10", "two", "2026-02-01");
    assert_eq!((row.due_on, row.because), (Some(date(2026, 6, 30)), Some(Because::Calendar)));
}

/// Store time is added where the rule lets it pause: in store from 11 to 20 March, ten days.
#[test]
fn store_time_pauses_an_interval_that_lets_it() {
    let due = |store: &str| {
        let set = set(&rule("pause", &format!("calendar = {{ every = \"1 month\", store = \"{store}\" }}")));
        let fleet = fleet(&set, |b| {
            b.work("F-1", "pause", when("2026-03-01"), Outcome::Passed);
            fit(b, "F-1", "C-1", "2026-03-01", Some("2026-03-10"));
            fit(b, "F-1", "C-1", "2026-03-21", None);
        });
        row(&set, &fleet, "F-1", "pause", "2026-03-25").due_on
    };
    assert_eq!(due("runs"), Some(date(2026, 4, 1)));
    assert_eq!(due("pauses"), Some(date(2026, 4, 11)));
}
