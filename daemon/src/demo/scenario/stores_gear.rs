//! What lies at the central stores: drums, a spare chain set with a current examination, another whose examination
//! has lapsed, and shackle batches. Two stations hold heaving lines of unknown age.

use jiff::civil::{Date, date};

use super::carriage_gear::stopper_attributes;
use super::coast::by_code;
use super::gear::{Fleet, Item};
use super::shore_gear::batch;

pub const SPARE_SET: [&str; 4] = ["C-0460", "C-0461", "C-0462", "C-0463"];
pub const LAPSED_SET: [&str; 4] = ["C-0180", "C-0181", "C-0182", "C-0183"];

pub fn add(fleet: &mut Fleet) {
    for (tag, bought, left, made) in [
        ("D-118", "320", "46.2", date(2025, 4, 8)),
        ("D-121", "250", "112.0", date(2025, 10, 14)),
        ("D-124", "250", "250.0", date(2026, 5, 12)),
    ] {
        fleet.add(drum(tag, bought, left, made));
    }
    for (number, tag) in (1..).zip(SPARE_SET) {
        fleet.add(chain(tag, "S-07", number, date(2026, 2, 10)));
    }
    for (number, tag) in (1..).zip(LAPSED_SET) {
        fleet.add(chain(tag, "S-04", number, date(2023, 11, 7)));
    }
    fleet.add(batch("B-41".to_owned(), None, "24"));
    fleet.add(batch("B-42".to_owned(), None, "24"));
    for (code, numbers) in [("DUN", 1..=2), ("FAL", 3..=4)] {
        for number in numbers {
            add_line(fleet, code, number);
        }
    }
}

fn drum(tag: &str, bought: &str, left: &str, made: Date) -> Item {
    let mut item = Item::new(tag, "drum", None).of_part("WR-16").with(&[
        ("nominal_diameter_mm", "16"),
        ("construction", "6x36WS"),
        ("core", "steel"),
        ("rope_category", "09"),
        ("grade_MPa", "1770"),
        ("finish", "galvanised"),
        ("length_bought_m", bought),
        ("length_left_m", left),
        ("minimum_breaking_force_kN", "161.3"),
    ]);
    item.made = Some(made);
    item.certificate = Some(drum_certificate(tag));
    item
}

/// The maker's certificate that came with a drum, and goes with every wire cut from it.
pub fn drum_certificate(drum: &str) -> String {
    let number: u32 = drum.trim_start_matches("D-").parse().unwrap_or(0);
    format!("DC-{}", if number == 121 { 7_741 } else { 7_600 + number })
}

fn chain(tag: &str, set: &str, mark: u32, made: Date) -> Item {
    let mut item = Item::new(tag, "stopper chain", None)
        .in_set(set)
        .of_part("CH-13-SET")
        .with(&stopper_attributes())
        .with(&[("position_mark", &mark.to_string())]);
    item.made = Some(made);
    item
}

/// No date at all is on record for these.
fn add_line(fleet: &mut Fleet, code: &'static str, number: u32) {
    let station = by_code(code);
    let tag = format!("HL-{number:02}");
    let line = Item::new(tag.clone(), "heaving line", Some(code)).with(&[
        ("material", "polypropylene"),
        ("diameter_mm", "9"),
        ("length_m", "30"),
        ("weight_bag", "sand, 0.5 kg"),
    ]);
    let from = station.at(date(2023, 10, 1).at(9, 0, 0, 0));
    fleet.fit(&tag, &station.station_set(), "heaving line", from, None);
    fleet.add(line);
}
