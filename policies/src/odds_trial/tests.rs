use super::*;

/// Rates are drawn by the same seed whatever the spread, so that a truth is compared with itself alone.
fn trial(spread: f64) -> Tally {
    run(&Trial { seed: 20_261_012, fleets: 60, hosts: 12, groups: 0, spread, longest_log: 48, learn: true })
        .unwrap()
}

fn is_calibrated(tally: &Tally) {
    let (inside, early) = (tally.percent(tally.inside), tally.percent(tally.before[0]));
    assert!(tally.crossings >= 2_000);
    assert!((75.0..=85.0).contains(&inside), "{inside} % inside");
    assert!((7.0..=13.0).contains(&early), "{early} % before the 10 % date");
}

#[test]
fn forecasts_are_calibrated_on_plain_seasonal_fleets() {
    is_calibrated(&trial(0.0));
}

#[test]
fn forecasts_are_calibrated_on_fleets_whose_months_stray() {
    is_calibrated(&trial(0.25));
}

/// Two groups of six hosts, each group as busy as it falls.
#[test]
fn forecasts_are_calibrated_on_fleets_of_station_groups() {
    let trial = Trial {
        seed: 44_000_000,
        fleets: 60,
        hosts: 12,
        groups: 2,
        spread: 0.1,
        longest_log: 24,
        learn: true,
    };
    is_calibrated(&run(&trial).unwrap());
}

/// Pinned odds know neither the season nor the spread of these fleets: the trial can tell.
#[test]
fn pinned_odds_are_too_sure_where_months_stray() {
    let pinned =
        Trial { seed: 1, fleets: 20, hosts: 12, groups: 0, spread: 0.5, longest_log: 48, learn: false };
    let tally = run(&pinned).unwrap();
    assert!(tally.percent(tally.inside) < 75.0, "{tally:?}");
}

#[test]
fn a_tally_counts_before_and_inside() {
    let day = |n| date(2026, 1, n);
    let dates = [Some(day(10)), Some(day(15)), Some(day(20))];
    let mut tally = Tally::default();
    for crossed in [9, 10, 15, 20, 21] {
        tally.add(dates, day(crossed));
    }
    assert_eq!(tally, Tally { crossings: 5, before: [1, 2, 3], inside: 3 });
    tally.add([Some(day(10)), None, None], day(25));
    assert_eq!(tally, Tally { crossings: 6, before: [1, 3, 4], inside: 4 });
    assert!((tally.percent(3) - 50.0).abs() < f64::EPSILON);
}
