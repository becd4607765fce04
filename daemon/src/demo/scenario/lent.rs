//! Skids that flanking stations lent each other: one loan is over and the skid still there, one lasts.

use jiff::civil::{Date, date, time};

use super::coast::by_code;
use super::gear::Fleet;
use super::sheet::Sheet;
use super::shore_gear::skid;

/// Owner, number of its skid, borrower, first and last day, and what else was agreed.
const LOANS: [(&str, u32, &str, Date, Date, &str); 2] = [
    ("FAL", 9, "DUN", date(2026, 9, 7), date(2026, 10, 3), "while a plate is made new"),
    ("QUA", 9, "SEN", date(2026, 9, 21), date(2026, 10, 31), "for the flats at low water"),
];

/// Each lay at its own station until the morning it was lent.
pub fn add(fleet: &mut Fleet) {
    for (owner, number, borrower, from, ..) in LOANS {
        let (owner, borrower) = (by_code(owner), by_code(borrower));
        let skid = skid(owner, number);
        let tag = skid.tag.clone();
        let first = skid.entered.unwrap_or(from);
        let at = |day: Date, hour| owner.at(day.to_datetime(time(hour, 0, 0, 0)));
        fleet.fit(&tag, &owner.station_set(), "skid", at(first, 9), Some(at(from, 8)));
        fleet.fit(&tag, &borrower.station_set(), "skid", at(from, 11), None);
        fleet.add(skid);
    }
}

pub fn loans() -> Sheet {
    let mut sheet = Sheet::new(&["key", "item", "station", "from", "until", "by", "note"]);
    for (owner, number, borrower, from, until, note) in LOANS {
        let (tag, borrower) = (skid(by_code(owner), number).tag, by_code(borrower).slug());
        sheet.row(vec![
            format!("{tag} {borrower} {from}"),
            tag,
            borrower,
            from.to_string(),
            until.to_string(),
            "engineer.region@mcbs.example".to_owned(),
            note.to_owned(),
        ]);
    }
    sheet
}
