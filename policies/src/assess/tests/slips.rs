//! Slips of the pen, wrong units and what is missing: each names its field and what would be right.

use super::*;

const FALL: &str =
    "nominal_diameter_mm=16 reference_diameter_mm=16.45 core=steel rope_category=09 lay=ordinary";

#[test]
fn a_reading_that_cannot_be_is_asked_again() {
    for (kind, attributes, measures, parts) in [
        (
            "stopper chain",
            "nominal_diameter_mm=13",
            "link_diameter_mm=1.17",
            ["1.17 is less than it can be", "was 11.7 meant?"],
        ),
        (
            "stopper chain",
            "nominal_diameter_mm=13",
            "link_diameter_mm=117",
            ["117 is more than it can be", "was 11.7 meant?"],
        ),
        (
            "stopper chain",
            "nominal_diameter_mm=13",
            "link_diameter_mm=0.49",
            ["from 7.8 to 14.3", "That is 12.45 mm"],
        ),
        (
            "launching fall",
            FALL,
            "diameter_mm=18",
            ["18 is more than it can be against 16.45 mm", "right would be from"],
        ),
        ("launching fall", FALL, "diameter_mm=1.585", ["diameter_mm: 1.585", "was 15.85 meant?"]),
        ("launching fall", FALL, "breaks_6d=5 breaks_30d=4", ["breaks_30d: 4 is too few", "5 or more"]),
        ("launching fall", FALL, "corrosion_percent=120", ["corrosion_percent", "from 0 to 100"]),
        (
            "launching fall",
            "nominal_diameter_mm=16 reference_diameter_mm=1.645 core=steel",
            "diameter_mm=15.9",
            ["reference_diameter_mm: 1.645", "was 16.45 meant?"],
        ),
        (
            "shackle",
            "pin_diameter_mm=22",
            "pin_diameter_mm=2.06",
            ["pin_diameter_mm: 2.06", "was 20.6 meant?"],
        ),
        (
            "skid",
            "plate_thickness_mm=10",
            "plate_thickness_mm=90",
            ["plate_thickness_mm: 90", "was 9 meant?"],
        ),
    ] {
        let said = refused(kind, attributes, measures);
        for part in parts {
            assert!(said.contains(part), "{measures}: {said}");
        }
    }
}

#[test]
fn what_is_unknown_unreadable_or_missing_is_named() {
    for (kind, attributes, measures, right) in [
        (
            "anchor",
            "",
            "wear=1",
            "no discard criteria are held for `anchor`; right would be one of launching fall",
        ),
        (
            "shackle",
            "weight=3",
            "pin_wear_percent=1",
            "weight: no attribute of a shackle is called so; right would be one of body_diameter_mm",
        ),
        (
            "shackle",
            "",
            "girth=16",
            "girth: no measure of a shackle is called so; right would be one of body_diameter_mm",
        ),
        (
            "shackle",
            "pin_wear_percent=1",
            "body_wear_percent=1",
            "pin_wear_percent: is a measure, not an attribute",
        ),
        ("shackle", "", "wll_t=2 pin_wear_percent=1", "wll_t: is an attribute, not a measure"),
        (
            "shackle",
            "",
            "pin_diameter_mm=20.6",
            "pin_diameter_mm: is missing; the reading is judged against it",
        ),
        ("shackle", "", "diameter_in=0.8", "diameter_in: no measure"),
        ("shackle", "", "pin_wear_percent=6,4", "`6,4` cannot be read; write a plain decimal"),
        ("shackle", "", "pin_wear_percent=6.12345", "at most 4 decimals"),
        ("shackle", "", "pin_wear_percent=6 pin_wear_percent=5", "pin_wear_percent: is given more than once"),
        (
            "shackle",
            "pin_diameter_mm=22",
            "pin_wear_percent=6 pin_diameter_mm=21",
            "says the same as pin_wear_percent",
        ),
        ("shackle", "", "crack=perhaps", "crack: `perhaps` cannot be read; right would be yes or no"),
    ] {
        let said = refused(kind, attributes, measures);
        assert!(said.contains(right), "{kind} {attributes} -- {measures}: {said}");
    }
}

#[test]
fn what_is_wrong_with_wire_strops_and_skids_is_named() {
    for (kind, attributes, measures, right) in [
        ("launching fall", FALL, "breaks_6d=4.5", "write a whole number"),
        ("launching fall", FALL, "breaks_6d=-1", "from 0 to 500"),
        (
            "launching fall",
            "rope_category=14",
            "breaks_6d=1",
            "rope_category: 14 is in no row of ISO 4309; right would be 01, 02",
        ),
        (
            "launching fall",
            "lay=left",
            "breaks_6d=1",
            "lay: `left` cannot be read; right would be ordinary or lang",
        ),
        ("launching fall", "rope_category=over core=steel", "breaks_6d=1", "load_bearing_wires: is missing"),
        ("launching fall", "core=steel", "diameter_mm=15", "nominal_diameter_mm: is missing"),
        ("strop", "", "label=readable", "material: is missing; right would be wire, webbing or round sling"),
        ("strop", "material=hemp", "label=readable", "material: `hemp` cannot be read"),
        ("strop", "material=webbing", "cut=no", "label: is missing; no label is a reject"),
        ("skid", "plate_thickness_mm=6", "plate_thickness_mm=6", "has nothing to wear"),
        (
            "stopper chain",
            "nominal_diameter_mm=13",
            "",
            "measures: is missing; say what was found, by one or more of link_diameter_mm",
        ),
    ] {
        let said = refused(kind, attributes, measures);
        assert!(said.contains(right), "{kind} {attributes} -- {measures}: {said}");
    }
}

#[test]
fn every_fault_is_told_at_once() {
    let said = refused("launching fall", "weight=3 lay=left", "girth=1 breaks_6d=x diameter_mm=15");
    for name in ["weight", "lay", "girth", "breaks_6d", "nominal_diameter_mm"] {
        assert!(said.lines().any(|line| line.starts_with(name)), "{name}: {said}");
    }
}

/// An item's whole row of the register can be handed over: columns that no criterion asks for are passed over.
#[test]
fn every_column_of_the_shipped_kinds_is_known() {
    let set = crate::load::load(&crate::shipped::files()).unwrap();
    let mut seen = 0;
    for name in kinds() {
        let Some(id) = set.kinds.find(name) else { continue };
        for attribute in &set.kinds.kind(id).attributes {
            let column = attribute.column();
            let materials =
                if column == "material" || !name.contains("strop") { "" } else { "material=webbing" };
            let found = assess(
                name,
                Regime::Iso,
                &[pairs(materials), vec![(&column, "webbing")]].concat(),
                &[("x", "1")],
            );
            let said = told(&found.unwrap_err());
            assert!(!said.contains(&format!("{column}: no attribute")), "{name}: {said}");
            seen += 1;
        }
    }
    assert!(seen > 60, "{seen}");
}

/// The rules' records come to the criteria by their criterion word, else by their name.
#[test]
fn recorded_readings_have_their_measure() {
    let set = crate::load::load(&crate::shipped::files()).unwrap();
    let mut judged = std::collections::BTreeSet::new();
    for rule in &set.rules {
        let kind = &set.kinds.kind(rule.applies_to.kind).name;
        for reading in &rule.records {
            let measure = measure_of(kind, &reading.name, reading.criterion.as_deref());
            assert!(measure.is_some() || reading.criterion.is_none(), "{kind}: {}", reading.name);
            judged.extend(measure);
        }
    }
    for measure in [
        "diameter_mm",
        "breaks_6d",
        "breaks_30d",
        "corrosion_percent",
        "link_diameter_mm",
        "length_over_11_links_mm",
        "stretch_percent",
        "throat_growth_percent",
        "pin_wear_percent",
        "body_wear_percent",
        "groove_over_rope_percent",
        "side_play_mm",
        "plate_thickness_mm",
    ] {
        assert!(judged.contains(measure), "{measure}: {judged:?}");
    }
    assert_eq!(measure_of("launching fall", "length left", None), None);
    assert_eq!(measure_of("carriage", "play", None), None);
}
