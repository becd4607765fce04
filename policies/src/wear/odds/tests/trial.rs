//! Dates tried on simulated gear whose wear and use are known.

use jiff::ToSpan;
use jiff::civil::date;

use super::pipeline::set;
use super::*;
use crate::facts::{Fleet, FleetBuilder, ItemRecord, Quantity};
use crate::forecast::exposure;
use crate::load::PolicySet;
use crate::odds_trial::{Draw, Tally};
use crate::wear::Read;
use crate::zone::{Instant, When, Zone};

const ITEMS: u32 = 400;
const AS_OF: Date = date(2026, 3, 31);
/// Days drawn on after the as-of date, at most.
const LONGEST: i32 = 7_000;

/// What is true of one chain.
struct Truth {
    tag: String,
    rate: f64,
    /// First day of its host's log.
    first: Date,
    /// Launches by day from then on.
    log: Vec<(Date, i64)>,
    used: i64,
    start: f64,
    slope: f64,
    noise: f64,
}

impl Truth {
    /// A rate as the prior believes it, one to four years of log, and a line that meets 11.7 mm after 10 to 100 more
    /// launches.
    fn draw(number: u32, months: &[f64; 12], draw: &mut Draw) -> Truth {
        let rate = draw.gamma(8.0);
        let first = AS_OF.saturating_sub((370 + i64::from(draw.below(1_000))).days());
        let mut log = Vec::new();
        let mut day = first;
        while day <= AS_OF {
            let count = i64::from(draw.poisson(rate * exposure(months, day, day)));
            log.extend((count > 0).then_some((day, count)));
            day = day.tomorrow().unwrap();
        }
        let used = log.iter().map(|(_, count)| count).sum();
        let slope = 0.003 + 0.004 * draw.uniform();
        let left = 10.0 + 90.0 * draw.uniform();
        let noise = 0.01 + 0.02 * draw.uniform();
        #[expect(clippy::cast_precision_loss, reason = "a few hundred launches")]
        let start = 11.7 + slope * (used as f64 + left);
        Truth { tag: format!("C-{number}"), rate, first, log, used, start, slope, noise }
    }

    #[expect(clippy::cast_precision_loss, reason = "a few hundred launches")]
    fn worn_to(&self, used: i64) -> f64 {
        self.start - self.slope * used as f64
    }

    /// Four to nine readings, evenly over the log, to the hundredth.
    fn reads(&self, rule: RuleId, draw: &mut Draw) -> Vec<Read> {
        let readings = 4 + draw.below(6);
        let days = (AS_OF - self.first).get_days();
        let read = |number: u32| {
            let before =
                days * i32::try_from(readings - 1 - number).unwrap() / i32::try_from(readings).unwrap();
            let on = AS_OF.checked_sub(before.days()).unwrap();
            let used = self.log.iter().filter(|(day, _)| *day <= on).map(|(_, count)| count).sum();
            let read = self.worn_to(used) + self.noise * draw.normal();
            let value = amount(&format!("{read:.2}"));
            let at = Instant(Zone::utc().end_of(on).0 - 1);
            Read { rule, name: "diameter".to_owned(), at, on, value }
        };
        (0..readings).map(read).collect()
    }

    /// The day on which it has worn to its limit, as a reading shows that is `off` the truth.
    fn crossing(&self, off: f64, months: &[f64; 12], draw: &mut Draw) -> Date {
        let (mut day, mut used) = (AS_OF, self.used);
        for _ in 0..LONGEST {
            if self.worn_to(used) + off < 11.7 {
                break;
            }
            day = day.tomorrow().unwrap();
            used += i64::from(draw.poisson(self.rate * exposure(months, day, day)));
        }
        day
    }
}

fn fleet(set: &PolicySet, truths: &[Truth]) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    builder.station("nethery", "Nethery", Zone::utc(), false);
    let station = Some("nethery");
    for truth in truths {
        let host = format!("L{}", truth.tag);
        builder.item(&ItemRecord { tag: &host, kind: "carriage", station, ..ItemRecord::default() });
        builder.item(&ItemRecord { tag: &truth.tag, kind: "chain", station, ..ItemRecord::default() });
        builder.fitting(&truth.tag, &host, "stopper", When::Day(date(2010, 1, 1)), None);
        // A log that began with a launch would be busier than its host.
        builder.used(&host, "recoveries", When::Day(truth.first), Quantity::Count(Amount::whole(1)));
        for (day, count) in &truth.log {
            builder.used(&host, "launches", When::Day(*day), Quantity::Count(Amount::whole(*count)));
        }
    }
    builder.finish().0
}

/// What came of the dates of some fleets.
#[derive(Default)]
struct Found {
    /// By the odds.
    dates: Tally,
    /// By the line alone, as if it were certain.
    line: Tally,
    /// Items that have no odds.
    silent: u32,
}

/// `scatter` is the share of a reading's own scatter that stands between the wear and its finding.
fn tried(seeds: std::ops::Range<u64>, scatter: f64) -> Found {
    let set = set("");
    let mut found = Found::default();
    for seed in seeds {
        add(&mut found, &set, &mut Draw::new(seed), scatter);
    }
    found
}

fn add(found: &mut Found, set: &PolicySet, draw: &mut Draw, scatter: f64) {
    let months = Odds::default().months;
    let truths: Vec<Truth> = (0..ITEMS).map(|number| Truth::draw(number, &months, draw)).collect();
    let fleet = fleet(set, &truths);
    let evaluator = Evaluator::new(set, &fleet, AS_OF);
    let rule = set.find_rule("gauging").unwrap();
    for truth in &truths {
        let reads = truth.reads(rule, draw);
        let off = scatter * truth.noise * draw.normal();
        let crossed = truth.crossing(off, &months, draw);
        let wear = evaluator.wear(fleet.find(&truth.tag).unwrap(), &reads, &[]).pop().unwrap();
        let Ok(odds) = &wear.odds else {
            found.silent += 1;
            continue;
        };
        found.dates.add(odds.by_wear, crossed);
        found.line.add(by_the_line(&wear, odds), crossed);
    }
}

fn by_the_line(wear: &Wear, odds: &WearOdds) -> Dates {
    let crossing = wear.trend.unwrap().crossing(wear.limit.unwrap()).unwrap();
    let mut certain: Vec<f64> = Vec::new();
    while wear.used.to_f64() + count(u64::try_from(certain.len()).unwrap()) < crossing {
        certain.push(0.0);
    }
    certain.push(1.0);
    odds.ahead.dates(&certain)
}

fn shares(tally: &Tally) -> (f64, f64, f64) {
    (tally.percent(tally.before[0]), tally.percent(tally.before[1]), tally.percent(tally.inside))
}

/// The day on which a reading finds the limit passed. Of 1,200 chains drawn, one in fifty has no odds: its latest reading
/// jumps, or is beyond the limit already.
#[test]
fn dates_of_a_reading_beyond_the_limit_are_calibrated() {
    let found = tried(20_261_012..20_261_015, 1.0);
    let (early, half, inside) = shares(&found.dates);
    assert!(found.silent <= 3 * ITEMS / 20, "{} say nothing", found.silent);
    assert!((6.0..=14.0).contains(&early), "{early} % before the 10 % date");
    assert!((45.0..=55.0).contains(&half), "{half} % before the 50 % date");
    assert!((74.0..=86.0).contains(&inside), "{inside} % from the 10 % to the 90 % date");
    let (_, _, inside) = shares(&found.line);
    assert!(inside < 70.0, "the line alone is too sure, and this trial can tell: {inside} %");
}

/// The day on which the chain itself has worn to its limit, found or not: a reading's own scatter makes the dates wider
/// than that needs, and neither early nor late.
#[test]
fn dates_are_on_the_cautious_side_of_the_wear_itself() {
    let found = tried(20_261_012..20_261_015, 0.0);
    let (early, half, inside) = shares(&found.dates);
    assert!(early <= 10.0, "{early} % before the 10 % date");
    assert!((45.0..=55.0).contains(&half), "{half} % before the 50 % date");
    assert!((78.0..=94.0).contains(&inside), "{inside} % from the 10 % to the 90 % date");
}
