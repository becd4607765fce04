//! The plan of spares run forward over simulated fleets whose truth is known: how often what it would hold was enough,
//! against what was asked for; and how much that is, against the least that could have done it with hindsight.
//!
//! The truth knows nothing of the model. Hosts are busy or quiet (two lognormals, where the model has one gamma); they
//! exercise on Tuesdays, now and then called off, and are called out as the weather has it, which is one for the whole
//! fleet, week by week (the model has independent hosts and months that stray); the season is a wave with a height and a
//! peak of each fleet's own (the model starts from twelve other figures and learns); wires are found unfit the sooner the
//! older they are (Weibull, where the model has a constant rate), at a rate of each fleet's own. Wires have 400 pulls or 60
//! months. The plan looks at nothing but the log up to a day, month by month for five years; what was then
//! renewed until an order of that day could be fitted is counted. Ends with 1 where the service achieved is more than two
//! points from the one asked. `cargo bench --bench stores_service`.

use std::collections::HashMap;
use std::process::ExitCode;

use jiff::civil::{Date, date};
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome, Quantity, State};
use policies::load::{PolicyFile, PolicySet, load};
use policies::odds_trial::Draw;
use policies::span::Span;
use policies::stores::plan::{Asked, Part, plan};
use policies::zone::{Instant, When, Zone};

type Failure = Box<dyn std::error::Error>;

const FLEETS: u64 = 20;
const HOSTS: u32 = 120;
const STATIONS: u32 = 12;
const ASKED: f64 = 0.95;
const WITHIN: f64 = 0.02;
const START: Date = date(2018, 1, 1);
const FIRST: Date = date(2021, 1, 1);
const MONTHS: i32 = 60;
const END_YEAR: i16 = 2027;
const PULLS: u32 = 400;
const LIFE_DAYS: i64 = 1_826;
const DAY: i64 = 86_400_000_000;

const KINDS: &str = r#"
[[kind]]
name = "winch"
meters = ["pulls"]
positions = [{ name = "winch wire", takes = "winch wire" }]
[[kind]]
name = "winch wire"
"#;
const RULES: &str = r#"
[[rule]]
id = "wire-renewal"
title = "Renew the wire"
applies_to = { kind = "winch wire" }
work = "renewal"
calendar = { every = "60 months", from = "entry into service" }
usage = [{ meter = "pulls", every = 400 }]
overdue = "stops launch"
authority = "house"
[[rule]]
id = "wire-examination"
title = "Examine the wire"
applies_to = { kind = "winch wire" }
work = "thorough examination"
calendar = { every = "6 months", from = "last done" }
overdue = "stops launch"
authority = "house"
"#;

/// What came of the reviews of one fleet.
#[derive(Default)]
struct Tally {
    reviews: u32,
    enough: u32,
    stated: f64,
    held: u64,
    needed: Vec<u64>,
}

fn main() -> Result<ExitCode, Failure> {
    let set = policy_set()?;
    let mut all = Tally::default();
    for seed in 0..FLEETS {
        let mut draw = Draw::new(20_261_012 + seed);
        let (fleet, renewed) = fleet(&set, &mut draw);
        let tally = run(&set, &fleet, &renewed);
        println!("fleet {seed}: enough in {} of {} reviews", tally.enough, tally.reviews);
        all.reviews += tally.reviews;
        all.enough += tally.enough;
        all.stated += tally.stated;
        all.held += tally.held;
        all.needed.extend(tally.needed);
    }
    Ok(told(all))
}

fn told(mut all: Tally) -> ExitCode {
    let reviews = f64::from(all.reviews);
    let achieved = f64::from(all.enough) / reviews;
    let held = float(all.held) / reviews;
    all.needed.sort_unstable();
    let enough = all.needed.len() * 95 / 100;
    let least = float(all.needed[..enough].iter().sum()) / reviews;
    println!("{} reviews of {FLEETS} fleets of {HOSTS} hosts over {} years", all.reviews, MONTHS / 12);
    println!(
        "service: asked {:.1} %, stated {:.1} %, achieved {:.1} %",
        100.0 * ASKED,
        100.0 * all.stated / reviews,
        100.0 * achieved
    );
    println!(
        "pieces held on average: {held:.2}; the least that could have done it with hindsight: {least:.2}"
    );
    if (achieved - ASKED).abs() <= WITHIN { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn policy_set() -> Result<PolicySet, Failure> {
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    let service = "[odds]\nlearn = true\n";
    load(&[file("kinds.toml", KINDS), file("wires.toml", RULES), file("service.toml", service)])
        .map_err(|faults| format!("{faults:?}").into())
}

#[expect(clippy::cast_precision_loss, reason = "small counts")]
fn float(count: u64) -> f64 {
    count as f64
}

fn start_of(day: Date) -> i64 {
    Zone::utc().start_of(day).0
}

/// What is true of one fleet.
struct Truth {
    /// Height and peak of the season's wave.
    height: f64,
    peak: f64,
    /// How rough each week is: one weather for all.
    weeks: Vec<f64>,
    /// Years by which two wires of three would be found unfit, if nothing else ended them.
    unfit_years: f64,
}

impl Truth {
    fn draw(draw: &mut Draw) -> Truth {
        let weeks = (0..520).map(|_| draw.gamma(6.0) / 6.0).collect();
        Truth {
            height: 0.1 + 0.4 * draw.uniform(),
            peak: 365.0 * draw.uniform(),
            weeks,
            unfit_years: 8.0 + 12.0 * draw.uniform(),
        }
    }

    fn season(&self, day: i32) -> f64 {
        1.0 + self.height * (std::f64::consts::TAU * (f64::from(day) - self.peak) / 365.25).cos()
    }
}

/// How much one host is used.
struct Habits {
    /// Calls a day in mean weather and season.
    calls: f64,
    /// Share of exercises that is called off.
    called_off: f64,
    /// Every week, or every other.
    fortnightly: bool,
}

impl Habits {
    fn draw(draw: &mut Draw) -> Habits {
        let (middle, spread) = if draw.uniform() < 0.4 { (8.0f64, 0.4) } else { (3.0f64, 0.6) };
        let calls = (middle.ln() + spread * draw.normal()).exp() / 30.4;
        let (called_off, fortnightly) = (0.1 + 0.3 * draw.uniform(), draw.uniform() < 0.5);
        Habits { calls, called_off, fortnightly }
    }
}

/// Uses of one host from the start on, in time order.
fn uses(draw: &mut Draw, truth: &Truth) -> Vec<i64> {
    let habits = Habits::draw(draw);
    let mut found = Vec::new();
    let mut day = START;
    while day.year() < END_YEAR {
        let number = (day - START).get_days();
        let week = usize::try_from(number / 7).unwrap_or(0);
        let rough = truth.weeks.get(week).copied().unwrap_or(1.0);
        let mut count = draw.poisson(habits.calls * truth.season(number) * rough);
        let due =
            day.weekday() == jiff::civil::Weekday::Tuesday && (!habits.fortnightly || week.is_multiple_of(2));
        if due && draw.uniform() >= habits.called_off {
            count += 1 + u32::from(draw.uniform() < 0.15);
        }
        found.extend((0..count).map(|_| start_of(day) + draw.below_wide(DAY)));
        let Ok(next) = day.tomorrow() else { break };
        day = next;
    }
    found.sort_unstable();
    found
}

/// One wire's stay on its host.
struct Stay {
    from: i64,
    to: i64,
    unfit: bool,
    /// What it bore, and how long it had served, before the records begin.
    opening: u32,
    served: i64,
}

/// Wires one after another: each goes with its last pull, its age, or found unfit.
fn stays(draw: &mut Draw, uses: &[i64], truth: &Truth) -> Vec<Stay> {
    let end = start_of(date(END_YEAR, 1, 1));
    let mut from = start_of(START);
    // The first wires are of all ages.
    let mut left = 1 + draw.below(PULLS);
    let mut age_left = draw.below_wide(LIFE_DAYS) * DAY;
    let mut found = Vec::new();
    while from < end {
        let first = uses.partition_point(|at| *at < from);
        let by_use = uses.get(first + left as usize - 1).copied().unwrap_or(i64::MAX);
        // Weibull of shape 2.
        let good_for = (-draw.uniform().ln()).sqrt() * truth.unfit_years * 365.25 * 86_400.0;
        let good_for = std::time::Duration::from_secs_f64(good_for.min(1e10));
        let unfit = from + i64::try_from(good_for.as_secs()).unwrap_or(i64::MAX / 2_000_000) * 1_000_000;
        let to = by_use.min(from + age_left).min(unfit);
        found.push(Stay {
            from,
            to: to.min(end),
            unfit: to == unfit,
            opening: PULLS - left,
            served: LIFE_DAYS * DAY - age_left,
        });
        from = to + DAY;
        (left, age_left) = (PULLS, LIFE_DAYS * DAY);
    }
    found
}

/// A fleet, and the moments at which its wires were renewed.
fn fleet(set: &PolicySet, draw: &mut Draw) -> (Fleet, Vec<i64>) {
    let mut builder = FleetBuilder::new(set);
    for station in 0..STATIONS {
        let slug = format!("s{station}");
        builder.station(&slug, &slug, Zone::utc(), false);
    }
    let truth = Truth::draw(draw);
    let mut renewed = Vec::new();
    for host in 0..HOSTS {
        let (tag, station) = (format!("WN-{host}"), format!("s{}", host % STATIONS));
        let owner = Some(station.as_str());
        builder.item(&ItemRecord { tag: &tag, kind: "winch", station: owner, ..ItemRecord::default() });
        let uses = uses(draw, &truth);
        for (number, stay) in stays(draw, &uses, &truth).iter().enumerate() {
            add_wire(&mut builder, (&tag, owner), number, stay);
            renewed.push(stay.to);
        }
        for at in &uses {
            let one = Quantity::Count(Amount::whole(1));
            builder.used(&tag, "pulls", When::At(Instant(*at)), one);
        }
    }
    (builder.finish().0, renewed)
}

fn add_wire(builder: &mut FleetBuilder, (host, owner): (&str, Option<&str>), number: usize, stay: &Stay) {
    let tag = format!("{host} wire {number}");
    let entered = Some(Zone::utc().date_of(Instant(stay.from - stay.served)));
    let record = ItemRecord {
        tag: &tag,
        kind: "winch wire",
        station: owner,
        manufactured_on: entered,
        entered_service_on: entered,
        opening: vec![("pulls", Amount::whole(i64::from(stay.opening)))],
        ..ItemRecord::default()
    };
    builder.item(&record);
    let (from, to) = (When::At(Instant(stay.from)), When::At(Instant(stay.to)));
    builder.fitting(&tag, host, "winch wire", from, Some(to));
    if stay.unfit {
        builder.work(&tag, "wire-examination", to, Outcome::Failed);
    }
    builder.state(&tag, to, State::Withdrawn);
}

fn run(set: &PolicySet, fleet: &Fleet, renewed: &[i64]) -> Tally {
    let kind = set.kinds.find("winch wire").unwrap_or(policies::kinds::KindId(0));
    let part =
        Part { name: "WW-22".to_owned(), kind, lead: Span::days(98), metres: false, pack: None, serves: 1 };
    let part_of: Vec<Option<usize>> =
        fleet.items.iter().map(|item| (item.kind == kind).then_some(0)).collect();
    let mut tally = Tally::default();
    for month in 0..MONTHS {
        let day = FIRST.saturating_add(jiff::Span::new().months(month));
        review(set, fleet, (std::slice::from_ref(&part), &part_of), (day, renewed), &mut tally);
    }
    tally
}

/// One review: what the plan would hold, and what was needed.
fn review(
    set: &PolicySet,
    fleet: &Fleet,
    (parts, part_of): (&[Part], &[Option<usize>]),
    (day, renewed): (Date, &[i64]),
    tally: &mut Tally,
) {
    let (certain, odds) = (Evaluator::without_forecasts(set, fleet, day), Evaluator::new(set, fleet, day));
    let lines = plan(&Asked {
        certain: &certain,
        odds: &odds,
        parts,
        part_of,
        quantity: &[],
        shelves: &[],
        wear: &HashMap::new(),
        defects: &[],
        ordered: day,
        service: ASKED,
        until: day,
    });
    let Some(line) = lines.lines.first() else { return };
    let (from, to) = (Zone::utc().end_of(day).0, Zone::utc().end_of(line.usable_on).0);
    let needed = renewed.iter().filter(|at| **at >= from && **at < to).count() as u64;
    tally.reviews += 1;
    tally.enough += u32::from(needed <= line.pieces);
    tally.stated += line.demand.at_most(line.pieces);
    tally.held += line.pieces;
    tally.needed.push(needed);
}
