//! Clauses beyond intervals and limits, reckoned by hand: conditions, days of the year, single dates, happenings,
//! fellows, gear in store and laid up.
#![allow(clippy::unwrap_used)]

use jiff::civil::{Date, date};
use policies::amount::Amount;
use policies::due::{Because, DueRow, Evaluator};
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome, State};
use policies::load::{PolicyFile, PolicySet, load};
use policies::rule::Value;
use policies::standing::Standing;
use policies::zone::{When, Zone};

const KINDS: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches"]
positions = [{ name = "fall", takes = "fall", count = 2 }]
[[kind]]
name = "fall"
attributes = [{ name = "drum" }, { name = "length", unit = "m", min = 1, max = 100 }]
"#;

/// A set with one rule, and one that records severity and water.
fn set(clauses: &str) -> PolicySet {
    let rules = format!(
        "[[rule]]\nid = \"measure\"\ntitle = \"m\"\napplies_to = {{ kind = \"fall\" }}\nwork = \"measurement\"\n\
         calendar = {{ every = \"10 years\" }}\noverdue = \"advisory\"\nauthority = \"house\"\n\
         records = [{{ name = \"severity\", unit = \"%\" }}, {{ name = \"water\", unit = \"%\" }}]\n\
         [[rule]]\nid = \"asked\"\ntitle = \"a\"\nwork = \"check\"\noverdue = \"stops launch\"\nauthority = \"house\"\n{clauses}\n"
    );
    let files = [("kinds.toml", KINDS.to_owned()), ("rules.toml", rules)];
    let files = files.map(|(name, text)| PolicyFile { name: name.to_owned(), text });
    load(&files).unwrap()
}

fn faults(clauses: &str) -> Vec<String> {
    let rules = format!(
        "[[rule]]\nid = \"measure\"\ntitle = \"m\"\napplies_to = {{ kind = \"fall\" }}\nwork = \"measurement\"\n\
         calendar = {{ every = \"1 year\" }}\noverdue = \"advisory\"\nauthority = \"house\"\n\
         records = [{{ name = \"severity\" }}]\n\
         [[rule]]\nid = \"asked\"\ntitle = \"a\"\nwork = \"check\"\noverdue = \"advisory\"\nauthority = \"house\"\n{clauses}\n"
    );
    let files = [("kinds.toml", KINDS.to_owned()), ("rules.toml", rules)];
    let files = files.map(|(name, text)| PolicyFile { name: name.to_owned(), text });
    load(&files).err().unwrap_or_default().iter().map(|fault| fault.message.clone()).collect()
}

fn day(text: &str) -> When {
    When::Day(text.parse().unwrap())
}

/// Falls F-1 and F-2 and carriages C-1 and C-2, all made on 1 Jan 2025, F-1 of drum D-1 and 34.00 m, F-2 of drum D-1 and 34.04 m.
fn fleet(set: &PolicySet, add: impl FnOnce(&mut FleetBuilder)) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    builder.station("quay", "Quay", Zone::utc(), false);
    let made = Some(date(2025, 1, 1));
    for tag in ["C-1", "C-2"] {
        let record = ItemRecord {
            tag,
            kind: "carriage",
            station: Some("quay"),
            manufactured_on: made,
            ..ItemRecord::default()
        };
        assert!(builder.item(&record));
    }
    for (tag, length) in [("F-1", "34"), ("F-2", "34.04")] {
        let length = Value::Number(length.parse().unwrap());
        let attributes = vec![("drum", Value::Text("D-1".to_owned())), ("length_m", length)];
        let record = ItemRecord {
            tag,
            kind: "fall",
            station: Some("quay"),
            manufactured_on: made,
            attributes,
            ..ItemRecord::default()
        };
        assert!(builder.item(&record));
    }
    add(&mut builder);
    builder.finish().0
}

fn row(set: &PolicySet, fleet: &Fleet, as_of: &str) -> Option<DueRow> {
    let mut rows = Vec::new();
    let as_of: Date = as_of.parse().unwrap();
    Evaluator::without_forecasts(set, fleet, as_of).rows_of(fleet.find("F-1").unwrap(), &mut rows);
    let rule = set.find_rule("asked").unwrap();
    rows.into_iter().find(|row| row.rule == rule)
}

fn due(set: &PolicySet, fleet: &Fleet, as_of: &str) -> Option<Date> {
    row(set, fleet, as_of).unwrap().due_on
}

const FALL: &str = "applies_to = { kind = \"fall\" }\n";

/// Pre-winter check by 31 October, open from 1 October (R69): early work does not move it, late work does not count twice.
#[test]
fn a_latest_day_of_every_year_is_met_by_work_in_its_window_only() {
    let set = set(&format!("{FALL}calendar = {{ by = \"10-31\" }}\nwindow = {{ early = \"30 days\" }}"));
    let never = fleet(&set, |_| {});
    assert_eq!(due(&set, &never, "2026-02-01"), Some(date(2025, 10, 31)));
    assert_eq!(row(&set, &never, "2025-11-01").unwrap().standing, Standing::Overdue);
    for (done, next) in [
        ("2025-09-30", date(2025, 10, 31)),
        ("2025-10-01", date(2026, 10, 31)),
        ("2025-12-24", date(2026, 10, 31)),
        ("2026-09-30", date(2026, 10, 31)),
        ("2026-10-01", date(2027, 10, 31)),
    ] {
        let fleet = fleet(&set, |b| b.work("F-1", "asked", day(done), Outcome::Passed));
        assert_eq!(due(&set, &fleet, "2026-11-01"), Some(next), "done {done}");
    }
}

#[test]
fn a_single_date_is_met_once_for_all() {
    let set =
        set(&format!("{FALL}calendar = {{ on = \"2027-03-31\" }}\nwindow = {{ early = \"2 months\" }}"));
    for (done, left) in [("2027-01-30", true), ("2027-01-31", false), ("2028-01-01", false)] {
        let fleet = fleet(&set, |b| b.work("F-1", "asked", day(done), Outcome::Done));
        let row = row(&set, &fleet, "2029-01-01").unwrap();
        assert_eq!(row.due_on, left.then(|| date(2027, 3, 31)), "done {done}");
        assert_eq!(row.standing, if left { Standing::Overdue } else { Standing::InDate });
    }
}

/// R70: a severity of 60 % shortens the interval; the last reading decides, whatever came of the work.
#[test]
fn a_reading_shortens_an_interval_while_it_is_the_last() {
    let set = set(&format!(
        "{FALL}calendar = [{{ every = \"1 month\" }}, {{ every = \"2 weeks\", when = {{ of = \"measure\", reading = \"severity\", at_least = 60 }} }}]"
    ));
    let measured = |readings: &[(&str, &str)]| {
        fleet(&set, |b| {
            b.work("F-1", "asked", day("2026-03-01"), Outcome::Passed);
            for (on, value) in readings {
                b.work("F-1", "measure", day(on), Outcome::Failed);
                b.reading("F-1", "measure", day(on), "severity", value.parse::<Amount>().unwrap());
            }
        })
    };
    let due = |readings: &[(&str, &str)]| due(&set, &measured(readings), "2026-03-10");
    assert_eq!(due(&[]), Some(date(2026, 4, 1)));
    assert_eq!(due(&[("2026-02-01", "59.999")]), Some(date(2026, 4, 1)));
    assert_eq!(due(&[("2026-02-01", "60")]), Some(date(2026, 3, 15)));
    assert_eq!(due(&[("2026-02-01", "75"), ("2026-02-20", "40")]), Some(date(2026, 4, 1)));
    assert_eq!(
        due(&[("2026-02-01", "40"), ("2026-02-01", "75")]),
        Some(date(2026, 3, 15)),
        "either at one moment"
    );
    assert_eq!(due(&[("2026-03-10", "80")]), Some(date(2026, 3, 15)), "taken on the day itself");
    assert_eq!(due(&[("2026-03-11", "80")]), Some(date(2026, 4, 1)), "not yet taken");
}

/// R70: from 80 % renewal is planned within 30 days, from the first such reading.
#[test]
fn a_reading_opens_work() {
    let set = set(&format!(
        "{FALL}after = {{ event = \"reading\", when = {{ of = \"measure\", reading = \"severity\", at_least = 80 }}, within = \"30 days\" }}"
    ));
    let fleet = fleet(&set, |b| {
        for (on, value) in [("2026-03-01", "79"), ("2026-03-05", "80"), ("2026-03-09", "90")] {
            b.reading("F-1", "measure", day(on), "severity", value.parse::<Amount>().unwrap());
            b.reading("F-1", "measure", day(on), "water", Amount::whole(99));
        }
    });
    let row = row(&set, &fleet, "2026-03-10").unwrap();
    assert_eq!((row.due_on, row.because), (Some(date(2026, 4, 4)), Some(Because::After)));
    assert_eq!(due(&set, &fleet, "2026-03-04"), None);
}

/// R64: a resample after ten hours of running while the last sample showed water.
#[test]
fn a_use_limit_counts_while_a_reading_calls_for_it() {
    let set = set(&format!(
        "{FALL}usage = {{ meter = \"launches\", every = 10, when = {{ of = \"measure\", reading = \"water\", at_most = 0.2 }} }}"
    ));
    for (water, counts) in [("0.2", true), ("0.200001", false)] {
        let fleet = fleet(&set, |b| {
            b.fitting("F-1", "C-1", "fall", day("2026-01-01"), None);
            b.reading("F-1", "measure", day("2026-02-01"), "water", water.parse().unwrap());
        });
        let row = row(&set, &fleet, "2026-03-01").unwrap();
        assert_eq!(row.meter.is_some(), counts, "{water}");
    }
}

/// R66: issued after a night in store or for the first time; enough if examined within six months before.
#[test]
fn an_issue_from_stores_asks_for_work_unless_it_was_done_lately() {
    let issued = set(&format!("{FALL}after = {{ event = \"issued from stores\", within = \"0 days\" }}"));
    let case = |removed: When, again: When| {
        let fleet = fleet(&issued, |b| {
            b.fitting("F-1", "C-1", "fall", day("2026-01-05"), Some(removed));
            b.work("F-1", "asked", day("2026-01-06"), Outcome::Passed);
            b.fitting("F-1", "C-2", "fall", again, None);
        });
        due(&issued, &fleet, "2026-12-31")
    };
    let at = |text: &str| When::At(Zone::utc().instant(text.parse().unwrap()));
    assert_eq!(case(day("2026-02-01"), day("2026-02-03")), Some(date(2026, 2, 3)));
    assert_eq!(case(day("2026-02-01"), day("2026-02-02")), None, "the next midnight is a swap");
    assert_eq!(case(at("2026-02-01T10:00:00"), at("2026-02-01T16:00:00")), None, "a refit of the same day");
    assert_eq!(case(at("2026-02-01T10:00:00"), at("2026-02-02T00:00:00")), Some(date(2026, 2, 2)));
    let first = fleet(&issued, |b| b.fitting("F-1", "C-1", "fall", day("2026-01-05"), None));
    assert_eq!(due(&issued, &first, "2026-12-31"), Some(date(2026, 1, 5)));

    let waived = set(&format!(
        "{FALL}after = {{ event = \"issued from stores\", within = \"0 days\", unless_done_within = \"6 months\" }}"
    ));
    for (done, fitted, expected) in [
        (Some("2026-01-10"), "2026-07-10", None),
        (Some("2026-01-10"), "2026-07-11", Some(date(2026, 7, 11))),
        // Never done: reckoned from manufacture on 1 Jan 2025.
        (None, "2025-07-01", None),
        (None, "2025-07-02", Some(date(2025, 7, 2))),
    ] {
        let fleet = fleet(&waived, |b| {
            b.fitting("F-1", "C-1", "fall", day(fitted), None);
            if let Some(done) = done {
                b.work("F-1", "asked", day(done), Outcome::Passed);
            }
        });
        assert_eq!(due(&waived, &fleet, "2026-12-31"), expected, "done {done:?}, fitted {fitted}");
    }
}

/// Use on a waived day opens nothing; the first use after it does.
#[test]
fn waived_use_opens_nothing() {
    let set = set(&format!(
        "{FALL}after = {{ event = \"launches\", within = \"0 days\", unless_done_within = \"7 days\" }}"
    ));
    let fleet = fleet(&set, |b| {
        b.fitting("F-1", "C-1", "fall", day("2026-01-01"), None);
        b.work("F-1", "asked", day("2026-02-01"), Outcome::Passed);
        for on in ["2026-02-03", "2026-02-08", "2026-02-09"] {
            b.used("C-1", "launches", day(on), policies::facts::Quantity::Count(Amount::whole(1)));
        }
    });
    assert_eq!(due(&set, &fleet, "2026-02-08"), None);
    assert_eq!(due(&set, &fleet, "2026-02-09"), Some(date(2026, 2, 9)));
}

#[test]
fn a_fellow_fitted_or_removed_opens_work_while_both_sit_on_one_host() {
    let clause = |event: &str| set(&format!("{FALL}after = {{ event = \"{event}\", within = \"0 days\" }}"));
    let (fitted, removed) = (clause("fellow fitted"), clause("fellow removed"));
    let fleet_of = |set: &PolicySet| {
        fleet(set, |b| {
            b.fitting("F-1", "C-1", "fall", day("2026-02-01"), Some(day("2026-04-30")));
            b.fitting("F-2", "C-1", "fall", day("2026-01-01"), Some(day("2026-03-01")));
            b.fitting("F-2", "C-1", "fall", day("2026-03-10"), Some(day("2026-05-10")));
            b.fitting("F-2", "C-2", "fall", day("2026-06-01"), None);
        })
    };
    // Fitted on 1 Jan it was before F-1 came; on 10 Mar F-1 was there.
    assert_eq!(due(&fitted, &fleet_of(&fitted), "2026-12-31"), Some(date(2026, 3, 10)));
    // Known to the day, the removal is that day's; on 10 May F-1 had gone.
    assert_eq!(due(&removed, &fleet_of(&removed), "2026-12-31"), Some(date(2026, 3, 1)));
    let done = fleet(&removed, |b| {
        b.fitting("F-1", "C-1", "fall", day("2026-02-01"), Some(day("2026-04-30")));
        b.fitting("F-2", "C-1", "fall", day("2026-03-10"), Some(day("2026-05-10")));
    });
    assert_eq!(due(&removed, &done, "2026-12-31"), None);
}

/// R09, R23: one drum, lengths within 50 mm; work does not clear it.
#[test]
fn fellows_must_be_alike() {
    let drum = set(&format!("{FALL}alike = {{ attribute = \"drum\" }}"));
    let tight = set(&format!("{FALL}alike = {{ attribute = \"length_m\", within = 0.039 }}"));
    let loose = set(&format!(
        "{FALL}alike = [{{ attribute = \"drum\" }}, {{ attribute = \"length\", within = 0.04 }}]"
    ));
    let fleet_of = |set: &PolicySet| {
        fleet(set, |b| {
            b.fitting("F-1", "C-1", "fall", day("2026-02-01"), None);
            b.fitting("F-2", "C-1", "fall", day("2026-03-01"), Some(day("2026-05-31")));
            b.fitting("F-2", "C-2", "fall", day("2026-06-01"), None);
            b.work("F-1", "asked", day("2026-03-02"), Outcome::Passed);
        })
    };
    assert_eq!(due(&drum, &fleet_of(&drum), "2026-03-05"), None);
    assert_eq!(due(&loose, &fleet_of(&loose), "2026-03-05"), None);
    let fleet = fleet_of(&tight);
    let row = row(&tight, &fleet, "2026-03-05").unwrap();
    assert_eq!((row.due_on, row.because, row.held), (Some(date(2026, 3, 1)), Some(Because::After), true));
    assert_eq!(row.standing, Standing::Overdue);
    assert_eq!(due(&tight, &fleet, "2026-02-28"), None, "alone on its host");
    assert_eq!(due(&tight, &fleet, "2026-06-01"), None, "on another host");
}

#[test]
fn a_withdrawn_fellow_and_a_missing_value_are_not_compared() {
    let set = set(&format!("{FALL}alike = [{{ attribute = \"drum\" }}, {{ attribute = \"length\" }}]"));
    let odd = |state: Option<State>, drum: Option<&str>| {
        let fleet = fleet(&set, |b| {
            let attributes = drum.map(|drum| ("drum", Value::Text(drum.to_owned()))).into_iter().collect();
            let record = ItemRecord {
                tag: "F-3",
                kind: "fall",
                station: Some("quay"),
                attributes,
                ..ItemRecord::default()
            };
            assert!(b.item(&record));
            b.fitting("F-1", "C-1", "fall", day("2026-02-01"), None);
            b.fitting("F-3", "C-1", "fall", day("2026-02-01"), None);
            if let Some(state) = state {
                b.state("F-3", day("2026-02-02"), state);
            }
        });
        due(&set, &fleet, "2026-03-05").is_some()
    };
    assert!(odd(None, Some("D-9")));
    assert!(odd(Some(State::Quarantined), Some("D-9")), "set aside, but still fitted");
    assert!(!odd(Some(State::Withdrawn), Some("D-9")));
    assert!(!odd(None, Some("D-1")), "its length is not known");
    assert!(!odd(None, None));
}

#[test]
fn gear_in_store_and_laid_up_has_rules_of_its_own() {
    let clause = "calendar = { every = \"3 months\" }";
    let in_store = set(&format!("applies_to = {{ kind = \"fall\", in_store = true }}\n{clause}"));
    let fitted = set(&format!("applies_to = {{ kind = \"fall\", in_store = false }}\n{clause}"));
    let put = |set: &PolicySet| {
        fleet(set, |b| b.fitting("F-1", "C-1", "fall", day("2026-02-01"), Some(day("2026-02-10"))))
    };
    for (on, stored) in
        [("2026-01-31", true), ("2026-02-01", false), ("2026-02-10", false), ("2026-02-11", true)]
    {
        assert_eq!(row(&in_store, &put(&in_store), on).is_some(), stored, "{on}");
        assert_eq!(row(&fitted, &put(&fitted), on).is_some(), !stored, "{on}");
    }
    let laid_up = set(&format!("applies_to = {{ kind = \"fall\", laid_up = true }}\n{clause}"));
    let states = |set: &PolicySet| {
        fleet(set, |b| {
            b.state("F-1", day("2026-02-01"), State::LaidUp);
            b.state("F-1", day("2026-03-01"), State::Returned);
            b.state("F-1", day("2026-04-01"), State::Returned);
            b.state("F-1", day("2026-04-01"), State::LaidUp);
        })
    };
    let found: Vec<bool> = ["2026-01-31", "2026-02-01", "2026-03-01", "2026-04-01"]
        .map(|on| row(&laid_up, &states(&laid_up), on).is_some())
        .to_vec();
    assert_eq!(found, [false, true, false, true]);
    let back = set(&format!("{FALL}after = {{ event = \"returned from lay-up\", within = \"0 days\" }}"));
    assert_eq!(due(&back, &states(&back), "2026-12-31"), Some(date(2026, 3, 1)));
}

/// A quarantine outlasts lay-up and return: only a release or sound work ends it.
#[test]
fn lay_up_does_not_lift_a_quarantine() {
    let set = set(&format!("{FALL}calendar = {{ every = \"1 year\" }}"));
    let fleet = fleet(&set, |b| {
        b.state("F-1", day("2026-02-01"), State::Quarantined);
        b.state("F-1", day("2026-02-02"), State::LaidUp);
        b.state("F-1", day("2026-02-03"), State::Returned);
    });
    let evaluator = Evaluator::without_forecasts(&set, &fleet, date(2026, 2, 4));
    assert!(evaluator.shut(fleet.find("F-1").unwrap()).is_some());
}

#[test]
fn faults_say_what_would_be_right() {
    let cases = [
        ("calendar = { by = \"02-29\" }", "is no day of every year"),
        ("calendar = { by = \"10-31\", every = \"1 year\" }", "has no meaning beside"),
        ("calendar = { on = \"2027-03-31\", grid = \"fixed\" }", "has no meaning beside"),
        ("calendar = { every = \"1 year\", when = { reading = \"severity\", at_least = 6 } }", "records no"),
        (
            "calendar = { every = \"1 year\", when = { of = \"measure\", reading = \"sag\", at_least = 6 } }",
            "records no",
        ),
        (
            "calendar = { every = \"1 year\", when = { of = \"nobody\", reading = \"sag\", at_least = 6 } }",
            "no rule is called",
        ),
        (
            "calendar = { every = \"1 year\", when = { of = \"measure\", reading = \"severity\" } }",
            "has one bound",
        ),
        (
            "calendar = { every = \"1 year\", when = { of = \"measure\", reading = \"severity\", at_least = 1, at_most = 2 } }",
            "has one bound",
        ),
        ("after = { event = \"reading\", within = \"1 day\" }", "\"when\" is missing"),
        (
            "after = { event = \"reading\", within = \"1 day\", when = { reading = \"severity\", at_least = 1 } }\nrecords = [{ name = \"severity\" }]",
            "its own reading opens nothing",
        ),
        (
            "after = { event = \"fitted\", within = \"1 day\", when = { of = \"measure\", reading = \"severity\", at_least = 1 } }",
            "only the event",
        ),
        ("alike = { attribute = \"colour\" }", "has no attribute"),
        ("alike = { attribute = \"drum\", within = 1 }", "is a word"),
    ];
    for (clauses, message) in cases {
        let found = faults(&format!("{FALL}{clauses}"));
        assert!(found.iter().any(|fault| fault.contains(message)), "{clauses}: {found:?}");
    }
    let kinds = faults(
        "applies_to = { kind = \"carriage\" }\nafter = { event = \"reading\", within = \"1 day\", when = { of = \"measure\", reading = \"severity\", at_least = 1 } }",
    );
    assert!(kinds.iter().any(|fault| fault.contains("for another kind")), "{kinds:?}");
}

/// R64: after the find, a resample once ten uses were made since then, on the day of the tenth.
#[test]
fn an_event_opens_work_once_so_much_was_used_since() {
    let set = set(&format!(
        "{FALL}after = {{ event = \"fitted\", within = \"2 days\", once_used = {{ meter = \"launches\", count = 3 }} }}"
    ));
    let fleet = fleet(&set, |b| {
        b.fitting("F-1", "C-1", "fall", day("2026-02-01"), None);
        for on in ["2026-01-31", "2026-02-03", "2026-02-05", "2026-02-08"] {
            b.used("C-1", "launches", day(on), policies::facts::Quantity::Count(Amount::whole(1)));
        }
    });
    assert_eq!(due(&set, &fleet, "2026-02-07"), None);
    assert_eq!(due(&set, &fleet, "2026-02-08"), Some(date(2026, 2, 10)));
}

/// Days in store after the base, up to the as-of date, are added: 6, 7 and 8 February. A stay of no length is none.
#[test]
fn days_in_store_are_added_where_the_clock_pauses() {
    let set = set(&format!("{FALL}calendar = {{ every = \"10 days\", store = \"pauses\" }}"));
    let noon = When::At(Zone::utc().instant("2026-02-07T12:00:00".parse().unwrap()));
    let fleet = fleet(&set, |b| {
        b.work("F-1", "asked", day("2026-02-01"), Outcome::Done);
        b.fitting("F-1", "C-1", "fall", day("2026-01-01"), Some(day("2026-02-05")));
        b.fitting("F-1", "C-2", "fall", noon, Some(noon));
        b.fitting("F-1", "C-1", "fall", day("2026-02-09"), None);
    });
    assert_eq!(due(&set, &fleet, "2026-02-05"), Some(date(2026, 2, 11)));
    assert_eq!(due(&set, &fleet, "2026-02-07"), Some(date(2026, 2, 13)));
    assert_eq!(due(&set, &fleet, "2026-02-10"), Some(date(2026, 2, 14)));
}
