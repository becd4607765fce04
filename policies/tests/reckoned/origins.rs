//! What an item starts with from the batch or wire that it was taken out of.

use policies::facts::{Fleet, FleetBuilder, ItemRecord};
use policies::usage::{self, Period};

use super::gear::{at, fall, fit, fleet, id, launches, meter, on, set, when, whole};

/// What `F-11` counts in launches up to a moment; it was taken out of `F-10`, which hung on `C-1` from the new year.
fn counted(cut: Option<&str>, taken: &str, until: &str, more: impl FnOnce(&mut FleetBuilder)) -> i64 {
    let set = set("");
    let found: Fleet = fleet(&set, |b| {
        fall(b, "F-10", None, Some("2025-01-01"), 20);
        let record = ItemRecord {
            tag: "F-11",
            kind: "fall",
            station: Some("quay"),
            entered_service_on: cut.map(on),
            cut_from: cut.map(|_| "F-10"),
            taken: Some(("F-10", when(taken))),
            ..ItemRecord::default()
        };
        assert!(b.item(&record));
        fit(b, "F-10", "C-1", "2026-01-01", None);
        let uses = [
            ("2026-02-28", 1),
            ("2026-03-01T09:00:00", 2),
            ("2026-03-01T11:00:00", 4),
            ("2026-03-01", 8),
            ("2026-03-02T09:00:00", 16),
        ];
        launches(b, "C-1", &uses);
        more(b);
    });
    let period = Period { after: None, before: at(until) };
    let used = usage::used(&found, id(&found, "F-11"), meter(&set, "launches"), period);
    used.millionths() / whole(1).millionths()
}

const YEARS_END: &str = "2026-12-31T00:00:00";

/// Up to the moment, and use of that day of which no time is known; on a day alone, the whole day.
#[test]
fn it_starts_with_the_use_up_to_then() {
    assert_eq!(counted(None, "2026-03-01T10:00:00", YEARS_END, |_| ()), 20 + 1 + 2 + 8);
    assert_eq!(counted(None, "2026-03-01T11:00:00", YEARS_END, |_| ()), 20 + 1 + 2 + 8);
    assert_eq!(counted(None, "2026-03-01", YEARS_END, |_| ()), 20 + 1 + 2 + 4 + 8);
    assert_eq!(counted(None, "2026-03-01T00:00:00", YEARS_END, |_| ()), 20 + 1);
    assert_eq!(counted(None, "2025-12-31", YEARS_END, |_| ()), 20);
}

/// A wire says both: what it was cut from, and that the day of the cut counts as well. No use counts twice.
#[test]
fn a_cut_wire_counts_the_day_of_the_cut_once() {
    assert_eq!(counted(Some("2026-03-01"), "2026-03-01", YEARS_END, |_| ()), 20 + 1 + 2 + 4 + 8);
    assert_eq!(counted(Some("2026-03-02"), "2026-03-01T10:00:00", YEARS_END, |_| ()), 20 + 1 + 2 + 4 + 8);
}

/// On the day that it left it may have hung beside what it was taken out of: then a use still counts once.
#[test]
fn what_it_bears_by_itself_too_counts_once() {
    let beside = |b: &mut FleetBuilder| fit(b, "F-11", "C-1", "2026-03-01T09:00:00", None);
    assert_eq!(counted(None, "2026-03-01", YEARS_END, beside), 20 + 1 + 2 + 4 + 8 + 16);
    let later = |b: &mut FleetBuilder| fit(b, "F-11", "C-1", "2026-03-02T08:00:00", None);
    assert_eq!(counted(None, "2026-03-01", YEARS_END, later), 20 + 1 + 2 + 4 + 8 + 16);
}

/// The world at an earlier moment has not seen later use, whatever has been taken out since.
#[test]
fn an_earlier_day_counts_what_was_borne_by_then() {
    assert_eq!(counted(None, "2026-03-01", "2026-03-01T10:00:00", |_| ()), 20 + 1 + 2);
    assert_eq!(counted(Some("2026-03-01"), "2026-03-01", "2026-02-01T00:00:00", |_| ()), 20);
}

/// A batch of a batch, and a loop in the records, which ends.
#[test]
fn it_passes_on_what_its_own_origin_bore() {
    let set = set("");
    let of = |parent: &str, other: &str| {
        let found = fleet(&set, |b| {
            fall(b, "F-9", None, None, 7);
            for (tag, parent) in [("F-12", parent), ("F-13", other)] {
                let taken = Some((parent, when("2026-03-01")));
                let record =
                    ItemRecord { tag, kind: "fall", station: Some("quay"), taken, ..ItemRecord::default() };
                assert!(b.item(&record));
            }
            fit(b, "F-9", "C-1", "2026-01-01", None);
            launches(b, "C-1", &[("2026-02-01T12:00:00", 3)]);
        });
        usage::opening(&found, id(&found, "F-13"), meter(&set, "launches"))
    };
    assert_eq!(of("F-9", "F-12"), whole(10));
    assert_eq!(of("F-13", "F-12"), whole(0));
}
