use super::*;

mod published;

fn tonnes(text: &str) -> Grams {
    Grams::from_tonnes(text).unwrap()
}

fn load_t(gear: &str, rating_t: &str, regime: Regime) -> String {
    proof_load(gear, Rating::Swl(tonnes(rating_t)), regime).unwrap().load.tonnes()
}

/// Checks `(gear, rating in t, load in t)`; the loads are worked by hand from the source named beside each list.
fn check(regime: Regime, rows: &[(&str, &str, &str)]) {
    for (gear, rating, load) in rows {
        assert_eq!(&load_t(gear, rating, regime), load, "{gear} {rating} t under {regime}");
    }
}

// ILO cargo-gear steps (from memory): 2 x to 25 t, 1.22 x + 20 above; blocks 0.933 x + 27 to 160 t, 1.1 x above.
#[test]
fn ilo_loose_gear_on_both_sides_of_each_limit() {
    check(
        Regime::Ilo,
        &[
            ("shackle", "0.000001", "0.000002"),
            ("shackle", "25", "50"),
            ("shackle", "25.000001", "50.500002"),
            ("shackle", "30", "56.6"),
            ("chain", "4.75", "9.5"),
            ("hook", "100", "142"),
            ("swivel", "25", "50"),
            ("ring", "26", "51.72"),
            ("link", "1", "2"),
            ("sling", "3.2", "6.4"),
            ("fall", "3.2", "6.4"),
            ("single-sheave-block", "5", "20"),
            ("single-sheave-block-without-becket", "5", "20"),
            ("single-sheave-block-with-becket", "5", "30"),
            ("multi-sheave-block", "25", "50"),
            ("multi-sheave-block", "25.001", "50.325933"),
            ("multi-sheave-block", "30", "54.99"),
            ("multi-sheave-block", "50", "73.65"),
            ("multi-sheave-block", "160", "176.28"),
            ("multi-sheave-block", "160.001", "176.0011"),
            ("lifting-beam", "10", "20"),
            ("lifting-beam", "10.001", "20.00104"),
            ("spreader", "160", "176"),
            ("lifting-frame", "160.01", "176.011"),
            ("hand-operated-block", "2", "3"),
        ],
    );
}

// SOR/2007-128 Schedule 5 items 1 to 6, and Schedule 4 item 1.
#[test]
fn canada_on_both_sides_of_each_limit() {
    check(
        Regime::Canada,
        &[
            ("shackle", "30", "60"),
            ("socket", "1", "2"),
            ("swage", "1", "2"),
            ("single-sheave-block", "5", "20"),
            ("single-sheave-block-with-becket", "5", "30"),
            ("multi-sheave-block", "20", "40"),
            ("multi-sheave-block", "20.001", "40.001"),
            ("multi-sheave-block", "40", "60"),
            ("multi-sheave-block", "40.001", "60.0015"),
            ("lifting-beam", "10", "20"),
            ("lifting-beam", "10.001", "20.00104"),
            ("lifting-beam", "160", "176"),
            ("lifting-beam", "160.01", "176.011"),
            ("magnet-connector", "2", "4"),
            ("vacuum-connector", "2", "4"),
            ("friction-connector", "2", "4"),
            ("crane", "20", "25"),
            ("crane", "20.001", "25.001"),
            ("derrick", "50", "55"),
            ("derrick", "50.001", "55.0011"),
        ],
    );
}

// Cap. 59J Schedule 1: below 20 t 1.25 x, from 20 to 50 t + 5 t, above 50 t 1.1 x.
#[test]
fn ilo_appliances_on_both_sides_of_each_limit() {
    check(
        Regime::Ilo,
        &[
            ("winch", "6.1", "7.625"),
            ("winch", "19.999", "24.99875"),
            ("crane", "20", "25"),
            ("crane", "20.001", "25.001"),
            ("derrick", "50", "55"),
            ("derrick", "50.001", "55.0011"),
            ("anchor-point", "8", "10"),
            ("lead-point", "8", "10"),
        ],
    );
    let formula = |t: &str| proof_load("winch", Rating::Swl(tonnes(t)), Regime::Ilo).unwrap().formula;
    assert_eq!(
        formula("19.999"),
        "1.25 x SWL (below 20 t): 1.25 x 19.999 t = 24.999 t, rounded up to the kilogram"
    );
    assert_eq!(formula("20"), "SWL + 5 t (from 20 up to and including 50 t): 20 t + 5 t = 25 t");
    assert_eq!(formula("51"), "1.1 x SWL (over 50 t): 1.1 x 51 t = 56.1 t");
}

// 29 CFR 1919.31(a): block steps at 20 and 40 long tons of 1.0160469088 t.
// 20 long tons = 20.320938176 t, 40 long tons = 40.641876352 t.
#[test]
fn us_loose_gear_on_both_sides_of_each_limit() {
    check(
        Regime::Us,
        &[
            ("shackle", "30", "60"),
            ("chain", "3", "6"),
            ("single-sheave-block", "5", "20"),
            ("pitched-chain", "2", "3"),
            ("hand-operated-block", "2", "3"),
            ("multi-sheave-block", "20.320938", "40.641876"),
            // 20.320939 + 20.320938176 = 40.641877176, up to the gram.
            ("multi-sheave-block", "20.320939", "40.641878"),
            // 40.641876 + 20.320938176 = 60.962814176, up to the gram.
            ("multi-sheave-block", "40.641876", "60.962815"),
            // 1.5 x 40.641877 = 60.9628155, up to the gram.
            ("multi-sheave-block", "40.641877", "60.962816"),
        ],
    );
}

// 29 CFR 1919.27(a) for winches and derricks, 1919.28(a) for cranes.
// 5 long tons = 5.080234544 t, 50 long tons = 50.80234544 t.
#[test]
fn us_appliances_on_both_sides_of_each_limit() {
    for gear in ["winch", "derrick", "crane"] {
        check(
            Regime::Us,
            &[
                (gear, "4", "5"),
                // 1.25 x 20.320938 = 25.4011725, up to the gram.
                (gear, "20.320938", "25.401173"),
                // 20.320939 + 5.080234544 = 25.401173544, up to the gram.
                (gear, "20.320939", "25.401174"),
                // 50.802345 + 5.080234544 = 55.882579544, up to the gram.
                (gear, "50.802345", "55.88258"),
                // 1.1 x 50.802346 = 55.8825806, up to the gram.
                (gear, "50.802346", "55.882581"),
            ],
        );
    }
    let source = |gear| proof_load(gear, Rating::Swl(Grams(1)), Regime::Us).unwrap().source;
    assert_eq!(source("winch"), "29 CFR 1919.27(a)");
    assert_eq!(source("derrick"), "29 CFR 1919.27(a)");
    assert_eq!(source("crane"), "29 CFR 1919.28(a)");
}

// LSA Code 6.1: brake static 1.5, dynamic 1.1, structure 2.2; SOLAS III/20.11: five-yearly 1.1. Ship rules hold in each regime.
#[test]
fn ship_launching_appliances_have_one_rule_in_every_regime() {
    for regime in Regime::ALL {
        check(
            regime,
            &[
                ("launching-winch-brake-static", "6", "9"),
                ("launching-winch-brake-dynamic", "6", "6.6"),
                ("launching-appliance-static", "6", "13.2"),
                ("launching-winch-brake-five-yearly", "6", "6.6"),
                ("on-load-release-five-yearly", "6", "6.6"),
            ],
        );
    }
}

// Worked examples of the trade: fall 3.2 t = 6.4 t = 62.8 kN; winch 6.1 t = 7.625 t = 74.8 kN.
#[test]
fn a_result_says_what_it_is_and_where_it_comes_from() {
    let fall = proof_load("fall", Rating::Wll(tonnes("3.2")), Regime::Ilo).unwrap();
    assert_eq!((fall.load_t.as_str(), fall.load_kn.as_str()), ("6.4", "62.8"));
    assert_eq!(fall.formula, "2 x WLL (up to and including 25 t): 2 x 3.2 t = 6.4 t");
    assert_eq!(fall.source, "ILO cargo-gear proof-load steps (from memory, check against the code)");
    assert_eq!((fall.status, fall.authority), (Status::Memory, Authority::Standard));

    let winch = proof_load("winch", Rating::Swl(tonnes("6.1")), Regime::Ilo).unwrap();
    assert_eq!((winch.load_t.as_str(), winch.load_kn.as_str()), ("7.625", "74.8"));
    assert_eq!((winch.status, winch.authority), (Status::Seen, Authority::Standard));

    let shackle = proof_load("shackle", Rating::Wll(tonnes("30")), Regime::Ilo).unwrap();
    assert_eq!(shackle.formula, "1.22 x WLL + 20 t (over 25 t): 1.22 x 30 t + 20 t = 56.6 t");
    assert_eq!(shackle.load_kn, "555.1");
}

#[test]
fn long_tons_are_named_with_their_conversion() {
    let block = proof_load("multi-sheave-block", Rating::Swl(tonnes("25")), Regime::Us).unwrap();
    assert_eq!(
        block.formula,
        "SWL + 20 long tons (over 20 up to and including 40 long tons; 1 long ton = 1.0160469088 t): \
         25 t + 20.320938176 t = 45.321 t, rounded up to the kilogram"
    );
    assert_eq!((block.load, block.load_t.as_str()), (Grams(45_320_939), "45.321"));
    assert_eq!(block.authority, Authority::Law);
    let shackle = proof_load("shackle", Rating::Wll(tonnes("1")), Regime::Us).unwrap();
    assert_eq!(shackle.formula, "2 x WLL (1 long ton = 1.0160469088 t): 2 x 1 t = 2 t");
}

#[test]
fn unknown_gear_is_answered_with_the_known_words() {
    let refused = proof_load("block", Rating::Swl(tonnes("1")), Regime::Us).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "gear `block` is in no proof-load table; perhaps single-sheave-block or multi-sheave-block or \
         hand-operated-block is meant; regime us knows chain, hook, ring, shackle, swivel, single-sheave-block, \
         multi-sheave-block, pitched-chain, hand-operated-block, winch, derrick, crane, launching-winch-brake-static, \
         launching-winch-brake-dynamic, launching-appliance-static, launching-winch-brake-five-yearly, \
         on-load-release-five-yearly"
    );
    let refused = proof_load("", Rating::Swl(tonnes("1")), Regime::Canada).unwrap_err();
    assert!(refused.to_string().starts_with("gear `` is in no proof-load table; regime canada knows chain,"));
}

#[test]
fn gear_of_another_regime_is_sent_there() {
    let refused = proof_load("lifting-beam", Rating::Wll(tonnes("1")), Regime::Us).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "regime us publishes no proof load for `lifting-beam`; it is covered by ilo, canada"
    );
    let refused = proof_load("winch", Rating::Swl(tonnes("6.1")), Regime::Canada).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "regime canada publishes no proof load for `winch`; it is covered by ilo, us"
    );
}

#[test]
fn ratings_outside_the_steps_are_refused() {
    for grams in [0, -1, i64::MIN] {
        let refused = proof_load("shackle", Rating::Wll(Grams(grams)), Regime::Ilo).unwrap_err();
        let expected = "lies outside the table of regime ilo, which covers every rating above 0 t";
        assert!(refused.to_string().ends_with(expected), "{refused}");
    }
    let refused = proof_load("shackle", Rating::Wll(Grams(i64::MAX)), Regime::Ilo).unwrap_err();
    assert!(matches!(refused, ProofLoadError::TooLarge { .. }));
}

#[test]
fn no_step_ends_below_where_the_next_begins() {
    let all = steps().unwrap();
    for pair in
        all.windows(2).filter(|pair| pair[0].gear == pair[1].gear && pair[0].regimes == pair[1].regimes)
    {
        let (ends, begins) = (pair[0].to.unwrap(), pair[1].from);
        assert_eq!(ends.thousandths, begins.thousandths);
        assert_ne!(ends.included, begins.included);
    }
    for regime in Regime::ALL {
        for gear in known_gear(regime).unwrap() {
            let rows: Vec<_> = all
                .iter()
                .filter(|step| step.gear.contains(&gear) && step.regimes.contains(&regime))
                .collect();
            assert_eq!(rows[0].from.thousandths, 0, "{gear}");
            assert!(rows.last().unwrap().to.is_none(), "{gear}");
        }
    }
}

#[test]
fn regimes_are_read_by_name() {
    assert_eq!("canada".parse(), Ok(Regime::Canada));
    let refused = "uk".parse::<Regime>().unwrap_err();
    assert_eq!(refused.to_string(), "`uk` is no proof-load regime; right would be ilo, us or canada");
}
