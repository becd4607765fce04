//! That the due dates a service gets are the published ones, or earlier where the house is stricter.

use jiff::civil::{Date, Weekday, date};
use policies::due::Evaluator;
use policies::facts::{FleetBuilder, ItemRecord, Outcome};
use policies::load::PolicySet;
use policies::rule::{Authority, Event, Happening, Rule, RuleId};
use policies::zone::When;

use crate::figure::Published;
use crate::figures::FIGURES;
use crate::months::span_after;
use crate::{rule_of, shipped};

/// What the interval counts from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Base {
    Work,
    EntryIntoService,
}

/// Every day of more than four years: month ends and a 29 February among them.
fn bases() -> Vec<Date> {
    let days = std::iter::successors(Some(date(2023, 10, 2)), |day| day.tomorrow().ok());
    days.take_while(|day| *day <= date(2028, 3, 1)).collect()
}

/// The calendar date that one item each gets, for work or entry into service on each of `days`.
fn dates_due(set: &PolicySet, id: RuleId, base: Base, days: &[Date]) -> Vec<Date> {
    let rule = set.rule(id);
    let kind = set.kinds.kind(rule.applies_to.kind).name.as_str();
    let mut builder = FleetBuilder::new(set);
    for day in days {
        let tag = day.to_string();
        let entered_service_on = Some(if base == Base::Work { date(2021, 3, 31) } else { *day });
        assert!(builder.item(&ItemRecord { tag: &tag, kind, entered_service_on, ..ItemRecord::default() }));
        if base == Base::Work {
            builder.work_with(&tag, &rule.id, When::Day(*day), Outcome::Passed, true);
        }
    }
    let (fleet, _) = builder.finish();
    let evaluator = Evaluator::without_forecasts(set, &fleet, *days.last().unwrap());
    let due = |day: &Date| evaluator.row(fleet.find(&day.to_string()).unwrap(), id).calendar_due;
    days.iter()
        .map(|day| due(day).unwrap_or_else(|| panic!("{}: nothing due after {day}", rule.id)))
        .collect()
}

/// The date due is the published one, on every day of a leap cycle.
fn agrees(set: &PolicySet, rule: &Rule, base: Base, span: &str, days: &[Date]) {
    let id = set.find_rule(&rule.id).unwrap();
    for (day, due) in days.iter().zip(dates_due(set, id, base, days)) {
        assert_eq!(due, span_after(*day, span), "{}: {span} from {day}", rule.id);
    }
}

/// The date due comes before the published one, on every day of a leap cycle, and the rule is the house's.
fn is_stricter(set: &PolicySet, rule: &Rule, base: Base, span: &str) {
    let (id, days) = (set.find_rule(&rule.id).unwrap(), bases());
    assert_eq!(rule.authority, Authority::House, "{}: a stricter interval is the house's own", rule.id);
    for (day, due) in days.iter().zip(dates_due(set, id, base, &days)) {
        assert!(due < span_after(*day, span), "{}: {due} after {day}, the ceiling is {span}", rule.id);
    }
}

#[test]
fn intervals_are_the_published_ones_or_stricter() {
    let set = shipped();
    let mondays: Vec<Date> = bases().into_iter().filter(|day| day.weekday() == Weekday::Monday).collect();
    let mut checked = 0;
    for figure in FIGURES {
        for rule in figure.rules.iter().map(|id| rule_of(set, id)) {
            match figure.published {
                Published::Every(span) => agrees(set, rule, Base::Work, span, &bases()),
                Published::InServiceFor(span) => agrees(set, rule, Base::EntryIntoService, span, &bases()),
                Published::Weekly => agrees(set, rule, Base::Work, "7 days", &mondays),
                Published::CeilingOf(span) => is_stricter(set, rule, Base::Work, span),
                Published::CeilingInService(span) => is_stricter(set, rule, Base::EntryIntoService, span),
                _ => continue,
            }
            checked += 1;
        }
    }
    assert!(checked >= 20, "only {checked} intervals");
}

/// Statutory work has no tolerance after its date: LOLER knows no late examination.
#[test]
fn nothing_that_the_law_asks_for_is_tolerated_late() {
    let law = shipped().rules.iter().filter(|rule| rule.authority == Authority::Law);
    for rule in law {
        assert!(rule.window.late.is_zero(), "{}: {} late", rule.id, rule.window.late);
    }
}

fn waits_for(set: &PolicySet, rule: &Rule, event: &str) -> bool {
    let named = |one: Event| {
        if let Event::Meter(meter) = one {
            set.kinds.meter_name(meter) == event
        } else if let Event::Happening(happening) = one {
            Happening::from_word(event) == Some(happening)
        } else {
            false
        }
    };
    rule.after.iter().any(|clause| named(clause.event) && clause.within.is_zero())
}

#[test]
fn work_after_an_event_comes_before_the_next_use() {
    let set = shipped();
    for figure in FIGURES {
        for rule in figure.rules.iter().map(|id| rule_of(set, id)) {
            match figure.published {
                Published::AfterEvent(event) => assert!(waits_for(set, rule, event), "{}: {event}", rule.id),
                Published::BeforeUse => assert!(rule.before_use, "{}: not on the before-use card", rule.id),
                _ => {}
            }
        }
    }
}

/// LOLER 1998, reg. 9(3)(a)(iv) leaves out no gear: each kind that bears load is examined after a shock, and after
/// a proof load that failed.
#[test]
fn every_kind_in_the_load_path_is_examined_after_exceptional_circumstances() {
    let set = shipped();
    let mut kinds = 0;
    for kind in set.kinds.kinds.iter().filter(|kind| !kind.load_path.is_empty()) {
        for event in ["shock loads", "path proof load failed", "proof load failed"] {
            let examined = |rule: &Rule| {
                set.kinds.kind(rule.applies_to.kind).name == kind.name && waits_for(set, rule, event)
            };
            assert!(set.rules.iter().any(examined), "{}: {event}", kind.name);
        }
        kinds += 1;
    }
    assert!(kinds >= 18, "only {kinds} kinds");
}

#[test]
fn limits_of_readings_are_the_published_ones() {
    let set = shipped();
    for figure in FIGURES {
        for rule in figure.rules.iter().map(|id| rule_of(set, id)) {
            let reading =
                |name| rule.records.iter().find(|one| one.name == name).unwrap_or_else(|| panic!("{name}"));
            match figure.published {
                Published::AtMost(name, unit, most) => {
                    let (one, most) = (reading(name), most.parse().unwrap());
                    assert_eq!(
                        (one.unit.as_deref(), one.max),
                        (Some(unit), Some(most)),
                        "{}: {name}",
                        rule.id
                    );
                }
                Published::AtLeast(name, unit, least) => {
                    let (one, least) = (reading(name), least.parse().unwrap());
                    assert_eq!(
                        (one.unit.as_deref(), one.min),
                        (Some(unit), Some(least)),
                        "{}: {name}",
                        rule.id
                    );
                }
                Published::Judged(name, criterion) => {
                    assert_eq!(reading(name).criterion.as_deref(), Some(criterion), "{}: {name}", rule.id);
                }
                _ => {}
            }
        }
    }
}
