//! Published breaking forces and proof loads, row by row, out of copies that are kept apart.

use super::super::*;

const FORCES: &str = include_str!("../../../../tests/golden/discard/breaking_forces.csv");
const SHACKLES: &str = include_str!("../../../../tests/golden/discard/shackle_proofs.csv");

fn rows(text: &'static str) -> impl Iterator<Item = Vec<&'static str>> {
    text.lines().skip(1).map(|line| line.split(',').collect())
}

/// Thousandths of a decimal of up to three places.
fn thousandths(text: &str) -> i64 {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    format!("{whole}{part:0<3}").parse().unwrap()
}

fn decimal(thousandths: i64) -> String {
    format!("{}.{:03}", thousandths / 1000, thousandths % 1000)
}

/// EN 12385-4: the least breaking force is factor x d² x grade, printed to three figures. And each of those wires with
/// a ferrule (K 0.9) on both sides of half its strength, the house limit.
#[test]
fn each_wire_on_both_sides_of_half_its_strength() {
    let mut judged = 0;
    for row in rows(FORCES) {
        let [size, core, factor, forces @ ..] = &row[..] else { panic!("{row:?}") };
        for (grade, printed) in [1770, 1960].into_iter().zip(forces) {
            let size: i64 = size.parse().unwrap();
            // Thousandths of a kilonewton: the factor has thousandths, the grade N/mm².
            let exact = thousandths(factor) * size * size * grade / 1000;
            let figure = if exact >= 100_000 { 1000 } else { 100 };
            assert!((exact - thousandths(printed)).abs() <= figure / 2, "{size} {core} {grade}: {exact}");
            let half = thousandths(printed) * 900 / 2000;
            let wire = WireStrength::read(printed, "0.9").unwrap();
            let pull = |thousandths| Force::from_kilonewtons(&decimal(thousandths)).unwrap();
            assert!(guard_pull(pull(half), Some(wire), &[]).is_ok(), "{size} {core} {grade}");
            assert!(guard_pull(pull(half + 1), Some(wire), &[]).is_err(), "{size} {core} {grade}");
            judged += 1;
        }
    }
    assert_eq!(judged, 64);
}

/// A dee by the steps of the code for lifting appliances; an EN 13889 shackle by twice its rating, as Canada has it,
/// whatever its size. A part at its own proof load passes, and above it does not.
#[test]
fn each_shackle_bears_its_published_proof_load_and_no_more() {
    for row in rows(SHACKLES) {
        let [series, rating, proof] = row[..] else { panic!("{row:?}") };
        let regime = if series.starts_with("EN") { Regime::Canada } else { Regime::Ilo };
        let rating = Rating::Wll(Grams::from_tonnes(rating).unwrap());
        let found = proof_load("shackle", rating, regime).unwrap();
        assert_eq!(found.load, Grams::from_tonnes(proof).unwrap(), "{row:?}");
        let part = PartProof { part: "S-1".to_owned(), proof: Force::of(found.load) };
        assert!(guard(found.load, None, std::slice::from_ref(&part)).is_ok(), "{row:?}");
        let more =
            Grams::from_tonnes(&format!("{proof}{}", if proof.contains('.') { "0001" } else { ".0001" }));
        assert!(guard(more.unwrap(), None, &[part]).is_err(), "{row:?}");
    }
}
