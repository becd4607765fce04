//! Drawings by themselves.

use jiff::civil::date;

use super::axis::{Days, Numbers};
use super::bars::{Bar, bars};
use super::shore::{Boat, Mark, Place, Shore, shore};
use super::strip::{Dated, Reach, Row, strip};
use super::*;

fn place(name: &str, mark: Mark, mile: f64) -> Place {
    Place { name: name.to_owned(), mark, mile, off: 0.0, joins: Vec::new() }
}

fn boat(mile: f64) -> Boat {
    Boat { mile, after: 12.0, per_mile: 60.0 / 18.0 }
}

fn coast() -> Shore {
    Shore {
        places: vec![
            place("Cawdle Bay", Mark::Ready, 0.0),
            place("Nethery Ness", Mark::Off, 13.0),
            place("<Quarle> & \"Beach\"", Mark::Limits, 28.0),
        ],
        boats: vec![boat(0.0), boat(28.0)],
        waits: Vec::new(),
        standard: 45.0,
        together: Vec::new(),
        bearing: 180.0,
    }
}

/// domain brief 4.13 A: Cawdle Bay to Quarle Beach, 28 nm; half-way is 14 nm, 58.7 min, for equal boats.
#[test]
fn the_first_boat_is_latest_half_way_between_equal_boats() {
    let coast = coast();
    let worst = coast.worst(0.0, 28.0);
    assert!((worst - 14.0).abs() < 1e-9, "{worst}");
    assert!((coast.minutes(worst).unwrap() - 58.666_666).abs() < 1e-5);
    assert!((coast.minutes(0.0).unwrap() - 12.0).abs() < 1e-9);
    assert_eq!(Shore { boats: Vec::new(), ..coast }.minutes(3.0), None);
}

#[test]
fn names_are_texts_whatever_they_hold() {
    let drawn = shore("one", "A <coast> & \"more\"", &coast());
    assert!(drawn.contains("A &#60;coast&#62; &#38; &#34;more&#34;"), "{drawn}");
    assert!(!drawn.contains("<Quarle>") && !drawn.contains("<coast>"), "{drawn}");
    let rows = [Row { name: "<b>x</b>".to_owned(), ..Row::default() }];
    let drawn =
        strip("two", "t", Reach { from: date(2026, 10, 11), to: date(2028, 4, 11), names: 170.0 }, &rows);
    assert!(drawn.contains("&#60;b&#62;x") && !drawn.contains("<b>"), "{drawn}");
}

#[test]
fn each_width_has_a_title_of_its_own() {
    let drawn = shore("one", "The coast", &coast());
    assert_eq!(drawn.matches("<title ").count(), 2);
    assert_eq!(drawn.matches("role=\"img\"").count(), 2);
    for id in ["one-wide", "one-narrow"] {
        assert_eq!(drawn.matches(&format!("aria-labelledby=\"{id}\"")).count(), 1);
        assert_eq!(drawn.matches(&format!("<title id=\"{id}\">")).count(), 1);
        assert_eq!(drawn.matches(&format!("<pattern id=\"{id}-hatch\"")).count(), 1);
    }
    assert!(!drawn.contains("style="));
}

#[test]
fn gaps_are_hatched_and_only_gaps() {
    assert_eq!(shore("one", "", &coast()).matches("class=\"hatched\"").count(), 4);
    let near = Shore { standard: 59.0, ..coast() };
    assert_eq!(shore("one", "", &near).matches("class=\"hatched\"").count(), 0);
}

#[test]
fn days_lie_evenly_and_never_beyond_the_ends() {
    let axis = Days { from: date(2026, 1, 1), to: date(2026, 12, 31), left: 10.0, right: 374.0 };
    let near = |day, x: f64| assert!((axis.x(day) - x).abs() < 1e-9, "{day}: {}", axis.x(day));
    near(date(2026, 1, 1), 10.0);
    near(date(2026, 1, 2), 11.0);
    near(date(2026, 12, 31), 374.0);
    near(date(2027, 5, 1), 374.0);
    near(date(2025, 5, 1), 10.0);
}

#[test]
fn numbers_run_either_way() {
    let up = Numbers { from: 0.0, to: 10.0, start: 100.0, end: 0.0 };
    assert!((up.at(2.5) - 75.0).abs() < 1e-9);
    assert!((up.at(20.0)).abs() < 1e-9);
    let same = Numbers { from: 3.0, to: 3.0, start: 1.0, end: 2.0 };
    assert!(same.at(3.0).is_finite());
}

/// A band begins at its first date; one that begins beyond the strip is not drawn.
#[test]
fn bands_and_bars_stand_where_their_dates_are() {
    let reach = Reach { from: date(2026, 10, 11), to: date(2028, 4, 11), names: 170.0 };
    let odds = |dates| {
        let rows = [Row { odds: vec![dates], ..Row::default() }];
        strip("s", "", reach, &rows)
    };
    let whole = odds([Some(date(2026, 10, 28)), Some(date(2026, 11, 9)), Some(date(2026, 11, 26))]);
    assert_eq!(whole.matches("class=\"odds\"").count(), 2);
    assert_eq!(whole.matches("class=\"half\"").count(), 2);
    let late = odds([Some(date(2028, 3, 1)), Some(date(2028, 6, 1)), None]);
    assert_eq!(late.matches("class=\"odds\"").count(), 2);
    assert_eq!(late.matches("class=\"half\"").count(), 0);
    assert_eq!(odds([Some(date(2028, 5, 1)), None, None]).matches("class=\"odds\"").count(), 0);
    let hard = |day| {
        let dates = vec![Dated { hard: Some(day), ..Dated::default() }];
        strip("s", "", reach, &[Row { dates, ..Row::default() }]).matches("class=\"hard\"").count()
    };
    assert_eq!(hard(date(2028, 4, 11)), 2);
    assert_eq!(hard(date(2028, 4, 12)), 0);
}

/// Of two numbers, one half the other, the bars are so too.
#[test]
fn bars_are_as_long_as_their_numbers() {
    let bar = |value: f64| Bar { name: "x".to_owned(), value, figure: value.to_string(), hatched: false };
    let drawn = bars("b", Size::Wide, "", &[bar(84.0), bar(42.0)]);
    let ends: Vec<f64> = drawn
        .split("class=\"bar\" d=\"M330 ")
        .skip(1)
        .filter_map(|part| part.split(['H', 'V']).nth(1)?.parse().ok())
        .collect();
    assert!(((ends[0] - 330.0) / (ends[1] - 330.0) - 2.0).abs() < 0.01, "{ends:?}");
}

#[test]
fn long_names_wrap_or_are_cut() {
    assert_eq!(wrapped("Dunvarrow Sands", 9), ["Dunvarrow", "Sands"]);
    assert_eq!(wrapped("Ullery Bar", 12), ["Ullery Bar"]);
    assert_eq!(cut("Falhollow Sands", 9), "Falhollo…");
    assert_eq!(cut("Short", 9), "Short");
}
