//! The launching carriage and what hangs on it, the falls apart.

use jiff::civil::{Date, date};

use super::coast::Station;
use super::gear::{Fleet, Item};

pub fn add(fleet: &mut Fleet, station: &'static Station) {
    let carriage = station.carriage();
    fleet.add(carriage_item(station));
    add_stoppers(fleet, station, &carriage);
    add_preventers(fleet, station, &carriage);
    for number in 1..=4 {
        fleet.add_fitted(hook(station, number), &carriage, "release hook");
    }
    add_blocks(fleet, station, &carriage);
    add_shackles(fleet, station, &carriage);
}

fn carriage_item(station: &'static Station) -> Item {
    let number =
        format!("{}-{:03}", if station.large { "F2" } else { "F1" }, 40 + u32::from(station.carriage_number));
    let sizes: [(&str, &str); 5] = if station.large {
        [
            ("pattern", "LC-2"),
            ("mass_t", "7.4"),
            ("boat_mass_limit_t", "16"),
            ("wheelbase_m", "6.2"),
            ("anchor_swl_t", "6.4"),
        ]
    } else {
        [
            ("pattern", "LC-1"),
            ("mass_t", "4.9"),
            ("boat_mass_limit_t", "9"),
            ("wheelbase_m", "5.1"),
            ("anchor_swl_t", "4.8"),
        ]
    };
    Item::new(station.carriage(), "carriage", Some(station.code))
        .aged(date(2012, 3, 1), date(2017, 9, 1))
        .with(&sizes)
        .with(&[("duty", "station"), ("frame_number", &number)])
}

pub fn chain_set(station: &Station) -> String {
    format!("S-{}", 10 + station.carriage_number)
}

/// The four stoppers of a carriage came new together; Nethery's were 73 launches old when the records began.
fn add_stoppers(fleet: &mut Fleet, station: &'static Station, carriage: &str) {
    let entered = if station.code == "NET" { date(2021, 5, 8) } else { stoppers_entered(station) };
    let opening = if station.code == "NET" { 73 } else { launches_before(station, entered) };
    for mark in 1..=4_u32 {
        let tag = format!("C-{:04}", 199 + 4 * u32::from(station.carriage_number) + mark);
        let item = Item::new(tag, "stopper chain", Some(station.code))
            .dated(date(entered.year(), 3, 1), entered)
            .in_set(chain_set(station))
            .of_part("CH-13-SET")
            .used_before("launches", opening)
            .with(&stopper_attributes())
            .with(&[("position_mark", &mark.to_string())]);
        fleet.add_fitted(item, carriage, "stopper");
    }
}

fn stoppers_entered(station: &Station) -> Date {
    let number = i16::from(station.carriage_number);
    let month = i8::try_from(number % 8 + 4).unwrap_or(4);
    date(2019 + number % 4, month, i8::try_from(number + 3).unwrap_or(3))
}

/// What the paper says the station launched before the records begin, at its mean rate since.
pub fn launches_before(station: &Station, entered: Date) -> u32 {
    let days = i64::from((super::coast::FIRST_DAY - entered).get_days()).max(0);
    let per_day = f64::from(station.totals.launches) / 1107.0;
    super::outings::rounded(per_day * f64::from(i32::try_from(days).unwrap_or(0)))
}

pub fn stopper_attributes() -> [(&'static str, &'static str); 7] {
    [
        ("nominal_diameter_mm", "13"),
        ("grade", "8"),
        ("pitch_mm", "39"),
        ("links", "41"),
        ("length_m", "1.6"),
        ("wll_t", "5.3"),
        ("minimum_breaking_force_kN", "212"),
    ]
}

fn add_preventers(fleet: &mut Fleet, station: &'static Station, carriage: &str) {
    for (step, position) in ["bow preventer", "stern preventer"].into_iter().enumerate() {
        let number = 299 + 2 * usize::from(station.carriage_number) + step;
        let item = Item::new(format!("C-{number:04}"), "preventer chain", Some(station.code))
            .aged(date(2020, 2, 1), date(2023, 8, 1))
            .with(&[
                ("nominal_diameter_mm", "10"),
                ("grade", "8"),
                ("pitch_mm", "30"),
                ("links", "61"),
                ("length_m", "1.83"),
                ("wll_t", "3.15"),
                ("minimum_breaking_force_kN", "126"),
                ("tensioner_thread", "M24 x 3"),
            ]);
        fleet.add_fitted(item, carriage, position);
    }
}

fn hook(station: &'static Station, number: u32) -> Item {
    let wll = if station.large { "4" } else { "2.5" };
    Item::new(format!("K-{:02}{number:02}", station.carriage_number), "release hook", Some(station.code))
        .aged(date(2019, 3, 1), date(2023, 7, 1))
        .with(&[("wll_t", wll), ("throat_mm", "34"), ("pin_diameter_mm", "22"), ("reset_indicator", "yes")])
}

/// Two lead blocks, and on the larger carriage two quarter blocks.
fn add_blocks(fleet: &mut Fleet, station: &'static Station, carriage: &str) {
    let places = ["port lead block", "starboard lead block", "port quarter block", "starboard quarter block"];
    let count = if station.large { 4 } else { 2 };
    for (position, number) in places.into_iter().zip(1..=count) {
        let item = Item::new(
            format!("SB-{:02}{number:02}", station.carriage_number),
            "sheave block",
            Some(station.code),
        )
        .aged(date(2018, 3, 1), date(2023, 6, 1))
        .with(block_attributes(station));
        fleet.add_fitted(item, carriage, position);
    }
}

fn block_attributes(station: &Station) -> &'static [(&'static str, &'static str)] {
    if station.large {
        &[
            ("swl_t", "3.2"),
            ("sheave_diameter_mm", "320"),
            ("groove_radius_mm", "8.6"),
            ("rope_diameter_mm", "16"),
            ("pin_diameter_mm", "40"),
            ("bearing", "bush"),
        ]
    } else {
        &[
            ("swl_t", "2.4"),
            ("sheave_diameter_mm", "280"),
            ("groove_radius_mm", "7.5"),
            ("rope_diameter_mm", "14"),
            ("pin_diameter_mm", "35"),
            ("bearing", "bush"),
        ]
    }
}

fn add_shackles(fleet: &mut Fleet, station: &'static Station, carriage: &str) {
    let places = ["port fall shackle", "starboard fall shackle", "preventer shackle", "preventer shackle"];
    for (number, position) in (1..).zip(places) {
        fleet.add_fitted(shackle(station, number), carriage, position);
    }
}

pub fn shackle(station: &'static Station, number: u32) -> Item {
    Item::new(format!("SH-{:02}{number:02}", station.carriage_number), "shackle", Some(station.code))
        .aged(date(2022, 3, 1), date(2023, 9, 10))
        .of_part("SH-4.75")
        .with(&[
            ("shape", "bow"),
            ("pin", "bolt, nut and cotter"),
            ("wll_t", "4.75"),
            ("body_diameter_mm", "19"),
            ("pin_diameter_mm", "22"),
            ("grade", "6"),
        ])
}
