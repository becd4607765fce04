//! Orrabel's winch wire: short pulls over a bar, and a wear line through four readings.

use jiff::civil::date;

use super::coast::{LAST_DAY, by_code, local};
use super::told::told;
use super::usage::{Log, between};
use super::work::Work;

const WIRE: &str = "W-0471";
const RULE: &str = "winch-wire-measurement";

/// Diameter at 0, 110, 215 and 330 pulls. The monthly measuring between them is on record without figures.
const READINGS: [(u32, &str); 4] = [(0, "22.60"), (110, "22.31"), (215, "22.02"), (330, "21.74")];

pub fn works(log: &Log) -> Vec<Work> {
    READINGS
        .iter()
        .map(|(pulls, diameter)| {
            let breaks = pulls / 110;
            let measurements = format!(
                "diameter={diameter};broken wires in 6d={breaks};broken wires in 30d={};corrosion=0",
                breaks * 2
            );
            told(WIRE, RULE, read_at(log, *pulls), &by_code("ORR").mechanic(), &measurements, "")
        })
        .collect()
}

fn read_at(log: &Log, pulls: u32) -> jiff::Timestamp {
    let station = by_code("ORR");
    let outings = log.outings("ORR");
    let mut sum = 0;
    if pulls == 0 {
        return station.at(date(2023, 9, 30).at(14, 0, 0, 0));
    }
    let reached = outings.iter().position(|outing| {
        sum += outing.pulls;
        sum >= pulls
    });
    match reached {
        Some(index) if index + 1 < outings.len() && pulls < station.totals.pulls => {
            between(station, outings, index)
        }
        _ => {
            let last = outings.iter().rev().find_map(|outing| outing.recovery);
            let day =
                last.map_or(LAST_DAY, |at| super::coast::days_after(local(&station.zone(), at).date(), 1));
            station.at(day.min(LAST_DAY).at(17, 30, 0, 0))
        }
    }
}
