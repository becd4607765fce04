//! The launching falls: who hung where, from when to when. Pairs come from one drum and carry one set mark.

use jiff::Timestamp;
use jiff::civil::{Date, date, time};

use super::carriage_gear::launches_before;
use super::coast::{Station, by_code};
use super::gear::{Fleet, Item};
use super::stores_gear::drum_certificate;
use super::usage::Log;

const PORT: &str = "port fall";
const STARBOARD: &str = "starboard fall";

struct Fall {
    tag: &'static str,
    set: &'static str,
    drum: &'static str,
    cut_at: &'static str,
    made: Date,
    entered: Date,
}

const fn fall(
    tag: &'static str,
    set: &'static str,
    drum: &'static str,
    cut_at: &'static str,
    made: Date,
    entered: Date,
) -> Fall {
    Fall { tag, set, drum, cut_at, made, entered }
}

/// A pair that hangs on one carriage: port tag, starboard tag, drum, made, fitted, and when it came off.
struct Pair {
    code: &'static str,
    port: &'static str,
    starboard: &'static str,
    drum: &'static str,
    made: Date,
    fitted: Date,
    off: Option<Date>,
}

const fn pair(
    code: &'static str,
    port: &'static str,
    starboard: &'static str,
    drum: &'static str,
    made: Date,
    fitted: Date,
    off: Option<Date>,
) -> Pair {
    Pair { code, port, starboard, drum, made, fitted, off }
}

#[rustfmt::skip]
const PAIRS: [Pair; 21] = [
    pair("TAN", "F-0391", "F-0392", "D-093", date(2021, 2, 9), date(2021, 5, 18), Some(date(2024, 3, 11))),
    pair("TAN", "F-0436", "F-0437", "D-112", date(2024, 8, 6), date(2025, 2, 4), None),
    pair("ULL", "F-0373", "F-0374", "D-090", date(2020, 11, 3), date(2021, 12, 7), Some(date(2024, 11, 12))),
    pair("ULL", "F-0429", "F-0430", "D-095", date(2021, 5, 10), date(2024, 11, 12), None),
    pair("PEL", "F-0403", "F-0404", "D-098", date(2023, 2, 7), date(2023, 8, 22), None),
    pair("PEL", "F-0458", "F-0459", "D-118", date(2025, 6, 17), date(2026, 1, 16), None),
    pair("ORR", "F-0383", "F-0384", "D-092", date(2021, 6, 22), date(2022, 1, 25), Some(date(2024, 10, 15))),
    pair("ORR", "F-0433", "F-0434", "D-110", date(2024, 4, 16), date(2024, 10, 15), None),
    pair("CAW", "F-0399", "F-0400", "D-096", date(2022, 5, 3), date(2022, 10, 18), Some(date(2025, 3, 11))),
    pair("CAW", "F-0439", "F-0440", "D-112", date(2024, 8, 6), date(2025, 3, 11), None),
    pair("NET", "F-0385", "F-0386", "D-094", date(2021, 9, 14), date(2022, 2, 15), Some(date(2024, 9, 10))),
    pair("NET", "F-0425", "F-0426", "D-106", date(2024, 3, 12), date(2024, 9, 10), None),
    pair("QUA", "F-0401", "F-0402", "D-096", date(2022, 5, 3), date(2023, 4, 18), None),
    pair("SEN", "F-0379", "F-0380", "D-091", date(2021, 1, 19), date(2022, 2, 22), Some(date(2024, 10, 21))),
    pair("DUN", "F-0389", "F-0390", "D-092", date(2021, 6, 22), date(2022, 3, 15), Some(date(2025, 1, 14))),
    pair("DUN", "F-0443", "F-0444", "D-110", date(2024, 4, 16), date(2025, 1, 14), None),
    pair("FAL", "F-0375", "F-0376", "D-089", date(2020, 10, 13), date(2021, 9, 7), Some(date(2024, 6, 11))),
    pair("FAL", "F-0421", "F-0422", "D-105", date(2023, 11, 21), date(2024, 6, 11), None),
    pair("BRA", "F-0369", "F-0370", "D-089", date(2020, 10, 13), date(2021, 7, 20), Some(date(2024, 4, 16))),
    pair("BRA", "F-0419", "F-0420", "D-105", date(2023, 11, 21), date(2024, 4, 16), None),
    pair("QNR", "F-0371", "F-0372", "D-089", date(2020, 10, 13), date(2021, 8, 10), Some(date(2024, 6, 1))),
];

pub fn add(fleet: &mut Fleet, log: &Log) {
    for pair in &PAIRS {
        add_pair(fleet, pair);
    }
    add_quenna(fleet, log);
    add_senloe(fleet);
    add_moved(fleet, log);
}

fn nine(code: &str, day: Date) -> Timestamp {
    by_code(code).at(day.to_datetime(time(9, 0, 0, 0)))
}

fn noon(code: &str, day: Date) -> Timestamp {
    by_code(code).at(day.to_datetime(time(12, 0, 0, 0)))
}

/// Old wires come off at nine; the new ones go on at noon.
fn add_pair(fleet: &mut Fleet, pair: &Pair) {
    let station = by_code(pair.code);
    for (tag, position, cut_at) in [(pair.port, PORT, "0.0"), (pair.starboard, STARBOARD, "35.6")] {
        let entry = fall(tag, pair.port, pair.drum, cut_at, pair.made, pair.fitted);
        fleet.add(item(&entry, station).used_before("launches", launches_before(station, pair.fitted)));
        let to = pair.off.map(|day| nine(pair.code, day));
        fleet.fit(tag, &station.carriage(), position, noon(pair.code, pair.fitted), to);
        if let Some(item) = fleet.item_mut(tag) {
            item.withdrawn = to;
        }
    }
}

fn sizes(station: &Station) -> &'static [(&'static str, &'static str)] {
    if station.large {
        &[
            ("nominal_diameter_mm", "16"),
            ("reference_diameter_mm", "16.45"),
            ("length_m", "34.0"),
            ("minimum_breaking_force_kN", "161.3"),
            ("wll_t", "3.2"),
            ("load-bearing_wires", "216"),
        ]
    } else {
        &[
            ("nominal_diameter_mm", "14"),
            ("reference_diameter_mm", "14.40"),
            ("length_m", "27.0"),
            ("minimum_breaking_force_kN", "123.5"),
            ("wll_t", "2.4"),
            ("load-bearing_wires", "216"),
        ]
    }
}

fn item(fall: &Fall, station: &'static Station) -> Item {
    let mut item = Item::new(fall.tag, "launching fall", Some(station.code))
        .dated(fall.made, fall.entered)
        .in_set(format!("P-{}", fall.set.trim_start_matches("F-")))
        .of_part(if station.large { "WR-16" } else { "WR-14" })
        .with(sizes(station))
        .with(&[
            ("construction", "6x36WS"),
            ("core", "steel"),
            ("lay", "ordinary"),
            ("rope_category", "09"),
            ("grade_MPa", "1770"),
            ("finish", "galvanised"),
            ("outer_termination", "thimble and ferrule"),
            ("inner_termination", "thimble and ferrule"),
            ("termination_factor", "0.9"),
            ("drum", fall.drum),
            ("cut_position_m", fall.cut_at),
        ]);
    item.certificate = Some(drum_certificate(fall.drum));
    item
}

/// Fitted 1 June 2024 with use of their own from an older place: 31 launches are left of 250.
fn add_quenna(fleet: &mut Fleet, log: &Log) {
    let station = by_code("QNR");
    let fitted = date(2024, 6, 1);
    let from = noon("QNR", fitted);
    let since = log.outings("QNR").iter().filter(|outing| outing.launch >= from).count();
    let before = 219 - u32::try_from(since).unwrap_or(0);
    for (tag, position, cut_at) in [("F-0427", PORT, "60.2"), ("F-0428", STARBOARD, "88.8")] {
        let entry = fall(tag, "F-0427", "D-100", cut_at, date(2022, 9, 6), fitted);
        fleet.add(item(&entry, station).used_before("launches", before));
        fleet.fit(tag, &station.carriage(), position, from, None);
    }
}

/// Senloe lost one of a pair to broken wires; the next piece to hand was of another make-up.
fn add_senloe(fleet: &mut Fleet) {
    let station = by_code("SEN");
    let fitted = date(2024, 10, 21);
    let changed = date(2026, 6, 8);
    for (tag, cut_at) in [("F-0397", "71.2"), ("F-0398", "106.8")] {
        let entry = fall(tag, "F-0397", "D-097", cut_at, date(2023, 3, 7), fitted);
        fleet.add(other_make(item(&entry, station)));
    }
    let mut port = item(&fall("F-0463", "F-0397", "D-118", "142.4", date(2025, 6, 17), changed), station);
    port.cut_from = Some("D-118");
    fleet.add(port);
    fleet.fit("F-0397", &station.carriage(), PORT, noon("SEN", fitted), Some(nine("SEN", changed)));
    fleet.fit("F-0398", &station.carriage(), STARBOARD, noon("SEN", fitted), None);
    fleet.fit("F-0463", &station.carriage(), PORT, noon("SEN", changed), None);
    withdraw(fleet, "F-0397", nine("SEN", changed));
}

fn other_make(mut item: Item) -> Item {
    for (name, value) in &mut item.attributes {
        match *name {
            "construction" => "6x19S".clone_into(value),
            "load-bearing_wires" => "114".clone_into(value),
            "rope_category" => "02".clone_into(value),
            _ => {}
        }
    }
    item
}

fn withdraw(fleet: &mut Fleet, tag: &str, at: Timestamp) {
    if let Some(item) = fleet.item_mut(tag) {
        item.withdrawn = Some(at);
    }
}

/// F-0417 and F-0416 began as Tannock's pair and came to Quarle by different ways; the paper at Quarle shows
/// only what was launched there.
fn add_moved(fleet: &mut Fleet, log: &Log) {
    let quarle = by_code("QUA");
    let (tannock, pellan) = (by_code("TAN").carriage(), by_code("PEL").carriage());
    let entered = date(2024, 3, 11);
    for (tag, cut_at) in [("F-0416", "35.6"), ("F-0417", "0.0")] {
        let entry = fall(tag, "F-0416", "D-101", cut_at, date(2024, 1, 16), entered);
        fleet.add(item(&entry, quarle));
    }
    let off_tannock = Some(nine("TAN", date(2025, 2, 3)));
    fleet.fit("F-0417", &tannock, STARBOARD, noon("TAN", entered), off_tannock);
    fleet.fit("F-0416", &tannock, PORT, noon("TAN", entered), off_tannock);
    fleet.fit("F-0417", &pellan, PORT, noon("PEL", date(2025, 2, 20)), Some(nine("PEL", date(2026, 1, 15))));
    let to_starboard = date(2026, 1, 19);
    fleet.fit("F-0417", &quarle.carriage(), STARBOARD, noon("QUA", to_starboard), None);
    let to_port = log.before_last("QUA", 160);
    fleet.fit("F-0416", &quarle.carriage(), PORT, to_port, None);
    end(fleet, "F-0403", nine("PEL", date(2025, 2, 20)));
    end(fleet, "F-0404", nine("PEL", date(2026, 1, 16)));
    add_quarle_before(fleet, log, to_port, nine("QUA", to_starboard));
}

/// What hung at Quarle between its old pair and the two that came from Tannock.
fn add_quarle_before(fleet: &mut Fleet, log: &Log, port_off: Timestamp, starboard_off: Timestamp) {
    let quarle = by_code("QUA");
    let changed = log.quiet_day(quarle, date(2024, 4, 16));
    for (tag, position, off, cut_at) in
        [("F-0411", PORT, port_off, "0.0"), ("F-0412", STARBOARD, starboard_off, "35.6")]
    {
        let entry = fall(tag, "F-0411", "D-099", cut_at, date(2023, 10, 3), changed);
        fleet.add(item(&entry, quarle));
        fleet.fit(tag, &quarle.carriage(), position, noon("QUA", changed), Some(off));
        withdraw(fleet, tag, off);
    }
    for tag in ["F-0401", "F-0402"] {
        end(fleet, tag, nine("QUA", changed));
    }
}

/// Takes a fall off for good.
fn end(fleet: &mut Fleet, tag: &str, at: Timestamp) {
    if let Some(fitting) =
        fleet.fittings.iter_mut().find(|fitting| fitting.item == tag && fitting.to.is_none())
    {
        fitting.to = Some(at);
    }
    withdraw(fleet, tag, at);
}
