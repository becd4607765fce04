//! By when a limit is likely to be reached, as a row of the due table has it.

use std::sync::Arc;

use jiff::civil::date;
use policies::due::{Because, DueRow, Evaluator};

use crate::gear::{fit, fleet, id, launches, meter, on, rule, set, when, whole};

/// Forecasts of what is not reached; none beside a limit that is. 28 launches a day make the next day all but sure.
#[test]
fn forecasts_stand_where_nothing_is_reached() {
    let two = "usage = [{ meter = \"launches\", every = 1000 }, { meter = \"pulls\", every = 10 }]";
    let set = set(&rule("limit", two));
    let build = |pulls: i64| {
        fleet(&set, |b| {
            fit(b, "F-1", "W-1", "2026-01-01", None);
            fit(b, "W-1", "C-1", "2026-01-01", None);
            launches(b, "C-1", &[("2026-02-01T10:00:00", 400), ("2026-02-15T10:00:00", 400)]);
            b.used("W-1", "pulls", when("2026-02-20"), policies::facts::Quantity::Count(whole(pulls)));
        })
    };
    let rule = set.find_rule("limit").unwrap();
    let open = build(1);
    let evaluator = Evaluator::new(&set, &open, on("2026-03-01"));
    let row = evaluator.row(id(&open, "F-1"), rule);
    let [soon, likely, late] = row.forecast.map(Option::unwrap);
    assert!(on("2026-03-01") < soon && soon < likely && likely < late, "{:?}", row.forecast);
    assert_eq!((row.due_on, row.because, row.usage_due), (Some(soon), Some(Because::Usage), None));
    let reached = build(10);
    let row = Evaluator::new(&set, &reached, on("2026-03-01")).row(id(&reached, "F-1"), rule);
    assert_eq!((row.forecast, row.usage_due), ([None; 3], Some(date(2026, 2, 20))));
    let none = Evaluator::without_forecasts(&set, &open, on("2026-03-01"));
    assert!(none.learnt().is_none());
    assert_eq!(none.row(id(&open, "F-1"), rule).forecast, [None; 3]);
}

/// The limit that is likely to be reached first is shown, and what remains of it decides the dates.
#[test]
fn the_nearer_forecast_is_shown() {
    let set = set(&rule(
        "limit",
        "usage = [{ meter = \"launches\", every = 900 }, { meter = \"pulls\", every = 900 }]",
    ));
    let shown = |launched: i64, pulled: i64| {
        let fleet = fleet(&set, |b| {
            fit(b, "F-1", "W-1", "2026-01-01", None);
            fit(b, "W-1", "C-1", "2026-01-01", None);
            launches(b, "C-1", &[("2026-01-05T10:00:00", 1), ("2026-02-15T10:00:00", launched)]);
            for (day, count) in [("2026-01-05T10:00:00", 1), ("2026-02-15T10:00:00", pulled)] {
                b.used("W-1", "pulls", when(day), policies::facts::Quantity::Count(whole(count)));
            }
        });
        let row = Evaluator::new(&set, &fleet, on("2026-03-01"))
            .row(id(&fleet, "F-1"), set.find_rule("limit").unwrap());
        (set.kinds.meter_name(row.meter.unwrap()).to_owned(), row.forecast[0].unwrap())
    };
    let (ahead, behind) = (shown(800, 200), shown(200, 800));
    assert_eq!((ahead.0.as_str(), behind.0.as_str()), ("launches", "pulls"));
    assert_eq!(ahead.1, behind.1, "the same numbers, the meters exchanged");
    assert!(shown(850, 200).1 < ahead.1, "with fewer left the date comes sooner");
}

/// In no host that carries the meter there is nothing to foresee from.
#[test]
fn gear_in_store_has_no_forecast() {
    let set = set(&rule("limit", "usage = { meter = \"pulls\", every = 10 }"));
    let fleet = fleet(&set, |b| fit(b, "F-1", "W-1", "2026-01-01", Some("2026-02-01")));
    let row = Evaluator::new(&set, &fleet, on("2026-03-01"))
        .row(id(&fleet, "F-1"), set.find_rule("limit").unwrap());
    assert_eq!((row.forecast, row.due_on, row.meter), ([None; 3], None, Some(meter(&set, "pulls"))));
}

/// While a day lasts, its own evening may still bring a launch: forecasts begin with it, and its records count so far.
#[test]
fn during_a_day_forecasts_start_with_it() {
    let set = set(&rule("limit", "usage = { meter = \"launches\", every = 801 }"));
    let fleet = fleet(&set, |b| {
        fit(b, "F-1", "C-1", "2026-01-01", None);
        launches(b, "C-1", &[("2026-01-05T10:00:00", 400), ("2026-02-15T10:00:00", 400)]);
    });
    let limit = set.find_rule("limit").unwrap();
    let soon = |evaluator: &Evaluator| evaluator.row(id(&fleet, "F-1"), limit).forecast[0].unwrap();
    let today = on("2026-03-01");
    assert_eq!(soon(&Evaluator::during(&set, &fleet, today)), today);
    let evening = Evaluator::new(&set, &fleet, today);
    assert_eq!(soon(&evening), date(2026, 3, 2));
    let learnt = evening.learnt().unwrap();
    let again = Evaluator::with_learnt(&set, &fleet, today, Arc::clone(learnt));
    assert!(Arc::ptr_eq(learnt, again.learnt().unwrap()));
    assert_eq!(soon(&again), date(2026, 3, 2));
    let rows: Vec<DueRow> = again.table();
    assert_eq!(rows, evening.table());
}
