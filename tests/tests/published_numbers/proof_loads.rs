//! Published proof loads: the factors that rules print, and every step of the published tables.

use std::collections::BTreeSet;
use std::path::Path;

use policies::load::PolicySet;
use policies::proof_load::{Grams, ProofLoad, Rating, Regime, known_gear, proof_load};
use policies::rule::Rule;

use crate::figure::Published;
use crate::figures::FIGURES;
use crate::{rule_of, shipped};

/// A rating inside the first step of every table.
const TEN_TONNES: Grams = Grams(10_000_000);

fn required(gear: &str, rating: Grams, regime: Regime) -> ProofLoad {
    proof_load(gear, Rating::Swl(rating), regime).unwrap_or_else(|fault| panic!("{fault}"))
}

fn gear_of<'s>(set: &'s PolicySet, rule: &Rule) -> &'s str {
    let kind = set.kinds.kind(rule.applies_to.kind);
    &kind.proof.as_ref().unwrap_or_else(|| panic!("{} has no proof load", kind.name)).gear
}

#[test]
fn test_loads_of_rules_are_the_published_multiples() {
    let set = shipped();
    let mut checked = 0;
    for figure in FIGURES {
        for rule in figure.rules.iter().map(|id| rule_of(set, id)) {
            let (gear, thousandths) = match figure.published {
                Published::TimesRating(thousandths) => (gear_of(set, rule), thousandths),
                Published::TimesRatingOf(gear, thousandths) => (gear, thousandths),
                _ => continue,
            };
            let load = required(gear, TEN_TONNES, Regime::Ilo).load;
            assert_eq!(load, Grams(TEN_TONNES.0 / 1_000 * thousandths), "{}: {gear}", rule.id);
            let recorded = rule.records.iter().any(|one| one.unit.as_deref() == Some("kN"));
            assert!(recorded, "{}: the load is not recorded", rule.id);
            checked += 1;
        }
    }
    assert!(checked >= 8, "only {checked} loads");
}

/// One published step: above `over`, up to and including `to`, in tonnes or long tons of 1016.0469088 kg.
struct Step {
    regimes: Vec<Regime>,
    gear: Vec<String>,
    over: i64,
    to: Option<i64>,
    thousandths: i128,
    added: i128,
    ton: i128,
    source: String,
    memory: bool,
}

/// In a gram; a long ton is a whole number of them.
const TENTHS_OF_A_MILLIGRAM: i128 = 10_000;

/// Tonnes with at most three decimals, in thousandths.
fn thousandths(text: &str) -> i128 {
    let (whole, decimals) = text.split_once('.').unwrap_or((text, ""));
    format!("{whole}{decimals:0<3}").parse().unwrap()
}

impl Step {
    fn read(row: &csv::StringRecord) -> Step {
        let regime = &row[0];
        let ton = if &row[6] == "long ton" { 10_160_469_088 } else { 10_000_000_000 };
        Step {
            regimes: if regime == "any" { Regime::ALL.to_vec() } else { vec![regime.parse().unwrap()] },
            gear: row[1].split(';').map(str::to_owned).collect(),
            over: row[2].parse().unwrap(),
            to: row[3].parse().ok(),
            thousandths: thousandths(&row[4]),
            added: thousandths(&row[5]),
            ton,
            source: row[7].to_owned(),
            memory: &row[8] == "memory",
        }
    }

    /// The greatest whole gram that is not above so many tons.
    fn grams_up_to(&self, tons: i64) -> i64 {
        i64::try_from(i128::from(tons) * self.ton / TENTHS_OF_A_MILLIGRAM).unwrap()
    }

    /// Ratings in the step: its least gram, some within, and its last.
    fn ratings(&self) -> Vec<i64> {
        let first = self.grams_up_to(self.over) + 1;
        let last = self.to.map_or(first + 90_000_000, |to| self.grams_up_to(to));
        vec![first, first + (last - first) / 3, first + (last - first) / 2, last]
    }

    /// Times the rating and the addition, rounded up to the gram.
    fn load(&self, rating: i64) -> i64 {
        let exact = i128::from(rating) * TENTHS_OF_A_MILLIGRAM * self.thousandths + self.added * self.ton;
        i64::try_from((exact + 9_999_999) / 10_000_000).unwrap()
    }
}

/// `tests/golden/proof_load_steps.csv`: the ILO steps, 29 CFR 1919.27, 1919.28 and 1919.31, SOR/2007-128
/// Schedules 4 and 5, LSA Code 6.1 and SOLAS III/20.11, row by row, with the mark of what is from memory.
fn published_steps() -> Vec<Step> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/proof_load_steps.csv");
    let rows = csv::Reader::from_path(path).unwrap().into_records();
    rows.map(|row| Step::read(&row.unwrap())).collect()
}

#[test]
fn every_step_gives_the_published_load_and_names_its_source() {
    let mut points = 0;
    for step in published_steps() {
        for (regime, gear) in
            step.regimes.iter().flat_map(|one| step.gear.iter().map(move |gear| (*one, gear)))
        {
            for rating in step.ratings() {
                let found = required(gear, Grams(rating), regime);
                assert_eq!(found.load, Grams(step.load(rating)), "{regime}: {gear}, {rating} g");
                assert!(
                    found.source.contains(&step.source),
                    "{gear}: {} lacks {}",
                    found.source,
                    step.source
                );
                assert_eq!(found.source.contains("from memory"), step.memory, "{gear}: {}", found.source);
                let law = ["CFR", "SOR", "SOLAS"].iter().any(|word| step.source.contains(word));
                assert_eq!(found.authority.to_string() == "law", law && regime_is_bound(&step), "{gear}");
                points += 1;
            }
        }
    }
    assert!(points >= 300, "only {points} points");
}

/// The ILO's steps are a standard even where a law that prints the same is named as what was read.
fn regime_is_bound(step: &Step) -> bool {
    step.regimes != [Regime::Ilo]
}

/// A gear word, or a regime for one, that no published step stands for.
#[test]
fn no_proof_load_is_without_a_published_step() {
    let steps = published_steps();
    for regime in Regime::ALL {
        let of_regime = steps.iter().filter(|step| step.regimes.contains(&regime));
        let published: BTreeSet<&str> =
            of_regime.flat_map(|step| step.gear.iter().map(String::as_str)).collect();
        let known: BTreeSet<&str> = known_gear(regime).unwrap().into_iter().collect();
        assert_eq!(known, published, "{regime}");
    }
}

/// The steps of one word meet: each begins where the one before it ends, from nought, and the last has no end.
#[test]
fn the_published_steps_leave_no_rating_out() {
    let steps = published_steps();
    for regime in Regime::ALL {
        for gear in known_gear(regime).unwrap() {
            let mut edge = Some(0);
            for step in &steps {
                if step.regimes.contains(&regime) && step.gear.iter().any(|word| word == gear) {
                    assert_eq!(edge, Some(step.over), "{regime}: {gear}");
                    edge = step.to;
                }
            }
            assert_eq!(edge, None, "{regime}: {gear}");
        }
    }
}
