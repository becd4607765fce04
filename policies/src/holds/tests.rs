use super::bench::{AS_OF, Bench, noon, tags};
use super::*;
use crate::facts::Outcome;
use crate::zone::{When, Zone};
use jiff::civil::date;

const PATH: [&str; 7] = ["B-1", "DP-1", "H-1", "HE-1", "LP-1", "W-1", "WN-1"];

fn open(bench: &Bench) -> Vec<String> {
    let fleet = bench.fleet();
    let holds = bench.holds();
    tags(&fleet, holds.iter().flat_map(Hold::open).map(|held| held.item))
}

fn examination(tag: &str) -> (&'static str, &'static str) {
    match tag {
        "B-1" => ("B-1", "shackle-batch-examination-after-shock"),
        "DP-1" => ("DP-1", "drawbar-pin-examination-after-shock"),
        "H-1" => ("H-1", "hauling-chain-examination-after-shock"),
        "HE-1" => ("HE-1", "hauling-eye-examination-after-shock"),
        "LP-1" => ("LP-1", "load-pin-examination-after-shock"),
        "W-1" => ("W-1", "winch-wire-examination-after-shock"),
        _ => ("WN-1", "winch-examination-after-shock"),
    }
}

fn uses(bench: &Bench) -> Vec<(Instant, String)> {
    let fleet = bench.fleet();
    let evaluator = Evaluator::without_forecasts(&bench.set, &fleet, AS_OF);
    let holds = evaluator.holds();
    let used = evaluator.used_on(&holds[0]);
    used.iter().map(|one| (one.at, bench.set.kinds.meter_name(one.meter).to_owned())).collect()
}

/// In whatever order the items are cleared, the hold stays open until the last of them.
#[test]
fn a_hold_is_not_closed_in_part() {
    for first in 0..PATH.len() {
        let mut bench = Bench::new();
        bench.shock(noon(9, 27));
        let mut left: Vec<&str> = PATH.to_vec();
        left.rotate_left(first);
        assert_eq!(open(&bench), PATH);
        while let Some(tag) = left.pop() {
            let (item, rule) = examination(tag);
            bench.passed(item, rule, noon(9, 30));
            let mut still: Vec<&str> = left.clone();
            still.sort_unstable();
            assert_eq!(open(&bench), still);
            assert_eq!(bench.holds()[0].is_open(), !left.is_empty());
        }
        assert_eq!(bench.holds()[0].items.len(), 7);
    }
}

#[test]
fn only_sound_work_after_it_clears() {
    let mut bench = Bench::new();
    bench.shock(noon(9, 27));
    let (item, rule) = examination("W-1");
    bench.passed(item, rule, noon(9, 26));
    bench.works.push((item, rule, noon(9, 28), Outcome::Failed));
    bench.passed("W-1", "winch-wire-measurement", noon(9, 29));
    assert_eq!(open(&bench), PATH);
    bench.passed("W-1", "winch-wire-thorough-examination", noon(9, 30));
    assert!(!open(&bench).contains(&"W-1".to_owned()), "the six-monthly one covers it");
}

/// An after clause opens on what lies strictly after the work, and the hold says no other.
#[test]
fn work_at_the_moment_of_the_shock_clears_as_its_due_row_has_it() {
    let mut bench = Bench::new();
    bench.shock(noon(9, 27));
    let (item, rule) = examination("W-1");
    bench.passed(item, rule, noon(9, 27));
    let fleet = bench.fleet();
    let evaluator = Evaluator::without_forecasts(&bench.set, &fleet, AS_OF);
    let row = evaluator.row(fleet.find(item).unwrap(), bench.set.find_rule(rule).unwrap());
    assert!(!row.held && !open(&bench).contains(&"W-1".to_owned()));
}

#[test]
fn withdrawal_clears_and_earlier_withdrawal_is_no_part_of_it() {
    let mut bench = Bench::new();
    bench.shock(noon(9, 27));
    bench.states.push(("H-1", noon(10, 1), State::Withdrawn));
    bench.states.push(("DP-1", noon(9, 1), State::Withdrawn));
    let fleet = bench.fleet();
    let hold = &bench.holds()[0];
    let chain = hold.items.iter().find(|held| held.item == fleet.find("H-1").unwrap()).unwrap();
    assert_eq!(chain.cleared(), Some(noon(10, 1)));
    assert_eq!(
        tags(&fleet, hold.items.iter().map(|held| held.item)),
        ["B-1", "H-1", "HE-1", "LP-1", "W-1", "WN-1"]
    );
}

/// The winch waits for its proof load too; nothing that hangs on it does.
#[test]
fn an_overload_of_its_own_asks_for_a_proof_load_of_that_item_alone() {
    let mut bench = Bench::new();
    bench.shock(noon(9, 27));
    bench.used("WN-1", "overloads", noon(9, 27), "96 kN, above its proof load of 74.8 kN");
    let (item, rule) = examination("WN-1");
    bench.passed(item, rule, noon(9, 30));
    let holds = bench.holds();
    assert_eq!((holds.len(), holds[0].items.len(), holds[0].load_kn), (1, 7, Some(Amount::whole(96))));
    let fleet = bench.fleet();
    let winch = fleet.find("WN-1").unwrap();
    let rule = bench.set.find_rule("winch-reproof").unwrap();
    assert!(holds[0].waits_for(winch, rule) && open(&bench).contains(&"WN-1".to_owned()));
    bench.passed("WN-1", "winch-reproof", noon(10, 2));
    assert!(!open(&bench).contains(&"WN-1".to_owned()));

    let mut bench = Bench::new();
    bench.used("F-1", "fall overloads", noon(9, 27), "60 kN");
    assert_eq!(open(&bench), ["F-1"], "not the shackle at its end");
}

#[test]
fn gear_taken_off_or_lent_keeps_its_hold() {
    let mut bench = Bench::new();
    bench.more.push(("SET-2", "station set", Some("bar")));
    bench.shock(noon(9, 27));
    bench.leaves.push(("H-1", noon(9, 28)));
    bench.fits.push(("H-1", "SET-2", "hauling chain", noon(9, 29), None));
    bench.more.push(("H-2", "hauling chain", Some("bay")));
    bench.fits.push(("H-2", "SET-1", "hauling chain", noon(9, 28), None));
    assert_eq!(open(&bench), PATH, "the chain that came after bore nothing");
    for tag in PATH.iter().filter(|tag| **tag != "H-1") {
        let (item, rule) = examination(tag);
        bench.passed(item, rule, noon(9, 30));
    }
    bench.used("SET-2", "recoveries", noon(10, 3), "");
    bench.used("LC-1", "launches", noon(10, 4), "");
    assert_eq!(uses(&bench), [(noon(10, 3), "recoveries".to_owned())], "where it is lent, and nowhere else");
}

#[test]
fn use_on_hold_is_what_the_station_did_while_an_item_was_open() {
    let mut bench = Bench::new();
    bench.shock(noon(9, 27));
    for day in [20, 27, 29] {
        bench.used("LC-1", "launches", noon(9, day), "");
    }
    for tag in PATH {
        let (item, rule) = examination(tag);
        bench.passed(item, rule, noon(9, 30));
    }
    for (host, meter) in [("LC-1", "launches"), ("LC-1", "recoveries"), ("SET-1", "recoveries")] {
        bench.used(host, meter, noon(10, 1), "");
    }
    assert_eq!(uses(&bench), [(noon(9, 29), "launches".to_owned())]);
    bench.works.clear();
    let days = uses(&bench).into_iter().map(|(at, meter)| (Zone::utc().date_of(at), meter));
    let days: Vec<(Date, String)> = days.collect();
    let on = |month, day, meter: &str| (date(2026, month, day), meter.to_owned());
    assert_eq!(days, [on(9, 29, "launches"), on(10, 1, "launches"), on(10, 1, "recoveries")]);
}

#[test]
fn events_of_one_moment_are_one_hold_a_station() {
    let mut bench = Bench::new();
    bench.more.push(("ST-2", "tractor", None));
    bench.more.push(("DP-2", "drawbar pin", None));
    bench.fits.push(("DP-2", "ST-2", "drawbar pin", noon(9, 1), None));
    bench.used("SET-1", "shock loads", noon(9, 27), "load not known; 60 kN rated");
    bench.used("ST-2", "shock loads", noon(9, 27), "");
    bench.used("KB-1", "groundings", noon(9, 28), "");
    let (fleet, holds) = (bench.fleet(), bench.holds());
    let told: Vec<(Vec<String>, Option<StationId>, Option<Amount>)> = holds
        .iter()
        .map(|hold| (tags(&fleet, hold.items.iter().map(|held| held.item)), hold.station, hold.load_kn))
        .collect();
    let here = Some(StationId(0));
    let of = |tags: &[&str]| tags.iter().map(|tag| (*tag).to_owned()).collect::<Vec<String>>();
    assert_eq!(told, [(of(&["B-1", "DP-2", "H-1"]), here, None), (of(&["HE-1"]), here, None)]);
}

/// Of that day's work and use nobody knows the order, so that work of the day does not clear it.
#[test]
fn a_shock_known_to_the_day_stands_at_its_end() {
    let mut bench = Bench::new();
    bench.uses.push(("SET-1", "shock loads", When::Day(date(2026, 9, 27)), "96 kN"));
    let (item, rule) = examination("H-1");
    bench.passed(item, rule, noon(9, 27));
    assert_eq!(open(&bench), ["B-1", "H-1"]);
    let hold = &bench.holds()[0];
    assert_eq!((hold.day, hold.load_kn), (Some(date(2026, 9, 27)), Some(Amount::whole(96))));
    bench.passed(item, rule, noon(9, 28));
    assert_eq!(open(&bench), ["B-1"]);
}

#[test]
fn loads_are_read_from_notes() {
    let cases = [
        ("peak 96 kN on the load pin against 60 kN rated", Some("96")),
        ("74.5 kN", Some("74.5")),
        ("load not known; the winch pulls 60 kN", None),
        ("a snatch", None),
        ("heavy kN", None),
        ("-3 kN", None),
        (" kN", None),
    ];
    for (note, load) in cases {
        assert_eq!(load_in(note), load.map(|load| load.parse().unwrap()), "{note}");
    }
}
