use super::*;
use crate::facts::{FleetBuilder, ItemRecord, Quantity};
use crate::forecast::Forecaster;
use crate::load::{PolicyFile, load};
use crate::odds::Learnt;
use crate::zone::{When, Zone};
use jiff::civil::{Date, date};

const POLICY: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches", "recoveries", "immersions"]
positions = [{ name = "port fall", takes = "launching fall" }]
[[kind]]
name = "tractor"
meters = [{ name = "engine hours", dial = true }]
[[kind]]
name = "launching fall"
[[rule]]
id = "fall-renewal"
title = "Renewal"
applies_to = { kind = "launching fall" }
work = "renewal"
usage = [{ meter = "launches", every = 100 }]
overdue = "stops launch"
authority = "house"
[[rule]]
id = "fall-look"
title = "Look at it"
applies_to = { kind = "launching fall" }
work = "check"
usage = [{ meter = "launches", every = 10 }]
overdue = "advisory"
authority = "house"
"#;
const AS_OF: Date = date(2026, 10, 11);
const LAUNCHES: MeterId = MeterId(0);

fn set(learn: bool) -> PolicySet {
    let file = |name: &str, text: String| PolicyFile { name: name.to_owned(), text };
    let service = format!("[odds]\nlearn = {learn}\n");
    load(&[file("kinds.toml", POLICY.to_owned()), file("service.toml", service)]).unwrap()
}

/// So many minutes after noon of a day in 2026.
fn noon(month: i8, day: i8, minutes: i64) -> Instant {
    Instant(Zone::utc().instant(date(2026, month, day).at(12, 0, 0, 0)).0 + minutes * MINUTE_MICROS)
}

struct Bench {
    set: PolicySet,
    answers: Vec<(Instant, Instant)>,
    accounted: Vec<Date>,
    uses: Vec<(&'static str, &'static str, Instant, Quantity)>,
}

impl Bench {
    fn new(learn: bool) -> Bench {
        Bench { set: set(learn), answers: Vec::new(), accounted: Vec::new(), uses: Vec::new() }
    }

    fn used(&mut self, meter: &'static str, at: Instant) {
        self.uses.push(("LC-1", meter, at, Quantity::Count(Amount::whole(1))));
    }

    fn read(&mut self, at: Instant, hours: i64) {
        let reading = Quantity::Reading(Amount::whole(hours), false);
        self.uses.push(("ST-1", "engine hours", at, reading));
    }

    fn fleet(&self) -> Fleet {
        let mut builder = FleetBuilder::new(&self.set);
        builder.station("bay", "Bay", Zone::utc(), false);
        for (tag, kind) in [("LC-1", "carriage"), ("ST-1", "tractor"), ("F-1", "launching fall")] {
            builder.item(&ItemRecord { tag, kind, station: Some("bay"), ..ItemRecord::default() });
        }
        builder.fitting("F-1", "LC-1", "port fall", When::Day(date(2020, 1, 1)), None);
        for (host, meter, at, quantity) in &self.uses {
            builder.used(host, meter, When::At(*at), *quantity);
        }
        for (first, second) in &self.answers {
            builder.two_uses("LC-1", "launches", *first, *second);
        }
        for day in &self.accounted {
            builder.accounted("ST-1", *day, Answer::OtherWork);
        }
        builder.finish().0
    }

    fn doubts(&self) -> Vec<Doubt> {
        Evaluator::without_forecasts(&self.set, &self.fleet(), AS_OF).doubts(StationId(0))
    }

    /// Launches that the forecaster has of the carriage, and those towards the limit of its fall.
    fn counted(&self) -> (f64, Amount) {
        let fleet = self.fleet();
        let carriage = fleet.find("LC-1").unwrap();
        let zone = fleet.item(carriage).zone;
        let forecaster = Forecaster::new(&self.set, &fleet, AS_OF);
        let rows = Evaluator::new(&self.set, &fleet, AS_OF).table();
        (forecaster.rate(carriage, LAUNCHES, zone).uses, rows[0].used)
    }
}

fn twins(doubts: &[Doubt]) -> Vec<(Instant, Instant)> {
    let pair = |doubt: &Doubt| match doubt {
        Doubt::Twins { first, second, .. } => Some((*first, *second)),
        Doubt::Unlogged { .. } | Doubt::Scrapped { .. } => None,
    };
    doubts.iter().filter_map(pair).collect()
}

#[test]
fn open_twins_count_once_for_odds_and_twice_for_limits() {
    let mut bench = Bench::new(false);
    for (day, minutes) in [(1, 0), (3, 0), (3, 20), (5, 0), (5, 21)] {
        bench.used("launches", noon(10, day, minutes));
    }
    assert_eq!(twins(&bench.doubts()), [(noon(10, 3, 0), noon(10, 3, 20))]);
    assert_eq!(bench.counted(), (4.0, Amount::whole(5)));
    bench.answers.push((noon(10, 3, 0), noon(10, 3, 20)));
    assert!(bench.doubts().is_empty());
    assert_eq!(bench.counted(), (5.0, Amount::whole(5)));
}

#[test]
fn of_three_in_a_row_the_first_counts_and_each_answer_frees_one() {
    let mut bench = Bench::new(false);
    let [a, b, c] = [0, 15, 30].map(|minutes| noon(10, 3, minutes));
    for at in [a, b, c] {
        bench.used("launches", at);
    }
    assert_eq!(twins(&bench.doubts()), [(a, b), (b, c)]);
    assert_eq!(bench.counted(), (1.0, Amount::whole(3)));
    bench.answers.push((c, b));
    assert_eq!(twins(&bench.doubts()), [(a, b)]);
    assert_eq!(bench.counted(), (2.0, Amount::whole(3)));
    // An entry between them makes other pairs, about which nobody has said anything.
    bench.used("launches", noon(10, 3, 20));
    assert_eq!(twins(&bench.doubts()).len(), 3);
    assert_eq!(bench.counted(), (1.0, Amount::whole(4)));
}

#[test]
fn one_answer_settles_one_of_several_pairs_of_one_moment() {
    let mut bench = Bench::new(false);
    let at = noon(10, 3, 0);
    for at in [at, at, at] {
        bench.used("launches", at);
    }
    assert_eq!(twins(&bench.doubts()), [(at, at), (at, at)]);
    bench.answers.push((at, at));
    assert_eq!(twins(&bench.doubts()), [(at, at)]);
    assert_eq!(bench.counted(), (2.0, Amount::whole(3)));
}

#[test]
fn what_comes_close_by_its_nature_is_no_twin() {
    let mut bench = Bench::new(false);
    bench.used("immersions", noon(10, 3, 0));
    bench.used("immersions", noon(10, 3, 1));
    bench.used("launches", noon(10, 3, 0));
    bench.used("recoveries", noon(10, 3, 2));
    bench.used("launches", noon(10, 12, 0));
    bench.used("launches", noon(10, 12, 5));
    assert_eq!(bench.doubts(), []);
}

/// The log begins with its first entry, which is none of the uses that were waited for; nor is its twin.
#[test]
fn a_twin_of_the_first_entry_counts_no_more_than_that_does() {
    let mut bench = Bench::new(true);
    for (day, minutes) in [(1, 0), (1, 0), (1, 9), (3, 0)] {
        bench.used("launches", noon(10, day, minutes));
    }
    assert_eq!(bench.counted(), (1.0, Amount::whole(4)));
}

#[test]
fn months_that_are_learnt_from_hold_twins_once() {
    let learnt = |twins: bool| {
        let mut bench = Bench::new(true);
        for month in 1..=9 {
            for day in [4, 12, 20] {
                bench.used("launches", noon(month, day, 0));
            }
        }
        if twins {
            bench.used("launches", noon(5, 12, 7));
            bench.used("launches", noon(7, 20, 3));
        }
        let fleet = bench.fleet();
        Learnt::of(&bench.set, &fleet, date(2026, 11, 1))
    };
    assert_eq!(learnt(true), learnt(false));
    let pool = learnt(true).pools().find(|(key, _)| key.meter == LAUNCHES).map(|(_, pool)| pool.uses);
    // January opens the log, so that whole months run from February to September.
    assert_eq!(pool, Some(24.0));
}

/// Three a month at an hour each, then 18 h with 3 launches.
fn under_logged() -> Bench {
    let mut bench = Bench::new(false);
    for month in 1..=10 {
        let spent = if month == 10 { 18 } else { 3 };
        bench.read(noon(month, 1, 0), i64::from(month) * 3);
        if month == 10 {
            bench.read(noon(10, 10, 0), 30 + spent);
        }
        for day in [2, 5, 8] {
            bench.used("launches", noon(month, day, 0));
        }
    }
    bench
}

#[test]
fn a_doubt_says_what_it_would_move() {
    let mut bench = under_logged();
    bench.used("launches", noon(10, 8, 4));
    let fleet = bench.fleet();
    let evaluator = Evaluator::without_forecasts(&bench.set, &fleet, AS_OF);
    let moved: Vec<_> = evaluator.doubts(StationId(0)).iter().map(|doubt| evaluator.moves(doubt)).collect();
    let used = |moves: &Option<Moves>| moves.map(|moves| (moves.row.used, moves.used, moves.row.limit));
    let whole = Amount::whole;
    // 18 h at an hour a launch make 18 launches; 4 are logged.
    assert_eq!(used(&moved[0]), Some((whole(31), whole(45), whole(100))));
    assert_eq!(used(&moved[1]), Some((whole(31), whole(30), whole(100))));
    assert_eq!(bench.set.rule(moved[0].unwrap().row.rule).id, "fall-renewal");
}

#[test]
fn a_twin_from_before_the_last_work_moves_no_count() {
    let mut bench = under_logged();
    bench.used("launches", noon(10, 8, 4));
    let mut builder = FleetBuilder::new(&bench.set);
    builder.station("bay", "Bay", Zone::utc(), false);
    for (tag, kind) in [("LC-1", "carriage"), ("F-1", "launching fall")] {
        builder.item(&ItemRecord { tag, kind, station: Some("bay"), ..ItemRecord::default() });
    }
    builder.fitting("F-1", "LC-1", "port fall", When::Day(date(2020, 1, 1)), None);
    for (host, meter, at, quantity) in bench.uses.iter().filter(|use_| use_.0 == "LC-1") {
        builder.used(host, meter, When::At(*at), *quantity);
    }
    builder.work("F-1", "fall-renewal", When::Day(date(2026, 10, 10)), crate::facts::Outcome::Done);
    let fleet = builder.finish().0;
    let evaluator = Evaluator::without_forecasts(&bench.set, &fleet, AS_OF);
    let doubts = evaluator.doubts(StationId(0));
    assert_eq!((doubts.len(), evaluator.moves(&doubts[0])), (1, None));
}

#[test]
fn hours_that_are_accounted_for_raise_no_doubt() {
    let mut bench = under_logged();
    let doubts = bench.doubts();
    assert!(matches!(doubts[..], [Doubt::Unlogged { until, .. }] if until == noon(10, 10, 0)), "{doubts:?}");
    bench.accounted.push(date(2026, 10, 9));
    assert_eq!(bench.doubts().len(), 1, "that is another reading");
    bench.accounted.push(date(2026, 10, 10));
    assert_eq!(bench.doubts(), []);
}
