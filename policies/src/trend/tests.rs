use super::*;

const NORRIS: &str = include_str!("../../../tests/golden/nist_norris.csv");
const SCIPY: &str = include_str!("../../../tests/golden/trend_scipy.csv");

fn amount(text: &str) -> Amount {
    text.parse().unwrap()
}

fn points(used: &[&str], readings: &[&str]) -> Vec<Point> {
    let point = |(used, reading): (&&str, &&str)| Point { used: amount(used), reading: amount(reading) };
    used.iter().zip(readings).map(point).collect()
}

fn chain(last: &str) -> Vec<Point> {
    points(&["0", "63", "121", "188", "240"], &["12.95", "12.71", "12.49", "12.21", last])
}

fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} is not {wanted} within {within}");
}

fn relative(found: f64, wanted: f64, within: f64) {
    near(found, wanted, wanted.abs() * within);
}

/// Chain C-0222: slope -0.00403 mm a launch; crosses 11.70 at 312.9; the bound crosses at 301, so that 60
/// launches are safe and the 61st is not.
#[test]
fn a_chain_has_sixty_safe_launches() {
    let trend = Trend::fit(&chain("11.98")).unwrap();
    let limit = Limit::Least(amount("11.70"));
    near(trend.slope, -0.00403, 0.000_005);
    near(trend.crossing(limit).unwrap(), 312.9, 0.05);
    near(trend.bound_crossing(limit).unwrap().ceil(), 301.0, 0.0);
    assert_eq!(trend.uses_left(limit), Some(60));
}

/// Winch wire at Orrabel: slope -0.00262; 22.60 less 7.5 % of 22 is 20.95, met at 628 pulls: 298 by trend, but
/// the life of 400 pulls leaves 70 and comes first.
#[test]
fn a_wire_trend_does_not_put_off_its_life() {
    let wire = points(&["0", "110", "215", "330"], &["22.60", "22.31", "22.02", "21.74"]);
    let (trend, limit) = (Trend::fit(&wire).unwrap(), Limit::Least(amount("20.95")));
    near(trend.slope, -0.00262, 0.000_005);
    let crossing = trend.crossing(limit).unwrap();
    near(crossing, 628.0, 0.5);
    near(crossing - 330.0, 298.0, 0.5);
    let by_trend = trend.uses_left(limit);
    assert!(by_trend.unwrap() < 298 && by_trend.unwrap() > 70);
    assert_eq!(sooner(by_trend, Some(70)), Some(70));
    assert_eq!(
        (sooner(Some(12), Some(70)), sooner(None, Some(70)), sooner(None, None)),
        (Some(12), Some(70), None)
    );
}

/// Chain C-0221: the first four give 12.01 at 240 launches; read 11.66, off by 0.35 with sd 0.009.
#[test]
fn a_sudden_loss_is_a_jump() {
    let limit = Limit::Least(amount("11.70"));
    let found = jump(&chain("11.66"), limit, amount("0.01")).unwrap();
    near(found.expected, 12.01, 0.005);
    near(found.off, -0.35, 0.005);
    near(found.residual_sd, 0.009, 0.0005);
    assert!(found.towards_limit);
    assert_eq!(jump(&chain("11.98"), limit, amount("0.01")), None);
    let growth = jump(&chain("12.60"), limit, amount("0.01")).unwrap();
    assert!(!growth.towards_limit);
}

#[test]
fn readings_on_a_line_jump_by_more_than_the_gauges_step() {
    let even = points(&["0", "10", "20", "30", "40"], &["12.95", "12.90", "12.85", "12.80", "12.74"]);
    let limit = Limit::Least(amount("11.70"));
    assert_eq!(jump(&even, limit, amount("0.01")), None);
    assert!(jump(&even, limit, amount("0.0001")).is_some());
    assert_eq!(jump(&even[..4], limit, amount("0.0001")), None, "three say too little of their scatter");
}

#[test]
fn too_little_makes_no_trend() {
    assert_eq!(Trend::fit(&chain("11.98")[..2]), Err(NoTrend::TooFew(2)));
    assert_eq!(Trend::fit(&points(&["5", "5", "5"], &["12", "11", "10"])), Err(NoTrend::NoUse));
}

#[test]
fn readings_that_do_not_near_a_limit_never_cross_it() {
    let grown = Trend::fit(&points(&["0", "10", "20"], &["12.9", "12.91", "12.93"])).unwrap();
    let least = Limit::Least(amount("11.7"));
    assert_eq!(
        (grown.crossing(least), grown.bound_crossing(least), grown.uses_left(least)),
        (None, None, None)
    );
    let most = Limit::Most(amount("13"));
    assert!(grown.crossing(most).unwrap() > 20.0);
    assert!(grown.bound_crossing(most).unwrap() <= grown.crossing(most).unwrap());
    let level = Trend::fit(&points(&["0", "10", "20"], &["12.9", "12.9", "12.9"])).unwrap();
    assert_eq!(level.crossing(least), None);
}

#[test]
fn a_limit_already_passed_leaves_nothing() {
    let trend = Trend::fit(&chain("11.98")).unwrap();
    assert_eq!(trend.uses_left(Limit::Least(amount("12.5"))), Some(0));
}

fn norris() -> Trend {
    let pairs: Vec<Point> = NORRIS
        .lines()
        .skip(1)
        .map(|line| line.split_once(',').unwrap())
        .map(|(x, y)| Point { used: amount(x), reading: amount(y) })
        .collect();
    assert_eq!(pairs.len(), 36);
    Trend::fit(&pairs).unwrap()
}

/// NIST statistical reference data, linear regression, Norris: certified slope, intercept and residual standard deviation, to ten digits.
#[test]
fn the_norris_line_has_its_certified_values() {
    let trend = norris();
    relative(trend.slope, 1.002_116_818_020_45, 1e-11);
    relative(trend.intercept, -0.262_323_073_774_029, 1e-11);
    relative(trend.residual_sd, 0.884_796_396_144_373, 1e-11);
}

/// The 95 % prediction intervals of the Norris line, t(0.975; 34) = 2.03224451, reckoned apart in exact fractions.
#[test]
fn the_norris_line_has_its_prediction_intervals() {
    let trend = norris();
    near(trend.quantile(0.975), 2.032_244_51, 1e-8);
    for (at, fit, low, high) in [
        (100.0, 99.949_359, 98.105_239, 101.793_479),
        (500.0, 500.796_086, 498.971_794, 502.620_378),
        (1000.0, 1_001.854_495, 999.962_292, 1_003.746_698),
        (1200.0, 1_202.277_859, 1_200.331_530, 1_204.224_187),
    ] {
        let margin = trend.margin(at, 0.975);
        near(trend.at(at), fit, 1e-6);
        near(trend.at(at) - margin, low, 1e-6);
        near(trend.at(at) + margin, high, 1e-6);
    }
}

/// Lines, margins and crossings by numpy and scipy (`tests/generators/trend_scipy.py`).
#[test]
fn lines_margins_and_crossings_agree_with_scipy() {
    let mut compared = [0, 0, 0];
    for row in SCIPY.lines().skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        let words = |text: &'static str| text.split(' ').collect::<Vec<_>>();
        let trend = Trend::fit(&points(&words(cells[1]), &words(cells[2]))).unwrap();
        let number = |at: usize| cells[at].parse::<f64>().unwrap();
        match cells[0] {
            "line" => {
                relative(trend.slope, number(3), 1e-9);
                relative(trend.intercept, number(4), 1e-9);
                relative(trend.residual_sd, number(5), 1e-7);
                compared[0] += 1;
            }
            "margin" => {
                relative(trend.margin(number(6), number(7)), number(10), 1e-7);
                compared[1] += 1;
            }
            "crossing" => {
                let limit = amount(cells[8]);
                let limit = if cells[9] == "least" { Limit::Least(limit) } else { Limit::Most(limit) };
                relative(trend.bound_crossing(limit).unwrap(), number(10), 1e-7);
                compared[2] += 1;
            }
            other => panic!("{other}"),
        }
    }
    assert!(compared[0] >= 30 && compared[1] >= 150 && compared[2] >= 30, "{compared:?}");
}
