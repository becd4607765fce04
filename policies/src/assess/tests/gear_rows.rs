//! Every row of chain and shackle sizes, on both sides of its limit; hooks, blocks and loose gear likewise.

use super::copies::{CHAIN, SHACKLES, decimal, fine, rows};
use super::*;

/// EN 818-6 (90 % of nominal), 29 CFR 1910.184 Table N-184-1 and ASME B30.9: the least thickness itself is
/// allowed, a thousandth less is not.
#[test]
fn each_least_thickness_of_chain_on_both_sides() {
    for row in rows(CHAIN) {
        let regime = if row["basis"].starts_with("EN") { Regime::Iso } else { Regime::Us };
        let judged = |reading: i64| {
            let attributes = format!("nominal_diameter_mm={}", row["nominal_mm"]);
            under(regime, "chain", &attributes, &format!("link_diameter_mm={}", decimal(reading)))
        };
        let at = judged(fine(row["min_mm"]));
        assert_eq!((at.verdict, at.combined.shown().as_str()), (Verdict::Watch, "99.9"), "{row:?}");
        assert_eq!(judged(fine(row["min_mm"]) - 100).verdict, Verdict::Discard, "{row:?}");
        assert!(at.of("link diameter").source.starts_with(row["basis"]), "{row:?}");
        if regime == Regime::Us {
            assert_eq!(at.of("link diameter").status.to_string(), row["status"], "{row:?}");
        }
    }
}

/// 29 CFR 1910.184 asks for the thickness at any point: under the US regime the thinner of two counts.
#[test]
fn the_us_regime_takes_the_thinner_of_two_diameters() {
    let readings = "link_diameter_mm=9.90 link_diameter_mm=12.6";
    assert_eq!(under(Regime::Us, "chain", "nominal_diameter_mm=12.7", readings).verdict, Verdict::Discard);
    let faults = assess("chain", Regime::Us, &[("nominal_diameter_mm", "14")], &[("link_diameter_mm", "13")]);
    assert!(told(&faults.unwrap_err()).contains("nominal_diameter_mm: 14 is in no row of 29 CFR 1910.184"));
}

/// Practice note on EN 13889: 8 % of the body; ISO 16855: 6 % of the pin; ASME B30.26: 10 % of either.
#[test]
fn each_size_of_shackle_on_both_sides() {
    for row in rows(SHACKLES) {
        for (regime, part, percent) in [
            (Regime::Iso, "body", 8),
            (Regime::Iso, "pin", 6),
            (Regime::Us, "body", 10),
            (Regime::Us, "pin", 10),
        ] {
            let new = row[if part == "body" { "body_d_mm" } else { "pin_d_mm" }];
            let edge = fine(new) * (100 - percent) / 100;
            let verdict = |reading: i64| {
                let attributes = format!("{part}_diameter_mm={new} wll_t={}", row["wll_t"]);
                let measures = format!("{part}_diameter_mm={}", decimal(reading));
                under(regime, "shackle", &attributes, &measures).verdict
            };
            assert_eq!(verdict(edge), Verdict::Watch, "{row:?} {part}");
            assert_eq!(verdict(edge - 100), Verdict::Discard, "{row:?} {part}");
        }
    }
}

fn sides(regime: Regime, kind: &str, attributes: &str, measure: &str, within: &str, beyond: &str) {
    let verdict = |reading: &str| under(regime, kind, attributes, &format!("{measure}={reading}")).verdict;
    assert_ne!(verdict(within), Verdict::Discard, "{kind} {measure}={within}");
    assert_eq!(verdict(beyond), Verdict::Discard, "{kind} {measure}={beyond}");
}

/// EN 818-6 practice (from memory): throat 10 %; ISO 16855: pin 6 %, section 10 %. ASME B30.10: throat 5 %
/// and at most 6 mm, wear 10 %. WAC 296-24-24507: twist 10 degrees.
#[test]
fn hooks_on_both_sides() {
    sides(Regime::Iso, "release hook", "throat_mm=40", "throat_mm", "44", "44.01");
    sides(Regime::Iso, "release hook", "", "throat_growth_percent", "10", "10.01");
    sides(Regime::Iso, "release hook", "pin_diameter_mm=20", "pin_diameter_mm", "18.8", "18.79");
    sides(Regime::Iso, "release hook", "", "section_wear_percent", "10", "10.1");
    sides(Regime::Us, "hook", "throat_mm=40", "throat_mm", "42", "42.01");
    sides(Regime::Us, "hook", "throat_mm=160", "throat_mm", "166", "166.01");
    sides(Regime::Us, "hook", "", "pin_wear_percent", "10", "10.01");
    sides(Regime::Us, "hook", "", "twist_degrees", "10", "10.5");
}

/// ISO 16625: groove 5 to 10 % over the rope, rejected below 2.5 %; side play 1.0 mm is a house figure;
/// ISO 16855: pin 6 %.
#[test]
fn blocks_on_both_sides() {
    sides(Regime::Iso, "sheave block", "rope_diameter_mm=16", "groove_radius_mm", "8.2", "8.199");
    sides(Regime::Iso, "sheave block", "", "groove_over_rope_percent", "2.5", "2.49");
    sides(Regime::Iso, "sheave block", "", "side_play_mm", "1", "1.01");
    sides(Regime::Iso, "sheave block", "", "pin_wear_percent", "6", "6.01");
    let wide = iso("sheave block", "rope_diameter_mm=16", "groove_radius_mm=9");
    assert_eq!(wide.verdict, Verdict::Accept);
    assert!(wide.notes().contains("more than 10 % over the rope"));
}

/// EN 1492 (from memory): no label is a reject. Practice for webbing: 15 % abrasion, a cut as long as thick.
#[test]
fn textile_strops_on_both_sides() {
    let strop = "material=webbing thickness_mm=6 length_m=2";
    for (label, verdict) in
        [("readable", Verdict::Accept), ("unreadable", Verdict::Discard), ("missing", Verdict::Discard)]
    {
        let found = iso("strop", strop, &format!("label={label}"));
        assert_eq!(found.verdict, verdict, "{label}");
        assert!(found.of("label missing or not legible").source.starts_with("EN 1492-1"));
    }
    assert_eq!(iso("strop", strop, "label_missing=yes").verdict, Verdict::Discard);
    for (measure, within, beyond) in [("abrasion_percent", "15", "15.1"), ("edge_cut_mm", "6", "6.1")] {
        for (reading, discarded) in [(within, false), (beyond, true)] {
            let found = iso("bow strop", strop, &format!("label=readable {measure}={reading}"));
            assert_eq!(found.verdict == Verdict::Discard, discarded, "{measure}={reading}");
        }
    }
    assert_eq!(iso("strop", strop, "label=readable cut=yes").verdict, Verdict::Discard);
}

/// EN 13414-2 (from memory): 6 wires in 6d, 14 in 30d, 3 side by side, 10 % of the diameter.
#[test]
fn wire_strops_on_both_sides() {
    let strop = "material=wire nominal_diameter_mm=16";
    sides(Regime::Iso, "strop", strop, "breaks_6d", "5", "6");
    sides(Regime::Iso, "strop", strop, "breaks_30d", "13", "14");
    sides(Regime::Iso, "strop", strop, "adjacent_breaks", "2", "3");
    sides(Regime::Iso, "strop", strop, "diameter_mm", "14.41", "14.4");
}

/// The house's 6 mm of 10 for a skid; CI 2001 (from memory): 10 % of the section of a fibre line.
#[test]
fn skids_and_lines_on_both_sides() {
    sides(Regime::Iso, "skid", "plate_thickness_mm=10", "plate_thickness_mm", "6", "5.99");
    sides(Regime::Iso, "skid", "", "plate_thickness_mm", "6", "5.99");
    sides(Regime::Iso, "heaving line", "material=polyester", "section_loss_percent", "9.9", "10");
    assert_eq!(iso("heaving line", "", "hockle=yes").of("hockle").authority, Authority::House);
}

/// Common practice after ISO 16855: 10 % of a link's body, 6 % of a pin, under either regime.
#[test]
fn links_and_pins_on_both_sides() {
    for regime in [Regime::Iso, Regime::Us] {
        sides(regime, "quick-release link", "body_diameter_mm=20", "body_diameter_mm", "18", "17.99");
        sides(regime, "quick-release link", "", "body_wear_percent", "10", "10.01");
        for kind in ["quick-release link", "drawbar pin", "fairlead"] {
            sides(regime, kind, "pin_diameter_mm=40", "pin_diameter_mm", "37.6", "37.59");
            sides(regime, kind, "", "pin_wear_percent", "6", "6.01");
        }
    }
    let pin = iso("drawbar pin", "pin_diameter_mm=40 wll_t=12", "pin_diameter_mm=38 crack=no");
    let wear = pin.of("pin wear");
    assert_eq!((wear.authority, wear.status), (Authority::CommonPractice, Status::Seen));
    assert!(wear.source.contains("ISO 16855:2013"), "{}", wear.source);
}

/// The maker's least is on the item and counts beside the loss; it is the stricter where it comes first.
#[test]
fn the_makers_least_counts_where_it_is_on_record() {
    for (kind, attributes, measure, within, beyond) in [
        (
            "quick-release link",
            "body_diameter_mm=20 min_body_diameter_mm=19",
            "body_diameter_mm",
            "19",
            "18.999",
        ),
        ("quick-release link", "min_pin_diameter_mm=19", "pin_diameter_mm", "19", "18.999"),
        ("drawbar pin", "pin_diameter_mm=40 min_pin_diameter_mm=39", "pin_diameter_mm", "39", "38.999"),
        ("drawbar pin", "min_pin_diameter_mm=39", "pin_diameter_mm", "39", "38.999"),
        ("fairlead", "min_pin_diameter_mm=24", "pin_diameter_mm", "24", "23.999"),
        (
            "fairlead",
            "roller_diameter_mm=120 min_roller_diameter_mm=110",
            "roller_diameter_mm",
            "110",
            "109.9",
        ),
        ("fairlead", "min_roller_diameter_mm=110", "roller_diameter_mm", "110", "109.9"),
    ] {
        for regime in [Regime::Iso, Regime::Us] {
            sides(regime, kind, attributes, measure, within, beyond);
        }
    }
    let both = iso("drawbar pin", "pin_diameter_mm=40 min_pin_diameter_mm=39", "pin_diameter_mm=38.5");
    assert_eq!((both.of("pin wear").verdict(), both.verdict), (Verdict::Watch, Verdict::Discard));
    assert_eq!(both.of("pin diameter").source, "the maker's least as recorded on the item");
    let silent = iso("drawbar pin", "min_pin_diameter_mm=39", "pin_diameter_mm=42");
    assert_eq!(silent.verdict, Verdict::Accept);
    assert!(silent.notes().contains("judged by the maker's least alone"), "{}", silent.notes());
}

/// No figure is published for a roller: without the maker's it is asked for, not taken as sound.
#[test]
fn a_roller_is_not_judged_without_its_makers_least() {
    let told = refused("fairlead", "rope_diameter_mm=22 swl_t=6", "roller_diameter_mm=112");
    assert!(told.contains("min_roller_diameter_mm: is missing"), "{told}");
    let told = refused("drawbar pin", "", "pin_diameter_mm=38");
    assert!(told.contains("give the attribute pin_diameter_mm"), "{told}");
    let told = refused("drawbar pin", "pin_diameter_mm=38 min_pin_diameter_mm=39", "pin_diameter_mm=38");
    assert!(told.contains("must be above 39, the maker's least"), "{told}");
}
