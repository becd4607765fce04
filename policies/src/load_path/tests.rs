use super::*;
use crate::facts::State;
use crate::holds::bench::{Bench, noon, shipped, tags};
use crate::proof_load::Regime;
use crate::proofs::required;
use crate::zone::Zone;
use jiff::civil::date;

const RECOVERY: [&str; 7] = ["B-1", "DP-1", "H-1", "HE-1", "LP-1", "W-1", "WN-1"];
const HERE: StationId = StationId(0);

fn stretch() -> Stretch {
    Stretch::at(noon(9, 27))
}

fn path(bench: &Bench, when: Stretch, operation: Operation) -> Vec<String> {
    let fleet = bench.fleet();
    let paths = Paths { set: &bench.set, fleet: &fleet, when };
    tags(&fleet, paths.path(HERE, &[], &[operation]).unwrap())
}

fn hosts(bench: &Bench, operation: Operation) -> Vec<String> {
    let fleet = bench.fleet();
    let paths = Paths { set: &bench.set, fleet: &fleet, when: stretch() };
    let found = paths.path(HERE, &[], &[operation]).unwrap();
    let meter = bench.set.kinds.find_meter("shock loads").unwrap();
    tags(&fleet, paths.hosts(&found, meter).unwrap())
}

/// domain: winch, wire, load pin, drawbar pin, hauling chain, batch and eye bear a recovery, not the carriage.
#[test]
fn a_recovery_is_borne_from_the_winch_to_the_eye_and_a_launch_by_the_carriage() {
    let bench = Bench::new();
    assert_eq!(path(&bench, stretch(), Operation::Recovery), RECOVERY);
    assert_eq!(path(&bench, stretch(), Operation::Launch), ["C-1", "F-1", "LC-1", "SH-1"]);
}

#[test]
fn a_row_holds_the_path_and_nothing_beside_it() {
    let mut bench = Bench::new();
    assert_eq!(hosts(&bench, Operation::Recovery), ["KB-1", "SET-1", "ST-1"]);
    assert_eq!(hosts(&bench, Operation::Launch), ["LC-1"]);
    // A bow strop bears launches alone, so that the station set as a whole is no longer meant.
    bench.more.push(("BS-1", "bow strop", Some("bay")));
    bench.fits.push(("BS-1", "SET-1", "bow strop", noon(1, 1), None));
    assert_eq!(hosts(&bench, Operation::Recovery), ["B-1", "H-1", "KB-1", "ST-1"]);
    assert_eq!(hosts(&bench, Operation::Launch), ["BS-1", "LC-1"]);
}

#[test]
fn the_path_is_what_was_fitted_then() {
    let mut bench = Bench::new();
    bench.leaves.push(("W-1", noon(9, 27)));
    bench.more.push(("W-2", "winch wire", Some("bay")));
    bench.fits.push(("W-2", "WN-1", "winch wire", noon(9, 27), None));
    let wires = |when| -> Vec<String> {
        path(&bench, when, Operation::Recovery).into_iter().filter(|tag| tag.starts_with("W-")).collect()
    };
    assert_eq!(wires(Stretch::at(noon(9, 26))), ["W-1"]);
    assert_eq!(wires(Stretch::at(noon(9, 27))), ["W-2"], "a fitting ends just before its end");
    let day = date(2026, 9, 27);
    let whole_day = Stretch { from: Zone::utc().start_of(day), to: Zone::utc().end_of(day) };
    assert_eq!(wires(whole_day), ["W-1", "W-2"], "either may have borne it");
}

#[test]
fn two_tractors_are_told_apart_by_name() {
    let mut bench = Bench::new();
    bench.more.extend([("ST-2", "tractor", Some("bay")), ("DP-2", "drawbar pin", Some("bay"))]);
    bench.fits.push(("DP-2", "ST-2", "drawbar pin", noon(1, 1), None));
    let fleet = bench.fleet();
    let paths = Paths { set: &bench.set, fleet: &fleet, when: stretch() };
    let [one, two] = ["ST-1", "ST-2"].map(|tag| fleet.find(tag).unwrap());
    assert_eq!(paths.path(HERE, &[], &[Operation::Recovery]), Err(Untold::Either(one, two)));
    let named = paths.path(HERE, &[two], &[Operation::Recovery]).unwrap();
    assert_eq!(tags(&fleet, named), ["B-1", "DP-2", "H-1", "HE-1"]);
    bench.states.push(("ST-2", noon(9, 1), State::LaidUp));
    assert_eq!(path(&bench, stretch(), Operation::Recovery), RECOVERY);
}

/// A winch of 6.1 t: 7.625 t x 9.80665 = 74.775706 kN by domain 4.11, shown as 74.8.
#[test]
fn the_proof_load_itself_is_an_overload() {
    let bench = Bench::new();
    let fleet = bench.fleet();
    let proof = |tag: &str| proof_of(&bench.set, &fleet, fleet.find(tag).unwrap());
    let winch = proof("WN-1");
    for (load, over) in [("74.775", false), ("74.775705", true), ("74.776", true), ("96", true)] {
        assert_eq!(is_overload(&winch, Some(load.parse().unwrap())), over, "{load}");
    }
    assert!(is_overload(&winch, None), "an unknown load is taken as above");
    assert!(!is_overload(&proof("H-1"), Some(Amount::whole(96))), "2 x 8 t = 156.9 kN");
    assert!(is_overload(&proof("B-1"), Some(Amount::whole(96))), "its rated load is not on record");
    assert_eq!(proof("W-1"), Proof::None);
    assert!(!is_overload(&Proof::None, None));
}

/// Holds, notices and results reckon one proof load: by the regime that the service proves by.
#[test]
fn a_hold_reckons_the_proof_load_that_a_test_asks_for() {
    let mut bench = Bench::new();
    for regime in [Regime::Ilo, Regime::Us, Regime::Canada] {
        bench.set.service.proof_regime = regime;
        let fleet = bench.fleet();
        for tag in ["WN-1", "H-1", "C-1"] {
            let id = fleet.find(tag).unwrap();
            let kind = bench.set.kinds.kind(fleet.item(id).kind);
            match required(kind, fleet.item(id), regime) {
                Ok(load) => assert_eq!(proof_of(&bench.set, &fleet, id), Proof::Load(load), "{tag}"),
                Err(fault) => {
                    assert_eq!(proof_of(&bench.set, &fleet, id), Proof::Unknown(fault.to_string()), "{tag}");
                }
            }
        }
    }
    bench.set.service.proof_regime = Regime::Us;
    let fleet = bench.fleet();
    let chain = proof_of(&bench.set, &fleet, fleet.find("C-1").unwrap());
    bench.set.service.proof_regime = Regime::Ilo;
    assert_ne!(proof_of(&bench.set, &fleet, fleet.find("C-1").unwrap()), chain);
}

/// Whether gear of a kind can carry another, through any depth of fitting.
fn can_carry(set: &PolicySet, host: KindId, kind: KindId, deep: usize) -> bool {
    let takes = set.kinds.kind(host).positions.iter().flat_map(|position| &position.takes);
    takes.into_iter().any(|taken| *taken == kind || deep > 0 && can_carry(set, *taken, kind, deep - 1))
}

/// Each kind with a proof load has its rule, on a meter that no gear carrying it counts.
#[test]
fn the_stricter_rule_is_opened_by_the_load_on_the_item_itself() {
    let set = shipped();
    let kinds = (0u16..).map(KindId).zip(&set.kinds.kinds);
    let mut seen = 0;
    for (id, kind) in kinds.clone().filter(|(_, kind)| !kind.load_path.is_empty() && kind.proof.is_some()) {
        let mut builder = crate::facts::FleetBuilder::new(&set);
        builder.item(&crate::facts::ItemRecord { tag: "X", kind: &kind.name, ..Default::default() });
        let fleet = builder.finish().0;
        let (rule, meter) = stricter(&set, &fleet, ItemId(0)).unwrap_or_else(|| panic!("{}", kind.name));
        assert_eq!((rule.overdue, rule.work), (crate::rule::Effect::StopsLaunch, Work::ProofLoadTest));
        for (host, carrier) in kinds.clone().filter(|(host, _)| can_carry(&set, *host, id, 4)) {
            assert!(carrier.meter(meter).is_none(), "{} on {}: {host:?}", kind.name, carrier.name);
        }
        seen += 1;
    }
    assert_eq!(seen, 13);
}

#[test]
fn gear_that_nothing_can_hold_is_told() {
    let mut bench = Bench::new();
    let meter = bench.set.kinds.find_meter("shock loads").unwrap();
    for kind in &mut bench.set.kinds.kinds {
        if ["tractor", "winch"].contains(&kind.name.as_str()) {
            kind.meters.retain(|have| have.id != meter);
        }
    }
    let fleet = bench.fleet();
    let paths = Paths { set: &bench.set, fleet: &fleet, when: stretch() };
    let found = paths.path(HERE, &[], &[Operation::Recovery]).unwrap();
    assert!(matches!(paths.hosts(&found, meter), Err(Untold::Uncounted(..))));
}
