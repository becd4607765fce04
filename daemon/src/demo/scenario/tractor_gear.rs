//! Tractors, their winches and the pins in the line of pull; the relief tractors stand laid up at the central stores.

use jiff::civil::date;

use super::coast::Station;
use super::gear::{Fleet, Item};

pub fn add(fleet: &mut Fleet, station: &'static Station) {
    let number = u32::from(station.carriage_number);
    let tractor = station.tractor();
    let item = tractor_item(tractor.clone(), Some(station.code), "station", number);
    fleet.add(item);
    fleet.add_fitted(winch(station.winch(), Some(station.code), false), &tractor, "winch");
    let load_pin = Item::new(format!("LP-{number:02}"), "load pin", Some(station.code))
        .aged(date(2018, 4, 1), date(2022, 9, 1))
        .with(&[("range_kN", "200"), ("wll_t", "12")]);
    fleet.add_fitted(load_pin, &station.winch(), "load pin");
    let drawbar_pin = Item::new(format!("DP-{number:02}"), "drawbar pin", Some(station.code))
        .aged(date(2017, 4, 1), date(2022, 9, 1))
        .with(&[("pin_diameter_mm", "50"), ("wll_t", "12")]);
    fleet.add_fitted(drawbar_pin, &tractor, "drawbar pin");
}

fn tractor_item(tag: String, owner: Option<&'static str>, duty: &str, number: u32) -> Item {
    Item::new(tag, "tractor", owner).aged(date(2013, 3, 1), date(2018, 9, 1)).with(&[
        ("pattern", "ST-4"),
        ("duty", duty),
        ("mass_t", "14.5"),
        ("wade_depth_limit_m", "1.6"),
        ("engine_number", &format!("E4-{:04}", 1180 + 7 * number)),
        ("track_pitch_mm", "171"),
        ("track_pads", "78"),
    ])
}

fn winch(tag: String, owner: Option<&'static str>, heavy: bool) -> Item {
    let (swl, pull, wire, layers) = if heavy { ("8.2", "80", "24", "4") } else { ("6.1", "60", "22", "4") };
    Item::new(tag, "winch", owner).aged(date(2014, 3, 1), date(2019, 9, 1)).with(&[
        ("swl_t", swl),
        ("rated_pull_kN", pull),
        ("wire_diameter_mm", wire),
        ("brake", "band"),
        ("layers", layers),
        ("pressure_MPa", "17.5"),
    ])
}

/// stand in for a tractor that is off; R-03 is the heavy pattern and takes 24 mm wire.
pub fn add_relief(fleet: &mut Fleet) {
    fleet.add(tractor_item("R-02".to_owned(), None, "relief", 21));
    let mut heavy = tractor_item("R-03".to_owned(), None, "relief", 22);
    for (name, value) in &mut heavy.attributes {
        match *name {
            "pattern" => "ST-5".clone_into(value),
            "mass_t" => "18.2".clone_into(value),
            "wade_depth_limit_m" => "1.9".clone_into(value),
            _ => {}
        }
    }
    fleet.add(heavy);
    fleet.add_fitted(winch("WN-21".to_owned(), None, false), "R-02", "winch");
    fleet.add_fitted(winch("WN-22".to_owned(), None, true), "R-03", "winch");
}

/// Quarle's tractor is entered in full: engine, final drives and seals.
pub fn add_in_full(fleet: &mut Fleet, station: &'static Station) {
    let tractor = station.tractor();
    let owner = Some(station.code);
    let number = station.carriage_number;
    let engine = Item::new(format!("EN-{number:02}"), "engine", owner)
        .aged(date(2016, 3, 1), date(2018, 9, 1))
        .with(&[("rated_power_kW", "112")]);
    fleet.add_fitted(engine, &tractor, "engine");
    for (step, position) in ["port final drive", "starboard final drive"].into_iter().enumerate() {
        let drive = Item::new(format!("FD-{number:02}{:02}", step + 1), "final drive", owner)
            .aged(date(2016, 3, 1), date(2018, 9, 1))
            .with(&[("oil_quantity_L", "14")]);
        fleet.add_fitted(drive, &tractor, position);
    }
    let seals = [
        ("port door seal", "door"),
        ("starboard door seal", "door"),
        ("hatch seal", "hatch"),
        ("breather seal", "breather"),
    ];
    for (step, (position, use_word)) in seals.into_iter().enumerate() {
        let seal = Item::new(format!("SL-{number:02}{:02}", step + 1), "seal", owner)
            .dated(date(2024, 11, 1), date(2025, 4, 10))
            .of_part("SEAL-DOOR")
            .with(&[("use", use_word), ("material", "EPDM"), ("hardness", "60"), ("size_mm", "18")]);
        fleet.add_fitted(seal, &tractor, position);
    }
}
