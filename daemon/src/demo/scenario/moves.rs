//! Gear that was taken off for the test house and put back where it was.

use jiff::civil::{Date, date, time};

use super::coast::by_code;
use super::gear::Fleet;
use super::usage::Log;

const OFF_AND_ON: [(&str, Date, &[&str]); 5] = [
    ("QUA", date(2025, 11, 10), &["K-0701", "K-0702", "K-0703", "K-0704"]),
    ("CAW", date(2025, 2, 17), &["SB-0602"]),
    ("BRA", date(2024, 11, 11), &["C-0321", "C-0322"]),
    ("SEN", date(2025, 1, 20), &["LP-08"]),
    ("TAN", date(2024, 11, 18), &["LP-01"]),
];

/// On a day without a launch, off at nine and on again at four.
pub fn add(fleet: &mut Fleet, log: &Log) {
    for (code, from, tags) in OFF_AND_ON {
        let station = by_code(code);
        let day = log.quiet_day(station, from);
        let at = |hour| station.at(day.to_datetime(time(hour, 0, 0, 0)));
        for tag in tags {
            fleet.refit(tag, at(9), at(16));
        }
    }
}
