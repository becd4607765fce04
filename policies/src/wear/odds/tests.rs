use super::*;
use crate::forecast::{Rate, Stretch};
use crate::odds::Prior;
use crate::service::Odds;
use crate::trend::Point;

mod pipeline;
mod trial;

const SCIPY: &str = include_str!("../../../../tests/golden/wear_odds_scipy.csv");

fn amount(text: &str) -> Amount {
    text.parse().unwrap()
}

/// One line of the table.
struct Line {
    cells: Vec<&'static str>,
}

impl Line {
    fn all(name: &str) -> Vec<Line> {
        let lines = SCIPY.lines().skip(1).map(|line| Line { cells: line.split(',').collect() });
        lines.filter(|line| line.cells[0] == name).collect()
    }

    fn number(&self, at: usize) -> f64 {
        self.cells[at].parse().unwrap()
    }

    fn limit(&self) -> Limit {
        let value = amount(self.cells[3]);
        if self.cells[4] == "least" { Limit::Least(value) } else { Limit::Most(value) }
    }

    fn trend(&self) -> Trend {
        let pairs = self.cells[1].split(' ').zip(self.cells[2].split(' '));
        let points: Vec<Point> =
            pairs.map(|(used, reading)| Point { used: amount(used), reading: amount(reading) }).collect();
        Trend::fit(&points).unwrap()
    }

    fn ahead(&self) -> UsesAhead {
        let odds = Odds::default();
        let log = Stretch { months: self.number(7), squares: self.number(8) };
        let rate = Rate::new(Prior::of_service(&odds), self.number(9), self.number(6), log, false);
        UsesAhead::new(rate, &odds.months, self.cells[10].parse().unwrap())
    }

    fn chances(&self, ahead: &UsesAhead) -> Vec<f64> {
        chances(&self.trend(), self.limit(), amount(self.cells[5]), ahead.most())
    }
}

/// Student's t by scipy (`tests/generators/wear_odds_scipy.py`).
#[test]
fn chances_of_one_more_reading_agree_with_scipy() {
    let lines = Line::all("reading");
    for line in &lines {
        let found = line.trend().chance_beyond(line.number(5), line.limit(), amount("0.01"));
        assert!((found - line.number(12)).abs() < 1e-9, "{:?}: {found}", line.cells);
    }
    assert!(lines.len() >= 100);
}

/// The sum over every count of uses by scipy, of which the reckoning here is exact up to 512 uses ahead.
#[test]
fn chances_by_a_day_agree_with_scipy() {
    let lines = Line::all("chance");
    for line in &lines {
        let ahead = line.ahead();
        let found = ahead.chance_by(line.cells[11].parse().unwrap(), &line.chances(&ahead)).unwrap();
        let within = if line.number(6) > 1000.0 { 2e-4 } else { 1e-8 };
        assert!((found - line.number(12)).abs() < within, "{:?}: {found}", line.cells);
    }
    assert!(lines.len() >= 80);
}

/// The first days looked for one by one by scipy.
#[test]
fn dates_agree_with_scipy() {
    let lines = Line::all("dates");
    for line in &lines {
        let ahead = line.ahead();
        let found = ahead.dates(&line.chances(&ahead));
        let wanted = line.cells[12].split(' ').map(|day| day.parse::<Date>().ok());
        assert_eq!(found.to_vec(), wanted.collect::<Vec<_>>(), "{:?}", line.cells);
    }
    assert!(lines.len() >= 25);
}

#[test]
fn chances_never_fall_and_end_with_certainty() {
    for line in Line::all("dates") {
        let ahead = line.ahead();
        let chances = line.chances(&ahead);
        assert!(chances.is_sorted() && chances.iter().all(|chance| (0.0..=1.0).contains(chance)));
        let last = *chances.last().unwrap();
        let full = u64::try_from(chances.len()).unwrap() == ahead.most() + 1;
        assert!(last >= CERTAIN || full, "{last} after {} uses", chances.len());
    }
}

/// A line that met its limit long ago says less and less the further it is drawn, but what has worn stays worn.
#[test]
fn a_limit_long_passed_stays_passed() {
    let readings = [("0", "12.0"), ("10", "11.6"), ("20", "11.9"), ("30", "11.5")];
    let point = |(used, reading): (&str, &str)| Point { used: amount(used), reading: amount(reading) };
    let trend = Trend::fit(&readings.map(point)).unwrap();
    let limit = Limit::Least(amount("11.95"));
    let now = trend.chance_beyond(30.0, limit, amount("0.01"));
    assert!(trend.chance_beyond(3_000.0, limit, amount("0.01")) < now);
    let all = chances(&trend, limit, amount("30"), 5_000);
    assert!(all.is_sorted() && all.len() == 5_001);
}

/// Three readings up and down: t with one degree of freedom has to pass 3.078 for 90 %.
#[test]
fn a_line_has_to_be_sure_of_its_way() {
    let point = |(used, reading): (&str, &str)| Point { used: amount(used), reading: amount(reading) };
    let trend = |last| Trend::fit(&[("0", "10"), ("50", "9.5"), ("100", last)].map(point)).unwrap();
    let (least, step) = (Limit::Least(amount("9")), amount("0.01"));
    let off = |trend: &Trend| -trend.slope * 5_000.0_f64.sqrt() / trend.residual_sd;
    let (steady, wild) = (trend("9.3"), trend("9.7"));
    assert!(off(&steady) > 3.078 && steady.sureness(least, step) > SURE);
    assert!(off(&wild) < 3.078 && off(&wild) > 0.0 && wild.sureness(least, step) < SURE);
    assert!(
        (wild.sureness(least, step) + wild.sureness(Limit::Most(amount("11")), step) - 1.0).abs() < 1e-12
    );
}
