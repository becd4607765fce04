//! The greatest interval of a law over random histories, through policy text and records: floating dates, fixed
//! series with and without an anchor, every window that a set may have.

use std::sync::LazyLock;

use jiff::civil::{Date, date};
use policies::due::Evaluator;
use policies::facts::{FleetBuilder, ItemRecord, Outcome};
use policies::load::PolicySet;
use policies::zone::When;
use proptest::prelude::*;

use crate::months::{days_after, span_after};
use crate::policy_set;

const SPANS: &[&str] =
    &["7 days", "2 weeks", "1 month", "3 months", "6 months", "12 months", "1 year", "30 months", "5 years"];
const EARLY: &[&str] = &["0 days", "6 days", "14 days", "45 days", "3 months", "11 months"];
/// Before every record, on a leap day among them, and after the last.
const ANCHORS: &[Option<&str>] = &[None, Some("2009-01-31"), Some("2020-02-29"), Some("2031-08-31")];

struct Clause {
    every: &'static str,
    early: &'static str,
    fixed: bool,
    anchor: Option<&'static str>,
}

/// Every clause that a set may have: the window of a fixed series is shorter than its interval.
static CLAUSES: LazyLock<Vec<Clause>> = LazyLock::new(|| {
    let mut clauses = Vec::new();
    for &every in SPANS {
        for &early in EARLY {
            clauses.push(Clause { every, early, fixed: false, anchor: None });
            if span_after(date(2023, 1, 1), early) < span_after(date(2023, 1, 1), every) {
                clauses.extend(ANCHORS.iter().map(|anchor| Clause {
                    every,
                    early,
                    fixed: true,
                    anchor: *anchor,
                }));
            }
        }
    }
    clauses
});

/// A rule of law for each clause; one visit that does them all, and one that does none.
static SET: LazyLock<PolicySet> = LazyLock::new(|| {
    let ids: Vec<String> = (0..CLAUSES.len()).map(|at| format!("\"law-{at}\"")).collect();
    let rules = CLAUSES.iter().enumerate().map(|(at, clause)| {
        let grid = if clause.fixed { ", grid = \"fixed\"" } else { "" };
        let anchor = clause.anchor.map(|day| format!(", anchor = \"{day}\"")).unwrap_or_default();
        let calendar = format!("calendar = {{ every = \"{}\"{grid}{anchor} }}\n", clause.every);
        let window = format!("window = {{ early = \"{}\" }}\n", clause.early);
        rule(&format!("law-{at}"), &format!("{calendar}{window}authority = \"law\"\nsource = \"invented\"\n"))
    });
    let visit = format!(
        "calendar = {{ every = \"10 years\" }}\nauthority = \"house\"\ncovers = [{}]\n",
        ids.join(", ")
    );
    let other = "calendar = { every = \"10 years\" }\nauthority = \"house\"\n";
    let text: String = rules.chain([rule("visit", &visit), rule("other", other)]).collect();
    policy_set(&text)
});

fn rule(id: &str, rest: &str) -> String {
    format!(
        "[[rule]]\nid = \"{id}\"\ntitle = \"Examination\"\napplies_to = {{ kind = \"gear\" }}\n\
         work = \"thorough examination\"\noverdue = \"stops launch\"\n{rest}\n"
    )
}

/// Work of a history: on the rule, on one that covers it, or on another; passed, done or failed.
#[derive(Clone, Copy, Debug)]
struct Work {
    day: Date,
    on: On,
    outcome: Outcome,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum On {
    Rule,
    Visit,
    Other,
}

impl Work {
    fn counts(self, as_of: Date) -> bool {
        self.day <= as_of && self.on != On::Other && self.outcome != Outcome::Failed
    }
}

fn day() -> impl Strategy<Value = Date> {
    (0i32..4_000).prop_map(|days| days_after(date(2017, 12, 31), days))
}

fn work() -> impl Strategy<Value = Work> {
    let on = prop_oneof![3 => Just(On::Rule), 1 => Just(On::Visit), 1 => Just(On::Other)];
    let outcome =
        prop_oneof![3 => Just(Outcome::Passed), 1 => Just(Outcome::Done), 1 => Just(Outcome::Failed)];
    (day(), on, outcome).prop_map(|(day, on, outcome)| Work { day, on, outcome })
}

/// The calendar date of the rule of one clause, for an item with this history.
fn due(at: usize, entered: Option<Date>, works: &[Work], as_of: Date) -> Option<Date> {
    let law = format!("law-{at}");
    let mut builder = FleetBuilder::new(&SET);
    let entered_service_on = entered;
    builder.item(&ItemRecord { tag: "G-1", kind: "gear", entered_service_on, ..ItemRecord::default() });
    for work in works {
        let on = match work.on {
            On::Rule => law.as_str(),
            On::Visit => "visit",
            On::Other => "other",
        };
        builder.work("G-1", on, When::Day(work.day), work.outcome);
    }
    let (fleet, _) = builder.finish();
    let (item, rule) = (fleet.find("G-1").unwrap(), SET.find_rule(&law).unwrap());
    Evaluator::without_forecasts(&SET, &fleet, as_of).row(item, rule).calendar_due
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, failure_persistence: None, ..ProptestConfig::default() })]

    /// LOLER 1998, reg. 9(3): the interval is a maximum. The next date lies after the last work that counts,
    /// and never later than that work and the interval. Gear on which no work counts yet has its first date on
    /// the interval from the anchor or from entry into service, and no date at all with neither.
    #[test]
    fn no_history_stretches_the_interval_of_the_law(
        at in 0..CLAUSES.len(), entered in prop::option::of(day()), works in prop::collection::vec(work(), 0..9),
        as_of in day(),
    ) {
        let clause = &CLAUSES[at];
        let found = due(at, entered, &works, as_of);
        let last = works.iter().filter(|work| work.counts(as_of)).map(|work| work.day).max();
        if let Some(last) = last {
            let found = found.unwrap();
            prop_assert!(found > last, "{} is not after {}", found, last);
            prop_assert!(found <= span_after(last, clause.every), "{} after {}: {}", found, last, clause.every);
            prop_assert!(clause.fixed || found == span_after(last, clause.every));
        } else {
            let base = clause.anchor.map(|day| day.parse::<Date>().unwrap()).or(entered);
            prop_assert_eq!(found, base.map(|base| span_after(base, clause.every)));
        }
    }
}

#[test]
fn the_clauses_are_many_enough() {
    let anchored = CLAUSES.iter().filter(|clause| clause.anchor.is_some()).count();
    let windows = CLAUSES.iter().filter(|clause| clause.fixed && clause.early != "0 days").count();
    assert!(
        CLAUSES.len() >= 150 && anchored >= 90 && windows >= 90,
        "{} {anchored} {windows}",
        CLAUSES.len()
    );
}
