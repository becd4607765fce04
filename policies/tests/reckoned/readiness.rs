//! Which stations can launch by the state of their gear.

use policies::due::Evaluator;
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Outcome, State, StationId};
use policies::load::PolicySet;
use policies::quarantine::Shut;
use policies::readiness::{Certificate, Concession, Papers, Readiness, Reason, StationReadiness};
use policies::zone::Zone;

use crate::gear::{at, fit, fleet, id, launches, on, rule, set_of, when};

/// A carriage needs two stoppers; a drum may stand empty.
const KINDS: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches"]
positions = [
    { name = "stopper", takes = "fall", count = 2, required = true },
    { name = "winch", takes = "winch" },
]
[[kind]]
name = "winch"
[[kind]]
name = "fall"
"#;

/// A yearly rule that stops a launch, one that limits it and one that advises, from `service` settings.
fn set(service: &str) -> PolicySet {
    let yearly = |id| rule(id, "calendar = { every = \"1 year\" }");
    let rules = format!(
        "{}{}{}",
        yearly("stops"),
        yearly("limits").replace("stops launch", "limits launch"),
        yearly("advises").replace("stops launch", "advisory")
    );
    set_of(KINDS, &rules, service)
}

/// Everything examined on 1 September 2026, both falls on the carriage, a launch at noon on 10 October. The other
/// carriage and the rest of the gear are withdrawn.
fn sound(set: &PolicySet, change: impl FnOnce(&mut FleetBuilder)) -> Fleet {
    fleet(set, |b| {
        for tag in ["F-1", "F-2"] {
            for rule in ["stops", "limits", "advises"] {
                b.work(tag, rule, when("2026-09-01"), Outcome::Passed);
            }
            fit(b, tag, "C-1", "2026-01-01", None);
        }
        for tag in ["C-2", "F-3", "W-1", "W-2"] {
            b.state(tag, when("2026-01-01"), State::Withdrawn);
        }
        launches(b, "C-1", &[("2026-10-10T12:00:00", 1)]);
        change(b);
    })
}

fn judged(set: &PolicySet, fleet: &Fleet, papers: &Papers, as_of: &str) -> StationReadiness {
    let mut all = Evaluator::without_forecasts(set, fleet, on(as_of)).readiness(papers);
    assert_eq!(all.len(), fleet.stations.len());
    all.swap_remove(0)
}

fn on_sunday(set: &PolicySet, fleet: &Fleet) -> (Readiness, Vec<Reason>) {
    let found = judged(set, fleet, &Papers::default(), "2026-10-11");
    assert_eq!(found.station, StationId(0));
    (found.readiness, found.reasons)
}

#[test]
fn sound_gear_is_ready() {
    let set = set("");
    assert_eq!(on_sunday(&set, &sound(&set, |_| {})), (Readiness::Ready, vec![]));
}

/// domain brief 4.12: unknown where the last entry is older than 72 hours; here it was at noon on the 10th, so that
/// the evening of the 13th, at 24:00, is 84 hours on, and that of the 12th is 60.
#[test]
fn an_old_log_makes_it_unknown() {
    let set = set("");
    let fleet = sound(&set, |b| launches(b, "C-1", &[("2026-10-20", 1)]));
    let of = |day| judged(&set, &fleet, &Papers::default(), day);
    assert_eq!(of("2026-10-12").readiness, Readiness::Ready);
    let last = Some(at("2026-10-10T12:00:00"));
    assert_eq!(
        (of("2026-10-13").readiness, of("2026-10-13").reasons),
        (Readiness::Unknown, vec![Reason::OldLog { last }])
    );
    assert_eq!(of("2026-10-20").readiness, Readiness::Ready, "an entry of a day counts");
    let after = of("2026-10-24");
    assert_eq!(after.reasons, [Reason::OldLog { last: Some(at("2026-10-20T23:59:59")) }]);
    let longer = set_of_hours(84);
    assert_eq!(
        judged(&longer, &sound(&longer, |_| {}), &Papers::default(), "2026-10-13").readiness,
        Readiness::Ready
    );
}

fn set_of_hours(hours: u32) -> PolicySet {
    set(&format!("oldest_log_hours = {hours}"))
}

/// Overdue work stops, limits or does neither, as its rule says; a concession leaves limits while it runs.
#[test]
fn overdue_work_does_what_its_rule_says() {
    let set = set("");
    let lapsed = |rule: &str| {
        sound(&set, |b| {
            let record =
                ItemRecord { tag: "F-9", kind: "fall", station: Some("quay"), ..ItemRecord::default() };
            assert!(b.item(&record));
            b.state("F-2", when("2026-01-01"), State::Released);
            for done in ["stops", "limits", "advises"].into_iter().filter(|done| *done != rule) {
                b.work("F-9", done, when("2026-09-01"), Outcome::Passed);
            }
            b.work("F-9", rule, when("2025-10-10"), Outcome::Passed);
            fit(b, "F-9", "C-1", "2026-01-01", None);
        })
    };
    for (rule, readiness, reasons) in [
        ("stops", Readiness::NotReady, 1),
        ("limits", Readiness::ReadyWithLimits, 1),
        ("advises", Readiness::Ready, 0),
    ] {
        let found = on_sunday(&set, &lapsed(rule));
        assert_eq!((found.0, found.1.len()), (readiness, reasons), "{rule}");
    }
    let fleet = lapsed("stops");
    let concession = Concession {
        number: "K-1".to_owned(),
        item: id(&fleet, "F-9"),
        rule: set.find_rule("stops").unwrap(),
        from: on("2026-10-11"),
        until: on("2026-10-12"),
        conditions: "daylight".to_owned(),
    };
    let other = Concession { rule: set.find_rule("limits").unwrap(), ..concession.clone() };
    let papers = Papers {
        concessions: vec![other, concession.clone()],
        certificates: Vec::new(),
        ..Papers::default()
    };
    let conceded = |day| judged(&set, &fleet, &papers, day);
    for (day, readiness) in
        [("2026-10-11", Readiness::ReadyWithLimits), ("2026-10-12", Readiness::ReadyWithLimits)]
    {
        let found = conceded(day);
        assert_eq!(found.readiness, readiness, "{day}");
        assert!(
            matches!(&found.reasons[..], [Reason::Conceded { concession: live, .. }] if *live == concession)
        );
    }
    assert_eq!(conceded("2026-10-13").readiness, Readiness::NotReady, "it ran out");
    let early = Papers { concessions: vec![Concession { from: on("2026-10-12"), ..concession }], ..papers };
    assert_eq!(judged(&set, &fleet, &early, "2026-10-11").readiness, Readiness::NotReady, "not yet in force");
}

#[test]
fn a_required_position_must_hold_what_may_be_used() {
    let set = set("");
    let carriage = |fleet: &Fleet| id(fleet, "C-1");
    let one = fleet(&set, |b| {
        b.state("C-2", when("2026-01-01"), State::Withdrawn);
        fit(b, "F-1", "C-1", "2026-01-01", Some("2026-10-11T00:00:00"));
        launches(b, "C-1", &[("2026-10-10T12:00:00", 1)]);
    });
    let empty = Reason::Empty { host: carriage(&one), position: 0, missing: 2 };
    assert_eq!(on_sunday(&set, &one), (Readiness::NotReady, vec![empty]));
    let set_aside = sound(&set, |b| b.state("F-2", when("2026-10-11"), State::Quarantined));
    let shut = Shut::Quarantined(at("2026-10-11T00:00:00"));
    let unfit = Reason::Unfit { host: carriage(&set_aside), position: 0, item: id(&set_aside, "F-2"), shut };
    assert_eq!(on_sunday(&set, &set_aside), (Readiness::NotReady, vec![unfit]));
}

/// What must not be used, and what ends it: a release or sound work, strictly later.
#[test]
fn failed_work_stands_until_it_is_cleared() {
    let set = set("");
    let shut = |change: &dyn Fn(&mut FleetBuilder)| {
        let fleet = sound(&set, |b| {
            b.work("F-1", "stops", when("2026-10-01T10:00:00"), Outcome::Failed);
            change(b);
        });
        Evaluator::without_forecasts(&set, &fleet, on("2026-10-11")).shut(id(&fleet, "F-1"))
    };
    assert!(matches!(shut(&|_| {}), Some(Shut::Failed(done)) if done.at == at("2026-10-01T10:00:00")));
    let again = |moment: &'static str, rule: &'static str| {
        shut(&move |b: &mut FleetBuilder| b.work("F-1", rule, when(moment), Outcome::Passed)).is_some()
    };
    assert!(again("2026-10-01T10:00:00", "stops"), "at the same moment the failure is the later");
    assert!(!again("2026-10-01T10:00:01", "stops"));
    assert!(again("2026-10-02", "limits"), "work on another rule");
    assert!(again("2026-10-12", "stops"), "not yet done");
    let state =
        |moment: &'static str, state| shut(&move |b: &mut FleetBuilder| b.state("F-1", when(moment), state));
    assert!(state("2026-10-01T10:00:00", State::Released).is_some());
    assert_eq!(state("2026-10-01T10:00:01", State::Released), None);
    assert_eq!(state("2026-10-02", State::Withdrawn), Some(Shut::Withdrawn(at("2026-10-02T00:00:00"))));
    assert_eq!(state("2026-10-02", State::Quarantined), Some(Shut::Quarantined(at("2026-10-02T00:00:00"))));
}

/// Of the certificates that have an end the newest counts: valid to its last day.
#[test]
fn a_lapsed_certificate_stops() {
    let set = set("");
    let fleet = sound(&set, |_| {});
    let paper = |number: &str, issued: &str, until: Option<&str>| Certificate {
        number: number.to_owned(),
        item: id(&fleet, "F-1"),
        issued_on: on(issued),
        valid_until: until.map(on),
    };
    let of = |certificates: Vec<Certificate>| {
        judged(&set, &fleet, &Papers { certificates, ..Papers::default() }, "2026-10-11").reasons
    };
    let old = paper("Z-1", "2025-10-10", Some("2026-10-10"));
    assert_eq!(of(vec![old.clone()]), [Reason::Lapsed { certificate: old.clone() }]);
    assert_eq!(of(vec![paper("Z-2", "2025-10-10", Some("2026-10-11"))]), []);
    let unlike = paper("Z-3", "2026-10-11", None);
    assert_eq!(
        of(vec![unlike, old.clone()]),
        [Reason::Lapsed { certificate: old.clone() }],
        "a paper without an end renews none"
    );
    assert_eq!(of(vec![paper("Z-5", "2026-10-11", Some("2027-10-11")), old.clone()]), []);
    let later = paper("Z-4", "2026-10-12", Some("2027-10-12"));
    assert_eq!(of(vec![later, old.clone()]), [Reason::Lapsed { certificate: old }], "not yet issued");
}

/// Two falls wanted at every station, three at this one: one of the two is set aside.
#[test]
fn too_few_fit_items_stop() {
    let wants = |minimums: &str| {
        let set = set(minimums);
        let fleet = sound(&set, |b| b.station("pier", "Pier", Zone::utc(), false));
        let kind = set.kinds.find("fall").unwrap();
        let (_, reasons) = on_sunday(&set, &fleet);
        reasons
            .into_iter()
            .map(|reason| match reason {
                Reason::TooFew { kind: found, have, wanted } if found == kind => (have, wanted),
                other => panic!("{other:?}"),
            })
            .collect::<Vec<_>>()
    };
    let minimum =
        |count: u32, station: &str| format!("[[minimum]]\nkind = \"fall\"\ncount = {count}\n{station}");
    assert_eq!(wants(&minimum(2, "")), []);
    assert_eq!(wants(&minimum(3, "")), [(2, 3)]);
    assert_eq!(wants(&minimum(3, "station = \"quay\"")), [(2, 3)]);
    assert_eq!(wants(&minimum(3, "station = \"pier\"")), []);
}

/// A carriage laid up leaves the station without one, unless another of its own is in use.
#[test]
fn laid_up_gear_stops_where_there_is_no_other() {
    let set = set("");
    let laid_up = |other: bool| {
        let fleet = sound(&set, |b| {
            b.state("C-1", when("2026-10-01"), State::LaidUp);
            if other {
                let record = ItemRecord {
                    tag: "C-3",
                    kind: "carriage",
                    station: Some("quay"),
                    ..ItemRecord::default()
                };
                assert!(b.item(&record));
            }
        });
        let found = on_sunday(&set, &fleet);
        (id(&fleet, "C-1"), found)
    };
    let (item, found) = laid_up(false);
    assert_eq!(found, (Readiness::NotReady, vec![Reason::LaidUp { item }]));
    let (_, found) = laid_up(true);
    assert!(matches!(&found.1[..], [Reason::Empty { missing: 2, .. }]), "{found:?}");
}

/// No concession waives a rule that stands on law, not one that was signed before it did.
#[test]
fn a_concession_does_not_waive_law() {
    for (authority, readiness) in [("house", Readiness::ReadyWithLimits), ("law", Readiness::NotReady)] {
        let of = |id| {
            rule(id, "calendar = { every = \"1 year\" }").replace("\"house\"", "\"law\"\nsource = \"s\"")
        };
        let rules =
            if authority == "law" { of("stops") } else { rule("stops", "calendar = { every = \"1 year\" }") };
        let set = set_of(KINDS, &rules, "");
        let fleet = fleet(&set, |b| {
            for tag in ["F-1", "F-2"] {
                b.work(
                    tag,
                    "stops",
                    when(if tag == "F-1" { "2025-09-01" } else { "2026-09-01" }),
                    Outcome::Passed,
                );
                fit(b, tag, "C-1", "2026-01-01", None);
            }
            b.state("C-2", when("2026-01-01"), State::Withdrawn);
            launches(b, "C-1", &[("2026-10-10T12:00:00", 1)]);
        });
        let concession = Concession {
            number: "K-1".to_owned(),
            item: id(&fleet, "F-1"),
            rule: set.find_rule("stops").unwrap(),
            from: on("2026-10-01"),
            until: on("2026-10-31"),
            conditions: "daylight".to_owned(),
        };
        let papers = Papers { concessions: vec![concession.clone()], ..Papers::default() };
        let found = judged(&set, &fleet, &papers, "2026-10-11");
        assert_eq!(found.readiness, readiness, "{authority}");
        let refused =
            matches!(&found.reasons[..], [Reason::Rule { refused: Some(told), .. }] if *told == concession);
        assert_eq!(refused, authority == "law");
    }
}

/// Set aside and released with the same day alone: set aside is the later, whatever the order of their keys.
#[test]
fn set_aside_is_later_than_a_release_of_the_same_moment() {
    let set = set("");
    for states in [[State::Quarantined, State::Released], [State::Released, State::Quarantined]] {
        let fleet =
            sound(&set, |b| states.iter().for_each(|state| b.state("F-1", when("2026-10-01"), *state)));
        let shut = Evaluator::without_forecasts(&set, &fleet, on("2026-10-11")).shut(id(&fleet, "F-1"));
        assert_eq!(shut, Some(Shut::Quarantined(at("2026-10-01T00:00:00"))), "{states:?}");
    }
}
