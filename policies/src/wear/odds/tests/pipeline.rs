//! From records of an item to its odds.

use jiff::civil::date;

use super::*;
use crate::facts::{Fleet, FleetBuilder, ItemRecord, Quantity};
use crate::load::{PolicyFile, PolicySet, load};
use crate::wear::Read;
use crate::zone::{When, Zone};

const KINDS: &str = "[[kind]]\nname = \"carriage\"\nmeters = [\"launches\", \"recoveries\"]\n\
                     positions = [{ name = \"stopper\", takes = \"chain\", count = 1 }]\n\
                     [[kind]]\nname = \"chain\"\n";
const GAUGING: &str = "[[rule]]\nid = \"gauging\"\ntitle = \"t\"\napplies_to = { kind = \"chain\" }\nwork = \"measurement\"\n\
                       calendar = { every = \"1 month\" }\noverdue = \"advisory\"\nauthority = \"house\"\n\
                       records = [{ name = \"diameter\", unit = \"mm\", min = 11.7 }, { name = \"length\", unit = \"mm\" }]\n";
const AS_OF: Date = date(2026, 10, 11);
const ENTERED: Date = date(2021, 5, 8);
/// Chain C-0222 of the domain, with the launches its readings were taken at.
const READINGS: [(i64, &str); 5] =
    [(0, "12.95"), (63, "12.71"), (121, "12.49"), (188, "12.21"), (240, "11.98")];

/// Wear is told against the meter of the renewal rule, whose limit lies far off unless `renewal` sets it.
pub(super) fn set(renewal: &str) -> PolicySet {
    let usage = if renewal.contains("usage") { "" } else { "usage = { meter = \"launches\", every = 9000 }" };
    let rules = format!(
        "{GAUGING}[[rule]]\nid = \"renewal\"\ntitle = \"t\"\napplies_to = {{ kind = \"chain\" }}\nwork = \"renewal\"\n\
         {usage}\n{renewal}\noverdue = \"advisory\"\nauthority = \"house\"\n"
    );
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    let service = "home_zone = \"UTC\"\n[odds]\nlearn = false\n";
    load(&[file("kinds.toml", KINDS), file("rules.toml", &rules), file("service.toml", service)]).unwrap()
}

/// A chain on a carriage with 167 launches in the 36.32 mean months up to the as-of date, and 73 before those.
fn fleet(set: &PolicySet, entered: Option<Date>, fitted: bool) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    builder.station("nethery", "Nethery", Zone::utc(), false);
    let station = Some("nethery");
    builder.item(&ItemRecord { tag: "LC-1", kind: "carriage", station, ..ItemRecord::default() });
    let opening = vec![("launches", Amount::whole(73))];
    let chain = ItemRecord {
        tag: "C-1",
        kind: "chain",
        station,
        entered_service_on: entered,
        opening,
        ..ItemRecord::default()
    };
    builder.item(&chain);
    let to = (!fitted).then_some(When::Day(date(2026, 10, 7)));
    builder.fitting("C-1", "LC-1", "stopper", When::Day(date(2023, 9, 1)), to);
    for (day, count) in [(date(2023, 10, 1), 48), (date(2024, 6, 1), 67), (date(2026, 3, 1), 52)] {
        let at = When::At(Zone::utc().start_of(day));
        builder.used("LC-1", "launches", at, Quantity::Count(Amount::whole(count)));
    }
    builder.finish().0
}

/// Readings on days by which their launches had been made: those before the records are spread evenly over them.
fn reads(set: &PolicySet, name: &str, readings: &[(i64, &str)]) -> Vec<Read> {
    let rule = set.find_rule("gauging").unwrap();
    let days = [ENTERED, date(2023, 6, 3), date(2023, 12, 1), date(2024, 12, 1), date(2026, 10, 6)];
    let read = |(on, (_, value)): (Date, &(i64, &str))| {
        let at = Zone::utc().start_of(on);
        Read { rule, name: name.to_owned(), at, on, value: amount(value) }
    };
    days.into_iter().zip(readings).map(read).collect()
}

fn worn(set: &PolicySet, fleet: &Fleet, readings: &[(i64, &str)]) -> Wear {
    let evaluator = Evaluator::new(set, fleet, AS_OF);
    let reads = reads(set, "diameter", readings);
    evaluator.wear(fleet.find("C-1").unwrap(), &reads, &[]).pop().unwrap()
}

/// Domain 4.9 A: 73 launches from the crossing at 312.9, at 4.69 launches a mean month. The dates are those that
/// scipy finds (`wear_odds_scipy.csv`); use by the bound alone has its 10 % date on 3 Sep 2027.
#[test]
fn the_chain_of_the_domain_has_its_dates() {
    let set = set("");
    let fleet = fleet(&set, Some(ENTERED), true);
    let wear = worn(&set, &fleet, &READINGS);
    let used = wear.points.iter().map(|(_, point)| point.used);
    assert_eq!(used.collect::<Vec<_>>(), READINGS.map(|(used, _)| Amount::whole(used)));
    assert_eq!(wear.used, Amount::whole(240));
    let trend = wear.trend.unwrap();
    let limit = Limit::Least(amount("11.7"));
    assert_eq!((wear.limit, trend.uses_left(limit)), (Some(limit), Some(60)));
    assert!((trend.crossing(limit).unwrap() - 312.9).abs() < 0.05);
    let id = fleet.find("LC-1").unwrap();
    let evaluator = Evaluator::new(&set, &fleet, AS_OF);
    let (forecaster, zone) = (evaluator.forecaster.as_ref().unwrap(), fleet.item(id).zone);
    assert!((forecaster.rate(id, wear.meter, zone).per_month() - 4.69).abs() < 0.005);
    assert_eq!(forecaster.dates(id, wear.meter, zone, Amount::whole(61))[0], Some(date(2027, 9, 3)));
    let odds = wear.odds.as_ref().unwrap();
    let dates = [date(2027, 10, 25), date(2028, 3, 10), date(2028, 6, 27)].map(Some);
    assert_eq!((odds.by_wear, odds.dates, odds.fixed), (dates, dates, None));
    assert_eq!(odds.uses[1], Some(Amount::whole(313)));
    assert!(odds.uses[0] >= Some(Amount::whole(302)), "the 95 % bound is met at 301");
    let by = |day| wear.chance_by(day).unwrap();
    assert!(by(AS_OF) < 0.001 && (by(date(2027, 9, 3)) - 0.0256).abs() < 5e-4);
    assert!(by(date(2027, 10, 24)) < 0.1 && by(date(2027, 10, 25)) >= 0.1);
    assert_eq!(chance_by(&[wear.clone(), wear.clone()], AS_OF), wear.chance_by(AS_OF));
}

/// A life limit, a use limit and a renewal with no base: each comes before the wear, and none of them is put off.
#[test]
fn fixed_renewals_are_never_put_off() {
    let dates = |renewal: &str, entered| {
        let set = set(renewal);
        let odds = worn(&set, &fleet(&set, entered, true), &READINGS).odds.unwrap();
        let rule = odds.fixed.map(|rule| set.rule(rule).id.clone());
        (odds.by_wear, odds.dates, rule)
    };
    let wear = [date(2027, 10, 25), date(2028, 3, 10), date(2028, 6, 27)].map(Some);
    let renewal = || Some("renewal".to_owned());
    let life = |span: &str| {
        dates(&format!("calendar = {{ every = \"{span}\", from = \"entry into service\" }}"), Some(ENTERED))
    };
    assert_eq!(life("10 years"), (wear, wear, None));
    let between = Some(date(2028, 1, 8));
    assert_eq!(life("80 months"), (wear, [wear[0], between, between], renewal()));
    assert_eq!(life("6 years"), (wear, [Some(date(2027, 5, 8)); 3], renewal()));
    assert_eq!(life("5 years"), (wear, [Some(date(2026, 5, 8)); 3], renewal()), "overdue as it is");
    let (_, today, rule) = dates("calendar = { every = \"10 years\" }", None);
    assert_eq!((today, rule), ([Some(AS_OF); 3], renewal()), "no base: overdue now");
    let use_limit =
        |every: u32| dates(&format!("usage = {{ meter = \"launches\", every = {every} }}"), Some(ENTERED));
    let (by_wear, by_use, rule) = use_limit(250);
    assert_eq!((by_wear, rule), (wear, renewal()));
    assert!(Some(AS_OF) < by_use[0] && by_use.is_sorted() && by_use[2] < wear[0], "{by_use:?}");
    assert_eq!(use_limit(240), (wear, [Some(date(2026, 3, 1)); 3], renewal()), "reached");
}

/// Domain 4.9: the sister chain C-0221 read 11.66 where 12.01 was foretold.
#[test]
fn what_says_nothing_says_why() {
    let set = set("");
    let fitted = fleet(&set, Some(ENTERED), true);
    let said = |fleet: &Fleet, readings: &[(i64, &str)]| {
        let wear = worn(&set, fleet, readings);
        (wear.chance_by(AS_OF), wear.odds.unwrap_err())
    };
    let with_last = |value: &'static str| {
        let mut readings = READINGS;
        readings[4].1 = value;
        said(&fitted, &readings)
    };
    assert_eq!(with_last("11.66"), (Some(1.0), NoOdds::SuddenLoss), "beyond its limit besides");
    assert_eq!(with_last("11.80"), (None, NoOdds::SuddenLoss));
    assert!(NoOdds::SuddenLoss.to_string().contains("look for its cause"));
    assert_eq!(with_last("12.60"), (None, NoOdds::InDoubt));
    assert_eq!(said(&fitted, &READINGS[..2]), (None, NoOdds::NoTrend(NoTrend::TooFew(2))));
    assert_eq!(said(&fitted, &[(0, "11.69")]), (Some(1.0), NoOdds::Beyond));
    assert_eq!(said(&fitted, &[(0, "12.0"), (63, "12.1"), (121, "12.15")]), (None, NoOdds::NotTowards));
    assert_eq!(said(&fitted, &[(0, "12.5"), (63, "12.9"), (121, "12.3")]), (None, NoOdds::Unsure));
    let loose = fleet(&set, Some(ENTERED), false);
    assert_eq!(said(&loose, &READINGS), (None, NoOdds::NotFitted));
    assert_eq!(chance_by(&[], AS_OF), None);
}

/// A line through a jump foresees no safe uses either, and what nothing bounds has no odds.
#[test]
fn jumps_leave_nothing_safe() {
    let set = set("");
    let fleet = fleet(&set, Some(ENTERED), true);
    let steady = worn(&set, &fleet, &READINGS);
    assert_eq!((steady.safe_uses, steady.dates[0]), (Some(Amount::whole(60)), Some(date(2027, 9, 3))));
    let mut readings = READINGS;
    readings[4].1 = "11.80";
    let jumped = worn(&set, &fleet, &readings);
    assert_eq!((jumped.safe_uses, jumped.dates), (None, [None; 3]));
    let lengths = reads(&set, "length", &READINGS);
    let wear = Evaluator::new(&set, &fleet, AS_OF).wear(fleet.find("C-1").unwrap(), &lengths, &[]);
    assert_eq!(wear[0].odds, Err(NoOdds::NoLimit));
}
