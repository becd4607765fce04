//! What the central stores hold and have done: parts, movements, and a chain set whose examination lapsed on the shelf.

use jiff::Timestamp;
use jiff::civil::date;

use super::coast::{home_zone, instant};
use super::sheet::Sheet;
use super::stores_gear::LAPSED_SET;
use super::told::{EXAMINER, Hold, told};
use super::work::Work;

fn examined_at() -> Timestamp {
    instant(&home_zone(), date(2026, 2, 10).at(11, 0, 0, 0))
}

pub fn works() -> Vec<Work> {
    let received = instant(&home_zone(), date(2026, 7, 1).at(10, 0, 0, 0));
    let mut works =
        vec![told("W-0502", "winch-wire-thorough-examination", received, EXAMINER, "", "on receipt")];
    works.extend(
        LAPSED_SET
            .iter()
            .map(|tag| told(tag, "stopper-thorough-examination", examined_at(), EXAMINER, "", "")),
    );
    works
}

pub fn holds() -> Vec<Hold> {
    let from = super::coast::minutes_after(examined_at(), 1);
    LAPSED_SET.iter().map(|item| Hold { item, rules: &["stopper-thorough-examination"], from }).collect()
}

/// Part, description, kind, lead time, shelf life, unit, pack, items that a piece serves.
#[rustfmt::skip]
const PARTS: [[&str; 8]; 10] = [
    ["WW-22", "Winch wire 22 mm 6x36WS, 150 m, made up", "winch wire", "14 weeks", "84 months", "each", "1", ""],
    ["WW-24", "Winch wire 24 mm 6x36WS, 180 m, made up", "winch wire", "16 weeks", "84 months", "each", "1", ""],
    ["WR-16", "Wire 16 mm 6x36WS galvanised, for falls of LC-2", "launching fall", "10 weeks", "72 months", "m", "250", ""],
    ["WR-14", "Wire 14 mm 6x36WS galvanised, for falls of LC-1", "launching fall", "10 weeks", "72 months", "m", "200", ""],
    ["CH-13-SET", "Stopper chain set 13 mm grade 8, four lengths", "stopper chain", "8 weeks", "", "each", "1", "4"],
    ["SH-4.75", "Shackle bow 4.75 t, bolt, nut and cotter", "shackle", "3 weeks", "", "each", "10", ""],
    ["SB-8.5", "Shackle dee 8.5 t, screw pin", "shackle batch", "3 weeks", "", "each", "8", ""],
    ["STROP-3", "Round sling 3 t, 3 m", "strop", "2 weeks", "60 months", "each", "2", ""],
    ["SEAL-DOOR", "Seal section EPDM 18 mm, cut to length", "seal", "5 weeks", "60 months", "each", "1", ""],
    ["HL-30", "Heaving line 30 m with weight bag", "heaving line", "1 week", "", "each", "4", ""],
];

pub fn parts() -> Sheet {
    let mut sheet =
        Sheet::new(&["part", "description", "kind", "lead_time", "shelf_life", "unit", "pack", "serves"]);
    for part in PARTS {
        sheet.row(part.iter().map(|cell| (*cell).to_owned()).collect());
    }
    sheet
}

/// Part, place, local day, quantity, reason.
const MOVES: [(&str, &str, &str, &str, &str); 18] = [
    ("WW-22", "stores", "2026-06-30", "1", "receipt"),
    ("WR-16", "loft", "2025-06-24", "320", "receipt"),
    ("WR-16", "loft", "2026-01-14", "-71.2", "issue"),
    ("WR-16", "loft", "2026-06-05", "-35.6", "issue"),
    ("WR-16", "loft", "2026-06-05", "-167", "scrap"),
    ("WR-16", "loft", "2025-11-04", "250", "receipt"),
    ("WR-16", "loft", "2026-03-03", "-138", "issue"),
    ("WR-16", "loft", "2026-06-02", "250", "receipt"),
    ("CH-13-SET", "stores", "2023-12-05", "1", "receipt"),
    ("CH-13-SET", "stores", "2026-02-24", "1", "receipt"),
    ("SH-4.75", "stores", "2026-03-10", "40", "receipt"),
    ("SH-4.75", "stores", "2026-07-14", "-6", "issue"),
    ("SB-8.5", "stores", "2023-09-05", "48", "receipt"),
    ("STROP-3", "stores", "2026-01-20", "12", "receipt"),
    ("SEAL-DOOR", "stores", "2025-03-11", "12", "receipt"),
    ("SEAL-DOOR", "stores", "2025-04-08", "-4", "issue"),
    ("HL-30", "stores", "2026-04-07", "8", "receipt"),
    ("HL-30", "qnr", "2026-05-19", "2", "receipt"),
];

pub fn stock() -> Sheet {
    let mut sheet = Sheet::new(&["key", "part", "place", "at", "quantity", "reason"]);
    for (number, (part, place, at, quantity, reason)) in (1..).zip(MOVES) {
        let cells = [&format!("ST-{number:03}"), part, place, at, quantity, reason];
        sheet.row(cells.iter().map(|cell| (*cell).to_owned()).collect());
    }
    sheet
}
