//! What is said where the certificate is silent, and what is said on a threshold.

use super::*;

fn limits(attributes: &str) -> ([String; 2], String) {
    let found = iso("winch wire", attributes, "breaks_6d=0 breaks_30d=0");
    let of = |name| found.of(name).limit_text();
    ([of("broken wires in 6d"), of("broken wires in 30d")], found.notes())
}

fn limit(attributes: &str) -> [String; 2] {
    limits(attributes).0
}

/// ISO 4309:2010 Table 3, n = 201 to 220: 9 and 18 in sheaves, 18 and 36 on a multi-layer drum.
#[test]
fn the_makers_category_rules() {
    assert_eq!(limit("rope_category=09 lay=ordinary spooling=single"), ["9", "18"]);
    assert_eq!(limit("rope_category=09 lay=ordinary spooling=multi-layer"), ["18", "36"]);
    for written in ["RCN_09", "rcn9", "9", "RCN09"] {
        let attributes = format!("rope_category={} lay=ordinary", written.replace('_', ""));
        assert_eq!(limit(&attributes), ["9", "18"], "{written}");
    }
    let (declared, notes) =
        limits("rope_category=09 construction=6x36WS load_bearing_wires=150 lay=ordinary");
    assert_eq!(declared, ["9", "18"]);
    assert!(
        notes.contains("the maker's category 09 rules; by the load-bearing wires it would be 06"),
        "{notes}"
    );
    assert_eq!(limit("rope_category=23-1 construction=35x7"), ["2", "4"]);
}

/// Reprints of the construction list differ for 6x36WS: RCN 09, or 07 after an older edition.
#[test]
fn a_silent_certificate_is_read_with_caution() {
    let (found, notes) = limits("construction=6x36WS load_bearing_wires=216 lay=ordinary");
    assert_eq!(found, ["7", "14"]);
    assert!(notes.contains("no rope category is declared: judged by 07"), "{notes}");
    assert_eq!(limit("core=steel load_bearing_wires=216 lay=ordinary"), ["9", "18"]);
    let (found, notes) = limits("lay=ordinary");
    assert_eq!(found, ["2", "4"]);
    assert!(notes.contains("the lowest row of all"), "{notes}");
    let (found, notes) = limits("rope_category=09");
    assert_eq!(found, ["4", "9"]);
    assert!(notes.contains("lay is not recorded") && notes.contains("spooling is not recorded"), "{notes}");
}

/// ISO 4309:2010, Seale rule: outer strands of Seale type with 19 wires or fewer stand two rows higher up.
#[test]
fn seale_ropes_are_read_two_rows_up() {
    assert_eq!(limit("construction=6x25F load_bearing_wires=114 lay=ordinary"), ["5", "10"]);
    assert_eq!(limit("construction=6x19S load_bearing_wires=114 lay=ordinary"), ["3", "6"]);
    assert_eq!(limit("construction=8x19S load_bearing_wires=152 lay=ordinary"), ["5", "10"]);
    assert_eq!(limit("construction=8x25F load_bearing_wires=152 lay=ordinary"), ["6", "13"]);
}

#[test]
fn a_diameter_without_core_or_construction_has_the_lowest_bands() {
    let sizes = "nominal_diameter_mm=20 reference_diameter_mm=20";
    let of = |more: &str| {
        let found = iso("launching fall", &format!("{sizes} {more}"), "diameter_mm=19");
        (found.of("wire diameter").limit_text(), found.notes())
    };
    assert_eq!(of("").0, "5");
    assert!(of("").1.contains("neither construction nor core is recorded"));
    assert_eq!(of("construction=6x36WS").0, "7.5");
    assert!(of("construction=6x36WS").1.contains("the core is not recorded"));
    assert_eq!((of("construction=6x36WS-IWRC").0, of("core=fibre").0), ("7.5".into(), "10".into()));
    let silent = iso("launching fall", "nominal_diameter_mm=20 core=steel", "diameter_mm=19");
    assert!(silent.notes().contains("nominal stands in, which understates the loss"));
}

/// Whatever the sum: a cause seen discards.
#[test]
fn one_cause_on_sight_discards() {
    for cause in ["broken_strand", "kink", "birdcage", "core_protrusion", "heat_damage"] {
        for regime in [Regime::Iso, Regime::Us] {
            let fall = under(regime, "launching fall", "core=steel", &format!("{cause}=yes"));
            assert_eq!((fall.verdict, fall.combined.shown().as_str()), (Verdict::Discard, "100"), "{cause}");
            let fall = under(regime, "launching fall", "core=steel", &format!("{cause}=no"));
            assert_eq!(fall.verdict, Verdict::Accept, "{cause}");
            assert!(fall.notes().contains("taken as absent, because nothing was said of it"));
            assert!(fall.notes().contains("not measured:"), "{}", fall.notes());
        }
    }
}

/// From 60 % watch, from 100 % discard; a print never says 60 or 100 for less.
#[test]
fn prints_do_not_belie_the_verdict() {
    for (rating, shown, written, verdict) in [
        (Ratio::new(5_999_999, 100_000), "59.9", "59.999", Verdict::Accept),
        (Ratio::whole(60), "60", "60", Verdict::Watch),
        (Ratio::new(9_999_999, 100_000), "99.9", "99.999", Verdict::Watch),
        (Ratio::whole(100), "100", "100", Verdict::Discard),
        (Ratio::new(600_400_001, 10_000_000), "60", "60.041", Verdict::Watch),
        (Ratio::new(580, 9), "64.4", "64.445", Verdict::Watch),
    ] {
        let percent = Percent(rating);
        assert_eq!((percent.shown().as_str(), percent.written().as_str()), (shown, written));
        assert_eq!(percent.verdict(), verdict);
    }
}

#[test]
fn sixty_percent_in_one_criterion_is_watched() {
    let verdict = |corrosion: &str| {
        iso("launching fall", "core=steel", &format!("corrosion_percent={corrosion}")).verdict
    };
    assert_eq!(verdict("59.9999"), Verdict::Accept);
    assert_eq!(verdict("60"), Verdict::Watch);
    assert_eq!(verdict("99.9999"), Verdict::Watch);
    assert_eq!(verdict("100"), Verdict::Discard);
}
