//! Nethery's stoppers: two chains gauged side by side for five years, until one lost metal all at once.

use jiff::Timestamp;
use jiff::civil::{DateTime, date};

use super::coast::by_code;
use super::told::{EXAMINER, told};
use super::usage::Log;
use super::work::Work;

const CHAINS: [&str; 4] = ["C-0220", "C-0221", "C-0222", "C-0223"];
const FAILED: &str = "C-0221";
/// Worn by 61 % of what is allowed at the fourth reading: from then on gauged every fortnight.
const WORN: [&str; 2] = ["C-0221", "C-0222"];

/// Link diameter in hundredths of a millimetre at 0, 63, 121, 188 and 240 launches.
const READINGS: [[&str; 5]; 4] = [
    ["12.96", "12.74", "12.53", "12.27", "12.08"],
    ["12.95", "12.71", "12.49", "12.21", "11.66"],
    ["12.95", "12.71", "12.49", "12.21", "11.98"],
    ["12.94", "12.72", "12.52", "12.26", "12.05"],
];

/// The monthly gauging of these chains is on record as passed, without figures, but for these five.
pub fn is_nethery_chain(tag: &str) -> bool {
    CHAINS.contains(&tag)
}

fn at(local: DateTime) -> Timestamp {
    by_code("NET").at(local)
}

pub fn withdrawn_at() -> Timestamp {
    at(date(2026, 10, 6).at(15, 10, 0, 0))
}

/// The second reading lies where a steady wear of 73 launches puts the 63rd.
fn reading_times(log: &Log) -> [Timestamp; 5] {
    [
        at(date(2021, 5, 8).at(10, 0, 0, 0)),
        at(date(2023, 6, 3).at(10, 0, 0, 0)),
        log.after_first("NET", 48),
        log.after_first("NET", 115),
        at(date(2026, 10, 6).at(14, 5, 0, 0)),
    ]
}

pub fn works(log: &Log) -> Vec<Work> {
    let mechanic = by_code("NET").mechanic();
    let times = reading_times(log);
    let mut works = Vec::new();
    for (chain, readings) in CHAINS.iter().zip(READINGS) {
        for (at, diameter) in times.iter().zip(readings) {
            works.push(told(chain, "stopper-gauging", *at, &mechanic, &gauged(diameter), ""));
        }
        works.push(examined(chain));
    }
    for chain in WORN {
        works.extend(fortnights(times).map(|at| told(chain, "stopper-gauging", at, &mechanic, "", "")));
    }
    for work in works.iter_mut().filter(|work| work.item == FAILED && work.at >= times[4]) {
        work.outcome = "failed";
        work.note = if work.rule == "stopper-gauging" {
            "link 6: 11.60 and 11.72 at right angles, mean 11.66"
        } else {
            "link 6 below 11.70; not safe to use"
        };
    }
    works
}

/// Between the reading that made the interval a fortnight and the last.
fn fortnights(times: [Timestamp; 5]) -> impl Iterator<Item = Timestamp> {
    let step = move |number: i64| super::coast::minutes_after(times[3], number * 13 * 24 * 60);
    (1..).map(step).take_while(move |at| at.as_second() < times[4].as_second() - 86_400)
}

fn gauged(diameter: &str) -> String {
    let new = diameter.starts_with("12.9");
    let length =
        if new { "length over 11 links=429;stretch=0" } else { "length over 11 links=431.1;stretch=0.5" };
    format!("link diameter={diameter};{length}")
}

fn examined(chain: &str) -> Work {
    let minute = if chain == FAILED { 45 } else { 30 };
    let mut work = told(
        chain,
        "stopper-thorough-examination",
        at(date(2026, 10, 6).at(14, minute, 0, 0)),
        EXAMINER,
        "",
        "",
    );
    work.certificate = Some(if chain == FAILED { "TR-3311" } else { "TR-3310" }.to_owned());
    work
}
