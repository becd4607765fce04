//! A fleet in memory: use that comes in, whom it moves, which rules are for whom.

use policies::due::Evaluator;
use policies::facts::{Fleet, ItemRecord};
use policies::rule::Value;
use policies::zone::When;

use crate::gear::{at, fit, fleet, id, launches, meter, on, rule, set, set_of, when, whole};

fn gear(use_: &[(&str, i64)]) -> Fleet {
    fleet(&set(""), |b| {
        fit(b, "F-1", "W-1", "2026-01-01", Some("2026-03-10"));
        fit(b, "F-2", "W-1", "2026-03-20", None);
        fit(b, "F-3", "C-2", "2026-01-01", None);
        fit(b, "W-1", "C-1", "2026-02-01", None);
        launches(b, "C-1", use_);
    })
}

/// Use added to a fleet in memory leaves it as if it had been read with the rest.
#[test]
fn use_that_comes_in_is_as_use_that_was_read() {
    let known = [("2026-02-05T10:00:00", 1), ("2026-03-05T10:00:00", 2)];
    for late in [("2026-03-01T10:00:00", 4), ("2026-03-07", 4), ("2026-03-25", 1)] {
        let mut fleet = gear(&known);
        let (host, launches) = (id(&fleet, "C-1"), meter(&set(""), "launches"));
        fleet.record_use(host, launches, when(late.0), whole(late.1));
        assert_eq!(fleet, gear(&[known[0], known[1], late]), "{late:?}");
    }
    let mut first = gear(&[]);
    first.record_use(id(&first, "C-1"), meter(&set(""), "launches"), when("2026-03-07"), whole(4));
    assert_eq!(first, gear(&[("2026-03-07", 4)]));
}

/// A use moves those that bore it, and those that are fitted to its host now.
#[test]
fn use_moves_bearers_and_what_is_fitted_now() {
    let fleet = gear(&[("2026-03-01", 1)]);
    let moved = |when: When| {
        let moved = fleet.moved_by(id(&fleet, "C-1"), when).into_iter();
        moved.map(|id| fleet.item(id).tag.to_string()).collect::<Vec<_>>()
    };
    assert_eq!(moved(When::At(at("2026-03-10T23:59:59"))), ["C-1", "W-1", "F-1", "F-2"]);
    assert_eq!(moved(When::At(at("2026-03-11T00:00:00"))), ["C-1", "W-1", "F-2"]);
    assert_eq!(moved(When::Day(on("2026-03-10"))), ["C-1", "W-1", "F-1", "F-2"]);
    assert_eq!(moved(When::Day(on("2026-03-11"))), ["C-1", "W-1", "F-2"]);
    assert_eq!(moved(When::Day(on("2026-01-31"))), ["C-1", "W-1", "F-2"], "the winch came on 1 February");
}

/// A rule for falls of some diameter or stuff, at one station or at all others.
#[test]
fn a_rule_is_for_what_its_conditions_name() {
    let kinds = "[[kind]]\nname = \"fall\"\n\
                 attributes = [{ name = \"diameter\", unit = \"mm\", min = 1, max = 99 }, { name = \"stuff\" }]\n\
                 [[kind]]\nname = \"carriage\"\n[[kind]]\nname = \"winch\"\n";
    let has = |condition: &str| {
        let text = rule("all", "calendar = { every = \"1 year\" }")
            .replace("\"fall\" }", &format!("\"fall\", {condition} }}"));
        let set = set_of(kinds, &text, "");
        let fleet = fleet(&set, |b| {
            let attributes =
                vec![("diameter_mm", Value::Number(whole(16))), ("stuff", Value::Text("wire".to_owned()))];
            let record = ItemRecord {
                tag: "F-9",
                kind: "fall",
                station: Some("quay"),
                attributes,
                ..ItemRecord::default()
            };
            assert!(b.item(&record));
        });
        let rows = Evaluator::without_forecasts(&set, &fleet, on("2026-03-01")).table();
        // The others have no diameter: a value that is missing meets no condition.
        rows.iter().map(|row| fleet.item(row.item).tag.to_string()).collect::<Vec<_>>()
    };
    for (condition, met) in [
        ("diameter = 16", true),
        ("diameter = 17", false),
        ("diameter = \"!=16\"", false),
        ("diameter = \">=16\"", true),
        ("diameter = \">=17\"", false),
        ("diameter = \"<=16\"", true),
        ("diameter = \"<=15\"", false),
        ("diameter = \">15\"", true),
        ("diameter = \">16\"", false),
        ("diameter = \"<17\"", true),
        ("diameter = \"<16\"", false),
        ("stuff = \"wire\"", true),
        ("stuff = \"!=wire\"", false),
    ] {
        assert_eq!(has(condition), if met { vec!["F-9"] } else { vec![] }, "{condition}");
    }
    assert_eq!(has("station = \"quay\"").len(), 4);
    assert_eq!(has("station = \"!=quay\"").len(), 0);
    assert_eq!(has("station = \"!=pier\"").len(), 4);
}
