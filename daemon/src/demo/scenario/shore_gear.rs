//! What a station keeps loose, under its station set, and the boat's eye that takes the haul.

use jiff::civil::date;

use super::carriage_gear::shackle;
use super::coast::Station;
use super::gear::{Fleet, Item};

pub fn add(fleet: &mut Fleet, station: &'static Station) {
    let set = station.station_set();
    let number = u32::from(station.carriage_number);
    fleet.add(
        Item::new(set.clone(), "station set", Some(station.code)).dated(date(2015, 4, 1), date(2015, 4, 1)),
    );
    fleet.add_fitted(hauling_chain(station, number), &set, "hauling chain");
    fleet.add_fitted(batch(format!("B-{}", 20 + number), Some(station.code), "8"), &set, "shackle batch");
    // Bravell hauls on its batch alone.
    if station.code != "BRA" {
        for step in 1..=2 {
            fleet.add_fitted(shackle(station, 10 + step), &set, "hauling shackle");
        }
    }
    for step in 1..=8 {
        fleet.add_fitted(skid(station, step), &set, "skid");
    }
    add_boat(fleet, station);
}

fn hauling_chain(station: &'static Station, number: u32) -> Item {
    Item::new(format!("H-{number:02}"), "hauling chain", Some(station.code))
        .aged(date(2020, 2, 1), date(2023, 8, 1))
        .with(&[
            ("nominal_diameter_mm", "16"),
            ("grade", "8"),
            ("pitch_mm", "48"),
            ("links", "125"),
            ("length_m", "6"),
            ("wll_t", "8"),
            ("minimum_breaking_force_kN", "322"),
        ])
}

pub fn batch(tag: String, owner: Option<&'static str>, quantity: &str) -> Item {
    let code = format!("Q{}", tag.trim_start_matches("B-"));
    let mut item = Item::new(tag, "shackle batch", owner).aged(date(2022, 3, 1), date(2023, 8, 20)).with(&[
        ("shape", "dee"),
        ("pin", "screw pin"),
        ("wll_t", "8.5"),
        ("body_diameter_mm", "25"),
        ("pin_diameter_mm", "28"),
        ("grade", "6"),
        ("batch_code", &code),
    ]);
    item.quantity = quantity.parse().ok();
    item
}

pub fn skid(station: &'static Station, step: u32) -> Item {
    let pattern = ["flat", "grooved", "raised"][usize::try_from(step % 3).unwrap_or(0)];
    Item::new(format!("SK-{:02}{step:02}", station.carriage_number), "skid", Some(station.code))
        .aged(date(2016, 3, 1), date(2023, 6, 1))
        .with(&[("pattern", pattern), ("length_m", "2.4"), ("plate_thickness_mm", "10"), ("mass_kg", "46")])
}

fn add_boat(fleet: &mut Fleet, station: &'static Station) {
    let sizes: [(&str, &str); 5] = if station.large {
        [
            ("pattern", "KB-11"),
            ("launch_mass_t", "15.2"),
            ("draught_m", "1.1"),
            ("speed_kn", "18"),
            ("launch_time_min", "12"),
        ]
    } else {
        [
            ("pattern", "KB-9"),
            ("launch_mass_t", "8.4"),
            ("draught_m", "0.8"),
            ("speed_kn", "24"),
            ("launch_time_min", "12"),
        ]
    };
    let boat = Item::new(station.boat(), "boat", Some(station.code))
        .aged(date(2010, 3, 1), date(2019, 9, 1))
        .with(&sizes);
    fleet.add(boat);
    let eye = Item::new(format!("HE-{:02}", station.carriage_number), "hauling eye", Some(station.code))
        .aged(date(2010, 3, 1), date(2019, 9, 1))
        .with(&[("wll_t", "12")]);
    fleet.add_fitted(eye, &station.boat(), "hauling eye");
}

/// Quarle's loose gear is entered in full: strops, bow strop, quick-release link and a calliper.
pub fn add_in_full(fleet: &mut Fleet, station: &'static Station) {
    let set = station.station_set();
    let owner = Some(station.code);
    let number = station.carriage_number;
    for step in 1..=2 {
        let strop = Item::new(format!("ST-{number:02}{step:02}"), "strop", owner)
            .dated(date(2024, 9, 2), date(2025, 3, 18))
            .of_part("STROP-3")
            .with(&[("material", "round sling"), ("length_m", "3"), ("wll_t", "3"), ("thickness_mm", "9")]);
        fleet.add_fitted(strop, &set, "strop");
    }
    let bow = Item::new(format!("BS-{number:02}"), "bow strop", owner)
        .aged(date(2020, 3, 1), date(2023, 6, 1))
        .with(&[("material", "wire"), ("length_m", "2.2"), ("wll_t", "4")]);
    fleet.add_fitted(bow, &set, "bow strop");
    let link = Item::new(format!("QL-{number:02}"), "quick-release link", owner)
        .aged(date(2020, 3, 1), date(2023, 6, 1))
        .with(&[("wll_t", "4")]);
    fleet.add_fitted(link, &set, "quick-release link");
    let calliper = Item::new(format!("IN-{number:02}"), "instrument", owner)
        .aged(date(2021, 3, 1), date(2022, 6, 1))
        .with(&[("type", "calliper"), ("range", "0-150 mm")]);
    fleet.add_fitted(calliper, &set, "instrument");
}
