//! The twice-moved wire: F-0417 and its pair were cropped and turned in the loft at each refitting.

use jiff::Timestamp;
use jiff::civil::{DateTime, date};

use super::coast::{home_zone, instant};
use super::told::{EXAMINER, LOFT, told};
use super::work::Work;

fn at(local: DateTime) -> Timestamp {
    instant(&home_zone(), local)
}

pub fn works() -> Vec<Work> {
    let mut works = vec![
        proof("F-0416", date(2024, 3, 5).at(10, 30, 0, 0)),
        proof("F-0417", date(2024, 3, 5).at(11, 30, 0, 0)),
    ];
    works.extend(in_loft("F-0416", date(2025, 2, 11).at(9, 30, 0, 0), "length left=33.4;total cropped=0.6"));
    works.extend(in_loft("F-0417", date(2025, 2, 11).at(13, 30, 0, 0), "length left=33.4;total cropped=0.6"));
    works.extend(in_loft("F-0417", date(2026, 1, 16).at(9, 30, 0, 0), "length left=32.8;total cropped=1.2"));
    works
}

fn proof(tag: &str, local: DateTime) -> Work {
    told(tag, "fall-proof-load", at(local), EXAMINER, "proof load=62.8;time held=3;slip at termination=0", "")
}

fn in_loft(tag: &str, local: DateTime, lengths: &str) -> Vec<Work> {
    let start = at(local);
    let later = |minutes| super::coast::minutes_after(start, minutes);
    let mut crop = told(tag, "fall-crop", start, LOFT, lengths, "in the loft between stations");
    crop.outcome = "done";
    let mut turned = told(tag, "fall-end-for-end", later(50), LOFT, "", "ends marked");
    turned.outcome = "done";
    let measurements = "proof load=62.8;time held=3;slip at termination=0";
    vec![crop, turned, told(tag, "fall-proof-load", later(120), EXAMINER, measurements, "")]
}
