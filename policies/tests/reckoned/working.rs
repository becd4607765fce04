//! How a row is explained: what was counted, from when, and which clause comes next.

use jiff::civil::date;
use policies::calendar::{Base, CalendarDue};
use policies::due::{Because, CalendarFound, Evaluator};
use policies::explain::{Borne, Derivation};
use policies::facts::{Fleet, FleetBuilder, Outcome};
use policies::load::PolicySet;
use policies::zone::Instant;

use crate::gear::{at, fall, fit, fleet, id, launches, on, rule, set, when, whole};

fn derive(set: &PolicySet, fleet: &Fleet, tag: &str, as_of: &str) -> Derivation {
    Evaluator::new(set, fleet, on(as_of)).derive(id(fleet, tag), set.find_rule("all").unwrap())
}

fn limit(clauses: &str) -> PolicySet {
    set(&rule("all", clauses))
}

/// Use by host and stretch: 5 launches before the records, 3 and 2 on two carriages, 4 of a day on the second.
#[test]
fn use_is_shown_by_host_and_stretch() {
    let set = limit("usage = { meter = \"launches\", every = 100 }");
    let fleet = fleet(&set, |b| {
        fall(b, "F-10", None, None, 5);
        fit(b, "F-10", "C-1", "2026-01-01", Some("2026-01-31"));
        fit(b, "F-10", "C-2", "2026-02-01", None);
        launches(b, "C-1", &[("2026-01-10T10:00:00", 3), ("2026-02-10T10:00:00", 90)]);
        launches(b, "C-2", &[("2026-02-10T10:00:00", 2), ("2026-02-11", 4)]);
    });
    let found = derive(&set, &fleet, "F-10", "2026-03-01");
    let [usage] = &found.usage[..] else { panic!("one clause") };
    assert_eq!(
        (usage.opening, usage.used, usage.reached_on, usage.counts),
        (whole(5), whole(14), None, true)
    );
    let nothing = whole(0);
    let borne = [
        Borne {
            host: id(&fleet, "C-1"),
            from: at("2026-01-01T00:00:00"),
            to: at("2026-02-01T00:00:00"),
            dated: whole(3),
            undated: nothing,
        },
        Borne {
            host: id(&fleet, "C-2"),
            from: at("2026-02-01T00:00:00"),
            to: Instant::MAX,
            dated: whole(2),
            undated: whole(4),
        },
    ];
    assert_eq!(usage.borne, borne);
    let forecast = usage.forecast.unwrap();
    assert_eq!((forecast.host, forecast.remaining), (id(&fleet, "C-2"), whole(86)));
    assert_eq!(forecast.dates, found.row.forecast);
    assert_eq!((found.runner_up, found.last, found.failed.len()), (None, None, 0));
}

/// A use of a day on which no stretch lies stands by itself; of two stretches it goes to the nearer.
#[test]
fn use_of_a_day_goes_to_the_nearest_stretch() {
    let set = limit("usage = { meter = \"launches\", every = 100 }");
    let borne = |build: &dyn Fn(&mut FleetBuilder)| {
        let fleet = fleet(&set, build);
        let parts = derive(&set, &fleet, "F-1", "2026-03-01").usage.swap_remove(0).borne;
        parts.into_iter().map(|part| (part.from, part.to, part.undated)).collect::<Vec<_>>()
    };
    let crossed = borne(&|b| {
        fit(b, "F-1", "W-1", "2026-01-01", Some("2026-01-20T10:00:00"));
        fit(b, "W-1", "C-1", "2026-01-20T15:00:00", None);
        launches(b, "C-1", &[("2026-01-20", 4)]);
    });
    let evening = at("2026-01-20T23:59:59");
    assert_eq!(crossed, [(evening, evening, whole(4))]);
    let two = borne(&|b| {
        fit(b, "F-1", "C-1", "2026-01-01", Some("2026-01-20T10:00:00"));
        fit(b, "F-1", "C-1", "2026-01-21T15:00:00", None);
        launches(b, "C-1", &[("2026-01-20", 4), ("2026-01-21", 8)]);
    });
    assert_eq!(two[0], (at("2026-01-01T00:00:00"), at("2026-01-20T10:00:00"), whole(4)));
    assert_eq!(two[1], (at("2026-01-21T15:00:00"), Instant::MAX, whole(8)));
}

/// domain brief 4.3: the clause that wins, and the runner-up. Work that failed since the last sound work is shown.
#[test]
fn the_next_clause_is_named() {
    let set = limit(
        "calendar = { every = \"6 months\" }\nusage = { meter = \"launches\", every = 10 }\n\
         after = { event = \"fitted\", within = \"30 days\" }",
    );
    let fleet = fleet(&set, |b| {
        b.work("F-1", "all", when("2026-01-15"), Outcome::Failed);
        b.work("F-1", "all", when("2026-03-01"), Outcome::Passed);
        b.work("F-1", "all", when("2026-05-01"), Outcome::Failed);
        b.work("F-1", "all", when("2026-12-01"), Outcome::Failed);
        fit(b, "F-1", "C-1", "2026-06-01", None);
        launches(b, "C-1", &[("2026-06-20T10:00:00", 10)]);
    });
    let found = derive(&set, &fleet, "F-1", "2026-10-11");
    assert_eq!((found.row.because, found.row.due_on), (Some(Because::Usage), Some(date(2026, 6, 20))));
    assert_eq!(found.runner_up, Some((Because::After, date(2026, 7, 1))));
    assert_eq!(found.last.unwrap().date, date(2026, 3, 1));
    let failed: Vec<_> = found.failed.iter().map(|done| done.date).collect();
    assert_eq!(failed, [date(2026, 5, 1)]);
    let base = Base::LastDone(date(2026, 3, 1));
    let due = CalendarDue { base, times: 1, paused_days: 0, capped: false, due: date(2026, 9, 1) };
    assert_eq!(found.calendar[0].found, CalendarFound::Due(due));
    let open = found.after[0].open.unwrap();
    assert_eq!((open.at, open.on, open.due), (at("2026-06-01T00:00:00"), date(2026, 6, 1), date(2026, 7, 1)));
    assert_eq!(found.usage[0].reached_on, Some(date(2026, 6, 20)));
    assert_eq!((found.usage[0].forecast, found.usage[0].opening), (None, whole(0)));
    assert_eq!(found.unlike, None);
}

/// Ten days in store before 21 March put the date off by ten days, and the working says so.
#[test]
fn days_in_store_are_told() {
    let set = limit("calendar = { every = \"1 month\", store = \"pauses\" }");
    let fleet = fleet(&set, |b| {
        b.work("F-1", "all", when("2026-03-01"), Outcome::Passed);
        fit(b, "F-1", "C-1", "2026-03-01", Some("2026-03-10"));
        fit(b, "F-1", "C-1", "2026-03-21", None);
    });
    let found = derive(&set, &fleet, "F-1", "2026-03-25").calendar[0].found;
    let base = Base::LastDone(date(2026, 3, 1));
    let due = CalendarDue { base, times: 1, paused_days: 10, capped: false, due: date(2026, 4, 11) };
    assert_eq!(found, CalendarFound::Due(due));
}
