//! Gear that sits on one host and must agree.

use jiff::civil::date;
use policies::facts::{ItemRecord, State};
use policies::rule::Value;

use crate::gear::{fit, fleet, on, row, rule, set_of, when};

/// Two falls of two drums on one carriage: unlike until the end of the day before one of them is withdrawn.
#[test]
fn a_fellow_counts_until_the_day_it_is_withdrawn() {
    let kinds = "[[kind]]\nname = \"carriage\"\npositions = [{ name = \"stopper\", takes = \"fall\", count = 2 }]\n\
                 [[kind]]\nname = \"winch\"\n[[kind]]\nname = \"fall\"\nattributes = [{ name = \"drum\" }]\n";
    let set = set_of(kinds, &rule("pair", "alike = { attribute = \"drum\" }"), "");
    let fleet = fleet(&set, |b| {
        for (tag, drum) in [("F-8", "D-1"), ("F-9", "D-2")] {
            let attributes = vec![("drum", Value::Text(drum.to_owned()))];
            let (kind, station, made) = ("fall", Some("quay"), Some(on("2026-01-01")));
            let record =
                ItemRecord { tag, kind, station, manufactured_on: made, attributes, ..ItemRecord::default() };
            assert!(b.item(&record));
            fit(b, tag, "C-1", "2026-02-01", None);
        }
        b.state("F-9", when("2026-03-06"), State::Withdrawn);
    });
    let due = |as_of: &str| row(&set, &fleet, "F-8", "pair", as_of).due_on;
    assert_eq!(due("2026-03-05"), Some(date(2026, 2, 1)));
    assert_eq!(due("2026-03-06"), None);
}
