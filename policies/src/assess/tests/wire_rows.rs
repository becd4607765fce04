//! Every row of ISO 4309, on both sides of its limit.

use super::copies::{BREAKS, CONSTRUCTIONS, DECREASE, Row, WIRES, decimal, fine, rows};
use super::*;

fn attributes(row: &Row) -> String {
    let lay = if row["lay"] == "any" { "lang" } else { row["lay"] };
    let construction = if row["rope_group"] == "rotation-resistant" { "35x7" } else { "6x36WS" };
    let spooling = if row["drum_spooling"] == "multi" { "multi-layer" } else { "single_layer" };
    format!("rope_category={} lay={lay} construction={construction} spooling={spooling}", row["rcn"])
}

fn counted(row: &Row, more: &str, count: i64) -> Assessment {
    let measures = format!("breaks_{}d={count}", row["length_in_diameters"]);
    iso("winch wire", &format!("{} {more}", attributes(row)), &measures)
}

/// ISO 4309:2010 Tables 3 and 4: reaching the number is discard, one wire fewer is not. Where two reprints
/// differ, the lower is taken, and said so.
#[test]
fn each_number_of_broken_wires_on_both_sides() {
    let all = rows(BREAKS);
    for row in all.iter().filter(|row| !row["discard_at_or_above"].contains('n')) {
        let [printed, reprinted]: [i64; 2] =
            ["discard_at_or_above", "second_source_value"].map(|column| row[column].parse().unwrap());
        let limit = printed.min(reprinted);
        let name = format!("broken wires in {}d", row["length_in_diameters"]);
        let at = counted(row, "", limit);
        assert_eq!((at.verdict, at.of(&name).rating.shown().as_str()), (Verdict::Discard, "100"), "{row:?}");
        assert_ne!(counted(row, "", limit - 1).verdict, Verdict::Discard, "{row:?}");
        assert_eq!(at.notes().contains("reprints give"), printed != reprinted, "{row:?}");
        let table = if row["rope_group"] == "rotation-resistant" { "4" } else { "3" };
        assert_eq!(at.of(&name).source, format!("ISO 4309:2010 Table {table}"));
        assert_eq!(at.of(&name).status.to_string(), row["status"]);
    }
    assert_eq!(all.len(), 140);
}

/// The same: above 300 load-bearing wires the limit is a share of them, in whole wires.
#[test]
fn each_share_of_the_wires_on_both_sides() {
    for row in rows(BREAKS).iter().filter(|row| row["discard_at_or_above"].contains('n')) {
        let share = fine(row["discard_at_or_above"].strip_suffix("*n").unwrap());
        for wires in [301, 325, 400] {
            let limit = wires * share / 100_000;
            let more = format!("load_bearing_wires={wires}");
            assert_eq!(counted(row, &more, limit).verdict, Verdict::Discard, "{row:?}");
            assert_ne!(counted(row, &more, limit - 1).verdict, Verdict::Discard, "{row:?}");
        }
    }
}

/// The same, class note: a class M5 to M8 on record doubles the single-layer numbers of Table 3, and no other.
#[test]
fn a_heavy_duty_class_doubles_where_the_table_lets_it() {
    for row in rows(BREAKS).iter().filter(|row| !row["discard_at_or_above"].contains('n')) {
        let limit: i64 = row["discard_at_or_above"].parse().unwrap();
        let lower = limit.min(row["second_source_value"].parse().unwrap());
        let factor = if row["class_note"].contains("may double") { 2 } else { 1 };
        assert_eq!(counted(row, "duty_class=M5", lower * factor).verdict, Verdict::Discard, "{row:?}");
        assert_ne!(counted(row, "duty_class=M8", lower * factor - 1).verdict, Verdict::Discard, "{row:?}");
        assert_eq!(counted(row, "duty_class=M4", lower).verdict, Verdict::Discard, "{row:?}");
    }
}

/// The same: by load-bearing wires alone, both ends of each range stand in their row.
#[test]
fn each_range_of_load_bearing_wires_has_its_row() {
    for row in
        rows(BREAKS).iter().filter(|row| row["rope_group"].starts_with("single") && row["rcn"] != "over")
    {
        let lay = row["lay"].replace("any", "lang");
        let spooling = if row["drum_spooling"] == "multi" { "multi-layer" } else { "single" };
        for wires in [row["n_min"].parse::<i64>().unwrap().max(1), row["n_max"].parse().unwrap()] {
            let attributes = format!("core=steel lay={lay} spooling={spooling} load_bearing_wires={wires}");
            let measures = format!("breaks_{}d=0", row["length_in_diameters"]);
            let found = iso("winch wire", &attributes, &measures);
            let declared = counted(row, "", 0);
            assert_eq!(found.criteria[0].limit, declared.criteria[0].limit, "{attributes}");
            assert!(found.notes().contains(&format!("judged by {} ", row["rcn"])), "{}", found.notes());
        }
    }
}

/// ISO 4309:2010 Table 5 (from memory): each band begins at its edge. Nominal 20, so that 0.01 mm is 0.05 %.
#[test]
fn each_band_of_decrease_on_both_sides() {
    for row in rows(DECREASE) {
        let rope = match row["rope_type"] {
            "single-layer-fibre-core" => "core=fibre construction=6x36WS",
            "rotation-resistant" => "construction=35x7",
            _ => "core=steel construction=6x36WS",
        };
        let rated = |reading: i64| {
            let attributes = format!("nominal_diameter_mm=20 reference_diameter_mm=20.6 {rope}");
            let found = iso("launching fall", &attributes, &format!("diameter_mm={}", decimal(reading)));
            found.of("wire diameter").rating.shown()
        };
        let edge = 2_060_000 - fine(row["decrease_pct_from_inclusive"]) / 5;
        assert_eq!(rated(edge), row["rating_pct"], "{row:?}");
        if row["rating_pct"] != "0" {
            assert_ne!(rated(edge + 10), row["rating_pct"], "{row:?}");
        }
    }
}

/// EN 12385-4 sizes, each core, against ISO 4309:2010 Table 5 (from memory): 7.5 % of nominal for a steel
/// core, 10 % for fibre, from the least and the greatest size of a new rope.
#[test]
fn each_size_of_wire_on_both_sides_of_discard() {
    for row in rows(WIRES) {
        let (core, percent) = if row["core"] == "FC" { ("fibre", 100) } else { ("steel", 75) };
        for new in [row["new_rope_min_mm"], row["new_rope_max_mm"]] {
            let attributes =
                format!("nominal_diameter_mm={} reference_diameter_mm={new} core={core}", row["d_mm"]);
            let edge = fine(new) - fine(row["d_mm"]) * percent / 1000;
            let verdict = |reading| {
                iso("launching fall", &attributes, &format!("diameter_mm={}", decimal(reading))).verdict
            };
            assert_eq!(verdict(edge), Verdict::Discard, "{row:?}");
            assert_eq!(verdict(edge + 100), Verdict::Watch, "{row:?}");
        }
    }
}

/// ISO 4309:2010: by construction and wires together no rope is allowed more than by its own category.
#[test]
fn each_construction_is_judged_no_milder_than_its_category() {
    for row in rows(CONSTRUCTIONS) {
        let limit = |attributes: &str| {
            let found =
                iso("launching fall", &format!("lay=ordinary {attributes}"), "breaks_6d=0 breaks_30d=0");
            ["broken wires in 6d", "broken wires in 30d"]
                .map(|name| found.of(name).limit_text().parse::<i64>().unwrap())
        };
        let (name, wires) = (row["construction"], row["n_load_bearing_outer"]);
        let declared = limit(&format!("rope_category={}", row["rcn"]));
        for silent in
            [format!("construction={name}"), format!("construction={name} load_bearing_wires={wires}")]
        {
            let [short, long] = limit(&silent);
            assert!(short <= declared[0] && long <= declared[1], "{silent}: {short}, {long}");
        }
    }
}
