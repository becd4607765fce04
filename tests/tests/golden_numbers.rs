//! Numbers reckoned elsewhere: civil dates by python-dateutil, odds by scipy, and the worked numbers of the domain
//! brief on the demo register.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::path::{Path, PathBuf};

use daemon::desk::Desk;
use daemon::due_list::{self, Line, Wanted};
use daemon::{demo, verify};
use jiff::civil::{Date, date};
use policies::due::Evaluator;
use policies::explain::Derivation;
use policies::forecast::{Rate, Stretch, chance, exposure};
use policies::odds::{Lender, Prior};
use policies::service::Odds;
use policies::span::Span;

fn golden(name: &str) -> Vec<csv::StringRecord> {
    let path: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden").join(name);
    csv::Reader::from_path(path).unwrap().into_records().map(Result::unwrap).collect()
}

/// Spans forward and back against python-dateutil's relativedelta, which clamps to the month's end
/// (`generators/calendar_dateutil.py`): month ends, leap days, the year 2100, and any day.
#[test]
fn spans_agree_with_dateutil() {
    let rows = golden("calendar_dateutil.csv");
    let mut clamped = 0;
    for row in &rows {
        let (start, span): (Date, Span) = (row[0].parse().unwrap(), row[1].parse().unwrap());
        let (plus, minus): (Date, Date) = (row[2].parse().unwrap(), row[3].parse().unwrap());
        assert_eq!(span.after(start, 1), plus, "{start} + {span}");
        assert_eq!(span.before(start), minus, "{start} - {span}");
        let months = span.to_string().contains("month") || span.to_string().contains("year");
        clamped += usize::from(months && plus.day() != start.day());
    }
    assert!(rows.len() >= 5_000, "only {} cases", rows.len());
    assert!(clamped > 300, "only {clamped} cases clamp to a month's end");
}

/// A multiple is reckoned from the start itself: six times a month is six months, by dateutil too.
#[test]
fn multiples_are_reckoned_from_the_start() {
    let mut compared = 0;
    for row in golden("calendar_dateutil.csv") {
        let (count, unit) = row[1].split_once(' ').unwrap();
        let (start, count): (Date, u32) = (row[0].parse().unwrap(), count.parse().unwrap());
        let one: Span = format!("1 {unit}").parse().unwrap();
        assert_eq!(one.after(start, count).to_string(), &row[2], "{start} + {count} × {one}");
        compared += 1;
    }
    assert!(compared >= 5_000);
}

fn number(text: &str) -> f64 {
    text.parse().unwrap()
}

fn rate(row: &csv::StringRecord) -> Rate {
    let prior = Prior { uses: number(&row[1]), months: number(&row[2]), lender: Lender::Service };
    Rate::new(prior, 0.0, 0.0, Stretch::default(), false)
}

/// Chances against scipy.stats.nbinom.sf (`generators/forecast_scipy.py`), to 1e-9.
#[test]
fn chances_of_crossing_agree_with_scipy() {
    let rows: Vec<_> = golden("forecast_scipy.csv").into_iter().filter(|row| &row[0] == "crossing").collect();
    for row in &rows {
        let found = chance(&rate(row), row[4].parse().unwrap(), number(&row[3]));
        let wanted = number(&row[5]);
        assert!((found - wanted).abs() < 1e-9, "{row:?}: {found}");
    }
    assert!(rows.len() >= 50, "only {} points", rows.len());
}

/// Quantiles against scipy.stats.nbinom.ppf: the least k with P(X <= k) >= level, where P(X <= k) is
/// 1 - P(X >= k + 1).
#[test]
fn quantiles_agree_with_scipy() {
    let rows: Vec<_> = golden("forecast_scipy.csv").into_iter().filter(|row| &row[0] == "quantile").collect();
    for row in &rows {
        let (rate, ahead, level) = (rate(row), number(&row[3]), number(&row[6]));
        let at_most = |k: u64| 1.0 - chance(&rate, k + 1, ahead);
        let wanted: u64 = row[7].parse().unwrap();
        assert!(at_most(wanted) >= level, "{row:?}: {} at {wanted}", at_most(wanted));
        assert!(wanted == 0 || at_most(wanted - 1) < level, "{row:?}: a smaller one does");
    }
    assert!(rows.len() >= 50, "only {} points", rows.len());
}

/// The exposures that scipy was given are ours: each day its month's factor over the days of its month, six months
/// apart in the south.
#[test]
fn exposures_ahead_agree_with_the_generator() {
    let north = Odds::default().months;
    let south = std::array::from_fn(|month| north[(month + 6) % 12]);
    let mut compared = 0;
    for row in golden("forecast_scipy.csv").iter().filter(|row| !row[8].is_empty()) {
        let (left, by) = row[8].split_once(" left by ").unwrap();
        let months = if left == "31" { &south } else { &north };
        let ahead = exposure(months, date(2026, 10, 12), by.parse().unwrap());
        assert!((ahead - number(&row[3])).abs() < 1e-9, "{row:?}: {ahead}");
        compared += 1;
    }
    assert_eq!(compared, 17);
}

/// Domain brief 4.8: scipy puts each worked date where its level is first reached, and the day before below it.
#[test]
fn worked_dates_are_where_scipy_crosses() {
    let rows = golden("forecast_scipy.csv");
    let chance_by = |about: String| rows.iter().find(|row| row[8] == about).map(|row| number(&row[5]));
    for (left, level, before, on) in [
        (8, 0.1, "2026-10-27", "2026-10-28"),
        (8, 0.5, "2026-11-08", "2026-11-09"),
        (8, 0.9, "2026-11-25", "2026-11-26"),
        (31, 0.1, "2027-11-12", "2027-11-13"),
        (31, 0.5, "2028-02-17", "2028-02-18"),
        (31, 0.9, "2028-09-04", "2028-09-05"),
    ] {
        let (earlier, reached) =
            (chance_by(format!("{left} left by {before}")), chance_by(format!("{left} left by {on}")));
        assert!(
            earlier.unwrap() < level && reached.unwrap() >= level,
            "{left} left, {level}: {earlier:?} {reached:?}"
        );
    }
}

struct Demo {
    desk: Desk,
    _folder: tempfile::TempDir,
}

impl Demo {
    async fn load() -> Demo {
        let folder = tempfile::tempdir().unwrap();
        Demo { desk: demo::load(folder.path()).await.unwrap(), _folder: folder }
    }

    async fn line(&self, item: &str, rule: &str) -> Line {
        let wanted = Wanted { item: Some(item.to_owned()), rule: Some(rule.to_owned()), ..Wanted::default() };
        let look = |fleet: &_| due_list::lines(&self.desk.set, fleet, demo::STATED, &wanted);
        self.desk.with_fleet(look).await.unwrap().pop().unwrap()
    }

    async fn derivation(&self, item: &str, rule: &str) -> Derivation {
        let set = &self.desk.set;
        let look = |fleet: &policies::facts::Fleet| {
            Evaluator::new(set, fleet, demo::STATED)
                .derive(fleet.find(item).unwrap(), set.find_rule(rule).unwrap())
        };
        self.desk.with_fleet(look).await.unwrap()
    }
}

fn forecast(line: &Line) -> [&str; 3] {
    [&line.usage_p10, &line.usage_p50, &line.usage_p90]
}

/// Domain brief 4.1 A and 4.8 A: 61 at TAN, 84 at PEL, 97 at QUA; 242 of 250, 8 left: 28 Oct, 9 Nov, 26 Nov.
#[tokio::test]
async fn the_twice_moved_wire_at_quarle() {
    let demo = Demo::load().await;
    let line = demo.line("F-0417", "fall-renewal").await;
    assert_eq!((line.station.as_str(), line.used.as_str(), line.limit.as_str()), ("qua", "242", "250"));
    assert_eq!(forecast(&line), ["2026-10-28", "2026-11-09", "2026-11-26"]);
    assert_eq!((line.due_on.as_str(), line.because, line.standing), ("2026-10-28", "usage", "falling due"));
    let working = demo.derivation("F-0417", "fall-renewal").await;
    let borne: Vec<String> = working.usage[0].borne.iter().map(|part| part.dated.to_string()).collect();
    assert_eq!(borne, ["61", "84", "97"]);
    let foreseen = working.usage[0].forecast.unwrap();
    assert_eq!((foreseen.remaining.to_string().as_str(), foreseen.rate.uses), ("8", 358.0));
    // Domain brief 4.7 A: 366 in 37.32 mean months.
    assert!(
        (foreseen.rate.a - 366.0).abs() < 1e-9 && (foreseen.rate.b - 37.32).abs() < 0.005,
        "{foreseen:?}"
    );
}

/// Domain brief 4.3 B, 4.7 B and 4.8 B: 31 left at Quenna Roads in the south: 13 Nov 2027, 18 Feb and 5 Sep 2028; the
/// calendar, 1 Jun 2027, comes first and usage is the runner-up.
#[tokio::test]
async fn the_falls_at_quenna_roads() {
    let demo = Demo::load().await;
    for item in ["F-0427", "F-0428"] {
        let line = demo.line(item, "fall-renewal").await;
        assert_eq!((line.station.as_str(), line.used.as_str(), line.limit.as_str()), ("qnr", "219", "250"));
        assert_eq!(forecast(&line), ["2027-11-13", "2028-02-18", "2028-09-05"]);
        assert_eq!(
            (line.due_on.as_str(), line.because, line.calendar_due.as_str()),
            ("2027-06-01", "calendar", "2027-06-01")
        );
    }
    let working = demo.derivation("F-0427", "fall-renewal").await;
    assert_eq!(working.runner_up, Some((policies::due::Because::Usage, date(2027, 11, 13))));
    let rate = working.usage[0].forecast.unwrap().rate;
    assert!(rate.southern && (rate.a - 66.0).abs() < 1e-9 && (rate.b - 37.34).abs() < 0.005, "{rate:?}");
}

/// Domain brief section 7, story 5: 384 of 400 pulls at Senloe, 9 Dec, 7 Jan, 11 Feb; Ullery's wire stops by the
/// calendar on 9 Jan 2027.
#[tokio::test]
async fn the_winch_wires_at_senloe_and_ullery() {
    let demo = Demo::load().await;
    let senloe = demo.line("W-0445", "winch-wire-renewal").await;
    assert_eq!((senloe.station.as_str(), senloe.used.as_str(), senloe.limit.as_str()), ("sen", "384", "400"));
    assert_eq!(forecast(&senloe), ["2026-12-09", "2027-01-07", "2027-02-11"]);
    let ullery = demo.line("W-0438", "winch-wire-renewal").await;
    assert_eq!((ullery.station.as_str(), ullery.calendar_due.as_str()), ("ull", "2027-01-09"));
    assert_eq!((ullery.due_on.as_str(), ullery.because), ("2027-01-09", "calendar"));
}

/// What is stored is what the records say.
#[tokio::test]
async fn the_demo_verifies() {
    let demo = Demo::load().await;
    let verified = verify::differences(&demo.desk).await.unwrap();
    assert_eq!(verified.differences, Vec::<String>::new());
    assert!(verified.rows > 1_000, "only {} rows", verified.rows);
    assert_eq!(verified.head.seq, 2, "the set, and the register");
}
