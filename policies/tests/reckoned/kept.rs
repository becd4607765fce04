//! Earlier dates that a correction leaves standing until an engineer acknowledges the later ones.

use jiff::civil::date;
use policies::amount::Amount;
use policies::due::{Because, Evaluator};
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome, State};
use policies::kept::{Kept, moved_later};
use policies::load::PolicySet;
use policies::readiness::{Papers, Reason};
use policies::rule::Value;
use policies::standing::Standing;

use crate::gear::{at, fall, fit, fleet, id, launches, meter, on, rule, set, set_of, when, whole};

/// One rule of each clause that stops a launch, and one that is advisory.
fn rules() -> PolicySet {
    set(&format!(
        "{}{}{}{}",
        rule("by-date", "calendar = { every = \"6 months\" }"),
        rule("by-use", "usage = { meter = \"launches\", every = 10 }"),
        rule("by-event", "after = { event = \"removed\", within = \"0 days\" }"),
        rule("advice", "calendar = { every = \"6 months\" }").replace("stops launch", "advisory")
    ))
}

/// Done on `done`, so many launches, off its carriage on `removed`.
fn records(set: &PolicySet, done: &str, count: i64, removed: Option<&str>) -> Fleet {
    fleet(set, |b: &mut FleetBuilder| {
        for id in ["by-date", "advice"] {
            b.work("F-1", id, when(done), Outcome::Passed);
        }
        fit(b, "F-1", "C-1", "2026-01-01", removed);
        launches(b, "C-1", &[("2026-02-01T10:00:00", count)]);
    })
}

fn moved(set: &PolicySet, old: &Fleet, new: &Fleet, done_now: bool) -> Vec<Kept> {
    let [old, new] = [old, new].map(|fleet| Evaluator::without_forecasts(set, fleet, on("2026-03-01")));
    moved_later(&old, &new, "F-1", |_| done_now)
}

fn nothing(set: &PolicySet, rule: &str) -> Kept {
    Kept {
        rule: set.find_rule(rule).unwrap(),
        calendar_due: None,
        after_due: None,
        held: false,
        no_base: false,
        gone: false,
        more: Vec::new(),
        last: None,
    }
}

/// Work of 2 January that was of 10 January: 2 July stands, not 10 July. The advisory rule keeps nothing.
#[test]
fn a_later_calendar_date_is_kept() {
    let set = rules();
    let [old, new] = ["2026-01-02", "2026-01-10"].map(|done| records(&set, done, 1, None));
    let kept = Kept {
        calendar_due: Some(date(2026, 7, 2)),
        last: Some(at("2026-01-10T00:00:00")),
        ..nothing(&set, "by-date")
    };
    assert_eq!(moved(&set, &old, &new, false), [kept]);
    assert_eq!(moved(&set, &old, &new, true), [], "new work moved it");
    assert_eq!(moved(&set, &new, &old, false), [], "it came earlier");
    assert_eq!(moved(&set, &old, &old, false), [], "nothing moved");
}

/// domain brief 4.2 B: a count of 3 corrected to 1.
#[test]
fn fewer_uses_are_kept() {
    let set = rules();
    let [old, new] = [3, 1].map(|count| records(&set, "2026-01-02", count, None));
    let kept = Kept { more: vec![(meter(&set, "launches"), whole(2))], ..nothing(&set, "by-use") };
    assert_eq!(moved(&set, &old, &new, false), [kept]);
    assert_eq!(moved(&set, &new, &old, false), [], "more uses are counted at once");
}

/// A removal that was none, or was later: the earlier stands, and holds since nothing was allowed.
#[test]
fn an_event_that_goes_away_is_kept() {
    let set = rules();
    let of = |removed| records(&set, "2026-01-02", 1, removed);
    let kept = Kept { after_due: Some(date(2026, 2, 10)), held: true, ..nothing(&set, "by-event") };
    let old = of(Some("2026-02-10"));
    for now in [None, Some("2026-02-11")] {
        assert_eq!(moved(&set, &old, &of(now), false), std::slice::from_ref(&kept), "{now:?}");
    }
    assert_eq!(moved(&set, &old, &of(Some("2026-02-09")), false), []);
    assert_eq!(moved(&set, &old, &old, false), []);
}

/// Where the event allows 30 days, its date is kept but holds nothing.
#[test]
fn an_event_with_time_allowed_does_not_hold() {
    let set = set(&rule("by-event", "after = { event = \"removed\", within = \"30 days\" }"));
    let [old, new] = [Some("2026-02-10"), None].map(|removed| records(&set, "2026-01-02", 1, removed));
    let kept = Kept { after_due: Some(date(2026, 3, 12)), ..nothing(&set, "by-event") };
    assert_eq!(moved(&set, &old, &new, false), [kept]);
}

/// An item that only one of the fleets knows keeps nothing.
#[test]
fn an_item_that_is_new_keeps_nothing() {
    let set = rules();
    let fleet = records(&set, "2026-01-02", 1, None);
    let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-03-01"));
    assert_eq!(moved_later(&evaluator, &evaluator, "F-99", |_| false), []);
}

/// Of two corrections the earlier dates, and of uses the sum, meter by meter.
#[test]
fn two_corrections_add_up() {
    let set = rules();
    let (launches, pulls) = (meter(&set, "launches"), meter(&set, "pulls"));
    let first = Kept {
        calendar_due: Some(date(2026, 7, 2)),
        held: true,
        more: vec![(launches, whole(2))],
        last: Some(at("2026-01-02T00:00:00")),
        ..nothing(&set, "by-date")
    };
    let second = Kept {
        calendar_due: Some(date(2026, 7, 1)),
        after_due: Some(date(2026, 8, 1)),
        more: vec![(pulls, whole(5)), (launches, whole(3))],
        last: Some(at("2026-01-03T00:00:00")),
        ..nothing(&set, "by-date")
    };
    let both = Kept { more: vec![(launches, whole(5)), (pulls, whole(5))], held: true, ..second.clone() };
    assert_eq!(first.clone().and(second.clone()), both);
    let other = Kept { more: vec![(pulls, whole(5)), (launches, whole(5))], ..both };
    assert_eq!(second.clone().and(first), other);
    assert!(!second.clone().and(second).held);
    let gone = Kept { gone: true, ..nothing(&set, "by-date") };
    let undated = Kept { no_base: true, ..nothing(&set, "by-date") };
    let both = Kept { no_base: true, ..gone.clone() };
    assert_eq!(gone.clone().and(undated.clone()), both);
    assert_eq!(undated.and(gone), both);
}

/// Withdrawn gear has no rows, and none of them is missed.
#[test]
fn gear_that_was_withdrawn_keeps_nothing() {
    let set = rules();
    let old = records(&set, "2026-01-02", 1, None);
    let new = fleet(&set, |b| {
        fit(b, "F-1", "C-1", "2026-01-01", None);
        b.state("F-1", when("2026-02-20"), State::Withdrawn);
    });
    assert_eq!(moved(&set, &old, &new, false), []);
}

fn with(set: &PolicySet, kept: &[Kept], done_again: Option<&str>) -> Fleet {
    fleet(set, |b| {
        b.work("F-1", "by-date", when("2026-01-10"), Outcome::Passed);
        b.work("F-1", "by-date", when("2026-02-20"), Outcome::Failed);
        fit(b, "F-1", "C-1", "2026-01-01", None);
        launches(b, "C-1", &[("2026-02-01T10:00:00", 6), ("2026-02-02T10:00:00", 3)]);
        if let Some(done) = done_again {
            b.work("F-1", "by-date", when(done), Outcome::Passed);
        }
        for kept in kept {
            b.keep("F-1", kept.clone());
        }
    })
}

/// The rows of F-1 by rule: calendar date, event's date, held, used, limit, date of the limit, standing.
#[test]
fn a_row_stands_with_what_is_kept() {
    let set = rules();
    let more = |count| Kept { more: vec![(meter(&set, "launches"), count)], ..nothing(&set, "by-use") };
    let last = Some(at("2026-01-10T00:00:00"));
    let earlier = |day| Kept { calendar_due: Some(day), last, ..nothing(&set, "by-date") };
    let event = Kept { after_due: Some(date(2026, 2, 25)), held: true, ..nothing(&set, "by-event") };
    let fleet = with(&set, &[earlier(date(2026, 2, 15)), more(whole(4)), event], None);
    let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-03-01"));
    let (item, table) = (id(&fleet, "F-1"), evaluator.standing_table());
    let row = |rule: &str| {
        let rule = set.find_rule(rule).unwrap();
        let stands = *table.iter().find(|row| row.item == item && row.rule == rule).unwrap();
        assert_eq!(evaluator.as_it_stands(&evaluator.row(item, rule)), stands);
        (stands, evaluator.row(item, rule))
    };
    let (stands, plain) = row("by-date");
    assert_eq!((stands.calendar_due, plain.calendar_due), (Some(date(2026, 2, 15)), Some(date(2026, 7, 10))));
    assert_eq!((stands.standing, plain.standing), (Standing::Overdue, Standing::InDate));
    // Ten by the old count of 13: the sixth of those counted now, since four more came before.
    let (stands, plain) = row("by-use");
    assert_eq!((stands.used, plain.used, stands.limit), (whole(13), whole(9), whole(10)));
    assert_eq!((stands.usage_due, plain.usage_due), (Some(date(2026, 2, 1)), None));
    assert_eq!((stands.used_up, plain.used_up, stands.standing), (true, false, Standing::Overdue));
    let (stands, plain) = row("by-event");
    assert_eq!((stands.after_due, stands.held), (Some(date(2026, 2, 25)), true));
    assert_eq!((plain.after_due, plain.held), (None, false));
    let (stands, plain) = row("advice");
    assert_eq!(stands, plain);
    assert_eq!(table.len(), 12, "three falls, four rules");
}

/// Work after it does away with what is kept; a date that is later than the row's own does not move it.
#[test]
fn later_work_ends_what_is_kept() {
    let set = rules();
    let last = Some(at("2026-01-10T00:00:00"));
    let kept = Kept { calendar_due: Some(date(2026, 2, 15)), last, ..nothing(&set, "by-date") };
    let rule = set.find_rule("by-date").unwrap();
    let stands = |kept: &Kept, again: Option<&str>| {
        let fleet = with(&set, std::slice::from_ref(kept), again);
        let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-03-01"));
        let found = evaluator.kept(id(&fleet, "F-1"), rule);
        let row = evaluator.row(id(&fleet, "F-1"), rule);
        (found.is_some(), evaluator.as_it_stands(&row).calendar_due.unwrap())
    };
    assert_eq!(stands(&kept, None), (true, date(2026, 2, 15)));
    assert_eq!(stands(&kept, Some("2026-02-21")), (false, date(2026, 8, 21)));
    let later = Kept { calendar_due: Some(date(2026, 8, 1)), ..kept.clone() };
    assert_eq!(stands(&later, None), (true, date(2026, 7, 10)));
    let of_another = Kept {
        rule: set.find_rule("by-use").unwrap(),
        more: vec![(meter(&set, "pulls"), Amount::ZERO)],
        ..kept
    };
    assert_eq!(stands(&of_another, None), (false, date(2026, 7, 10)));
}

/// The kept date of 2 July outlives a correction that nudges the last work; work that is new ends it.
#[test]
fn a_later_correction_of_the_last_work_carries_what_is_kept() {
    let set = rules();
    let july = Kept {
        calendar_due: Some(date(2026, 7, 2)),
        last: Some(at("2026-01-10T10:00:00")),
        ..nothing(&set, "by-date")
    };
    let of = |done: &str, kept: &[Kept]| {
        fleet(&set, |b| {
            b.work("F-1", "by-date", when(done), Outcome::Passed);
            b.work("F-1", "advice", when("2026-01-10"), Outcome::Passed);
            for kept in kept {
                b.keep("F-1", kept.clone());
            }
        })
    };
    let old = of("2026-01-10T10:00:00", std::slice::from_ref(&july));
    let nudged = "2026-01-10T10:00:01";
    let carried = Kept { last: Some(at(nudged)), ..july.clone() };
    assert_eq!(moved(&set, &old, &of(nudged, &[]), false), std::slice::from_ref(&carried));
    assert_eq!(moved(&set, &old, &of(nudged, &[]), true), [], "work that is new");
    let same = of("2026-01-10T10:00:00", &[]);
    assert_eq!(moved(&set, &old, &same, false), [], "what is kept is kept once");
    let fleet = of(nudged, &[carried]);
    let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-03-01"));
    let row = evaluator.row(id(&fleet, "F-1"), set.find_rule("by-date").unwrap());
    assert_eq!(evaluator.as_it_stands(&row).calendar_due, Some(date(2026, 7, 2)));
    // What work has done away with is not dug out by a correction after it.
    let worked = of("2026-02-20", &[july]);
    let again = Kept {
        calendar_due: Some(date(2026, 8, 20)),
        last: Some(at("2026-02-25T00:00:00")),
        ..nothing(&set, "by-date")
    };
    assert_eq!(moved(&set, &worked, &of("2026-02-25", &[]), false), [again]);
}

/// A fall without a date is overdue; one that is set on a known fall waits for an engineer, and so does its standing.
#[test]
fn overdue_for_want_of_a_date_is_kept() {
    let set = set(&rule("by-date", "calendar = { every = \"6 months\", from = \"entry into service\" }"));
    let of = |entered: Option<&str>, kept: Option<&Kept>| {
        fleet(&set, |b| {
            fall(b, "F-9", None, entered, 0);
            if let Some(kept) = kept {
                b.keep("F-9", kept.clone());
            }
        })
    };
    let [old, new] = [None, Some("2026-02-01")].map(|entered| of(entered, None));
    let [before, after] =
        [&old, &new].map(|fleet| Evaluator::without_forecasts(&set, fleet, on("2026-03-01")));
    let kept = Kept { no_base: true, ..nothing(&set, "by-date") };
    assert_eq!(moved_later(&before, &after, "F-9", |_| false), std::slice::from_ref(&kept));
    assert_eq!(moved_later(&after, &before, "F-9", |_| false), [], "to have none is the stricter");
    let fleet = of(Some("2026-02-01"), Some(&kept));
    let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-03-01"));
    let row = evaluator.row(id(&fleet, "F-9"), set.find_rule("by-date").unwrap());
    let stands = evaluator.as_it_stands(&row);
    assert_eq!((row.standing, row.due_on), (Standing::InDate, Some(date(2026, 8, 1))));
    assert_eq!((stands.standing, stands.because), (Standing::Overdue, Some(Because::NoBase)));
}

/// A fall of the station that is put down for another loses the station's rule: its row stands all the same, and no
/// work ends that; put back, it is a row like any other.
#[test]
fn a_row_that_a_correction_takes_away_is_kept() {
    let rules = rule("by-date", "calendar = { every = \"6 months\" }");
    let rules = rules.replace("kind = \"fall\"", "kind = \"fall\", nominal_diameter_mm = 16");
    let kinds = r#"
[[kind]]
name = "carriage"
meters = ["launches"]
positions = [{ name = "stopper", takes = "fall" }]
[[kind]]
name = "winch"
[[kind]]
name = "fall"
attributes = [{ name = "nominal diameter", unit = "mm", min = 1, max = 60 }]
"#;
    let set = set_of(kinds, &rules, "");
    let of = |diameter: i64, done: &str, kept: Option<&Kept>| {
        fleet(&set, |b| {
            let attributes = vec![("nominal_diameter_mm", Value::Number(whole(diameter)))];
            let record = ItemRecord {
                tag: "F-9",
                kind: "fall",
                station: Some("quay"),
                attributes,
                ..ItemRecord::default()
            };
            assert!(b.item(&record));
            b.work("F-9", "by-date", when(done), Outcome::Passed);
            fit(b, "F-9", "C-1", "2026-01-01", None);
            if let Some(kept) = kept {
                b.keep("F-9", kept.clone());
            }
        })
    };
    let [old, new] = [16, 14].map(|diameter| of(diameter, "2026-01-02", None));
    let [before, after] =
        [&old, &new].map(|fleet| Evaluator::without_forecasts(&set, fleet, on("2026-08-01")));
    let kept = Kept { gone: true, last: Some(at("2026-01-02T00:00:00")), ..nothing(&set, "by-date") };
    assert_eq!(moved_later(&before, &after, "F-9", |_| false), std::slice::from_ref(&kept));
    let rows =
        |diameter, done| {
            let fleet = of(diameter, done, Some(&kept));
            let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-08-01"));
            let own = evaluator.standing_rows_of(id(&fleet, "F-9"));
            let stops =
                evaluator.readiness(&Papers::default()).swap_remove(0).reasons.into_iter().any(
                    |reason| matches!(reason, Reason::Rule { row, .. } if row.item == id(&fleet, "F-9")),
                );
            let waits = evaluator.kept(id(&fleet, "F-9"), set.find_rule("by-date").unwrap());
            (own.iter().map(|row| row.calendar_due.unwrap()).collect::<Vec<_>>(), stops, waits)
        };
    assert_eq!(rows(14, "2026-01-02"), (vec![date(2026, 7, 2)], true, Some(kept.clone())));
    let done = (vec![date(2027, 1, 20)], false, Some(kept.clone()));
    assert_eq!(rows(14, "2026-07-20"), done, "it is done, and stands");
    assert_eq!(rows(16, "2026-01-02"), (vec![date(2026, 7, 2)], true, None), "put back");
}
