//! What was measured: new gear wears evenly with use, and every reading lies well inside its limit.

use jiff::Timestamp;

use super::chance::Chance;
use super::exposure::Exposure;
use super::gear::Item;

/// `name=value;…` with the names and units that the rule declares; empty where it asks for nothing.
pub fn values(item: &Item, rule: &str, at: Timestamp, index: usize, exposure: &Exposure) -> String {
    let mut chance = Chance::of(&format!("{} {rule} {}", item.tag, at.as_second()));
    match rule {
        "fall-measurement" => wire(item, 0.0025, used(item, at, exposure, "launches"), &mut chance),
        "winch-wire-measurement" if item.tag != "W-0471" => {
            wire(item, 0.0021, used(item, at, exposure, "pulls"), &mut chance)
        }
        "stopper-gauging" if !super::nethery::is_nethery_chain(&item.tag) => {
            link(item, 0.0011, used(item, at, exposure, "launches"), &mut chance)
        }
        "preventer-gauging" => link(item, 0.0006, used(item, at, exposure, "launches"), &mut chance),
        "hauling-chain-gauging" => link(item, 0.0012, used(item, at, exposure, "recoveries"), &mut chance),
        "fall-crop" => cropped(item, 0.6, index),
        "winch-wire-crop" => cropped(item, 3.0, index),
        _ => plain(item, rule, index, &mut chance),
    }
}

fn used(item: &Item, at: Timestamp, exposure: &Exposure, meter: &str) -> f64 {
    let before = item.opening.filter(|(own, _)| *own == meter).map_or(0.0, |(_, count)| f64::from(count));
    before
        + exposure
            .rows(&item.tag, meter)
            .iter()
            .filter(|(row, _)| *row <= at)
            .map(|(_, count)| count)
            .sum::<f64>()
}

fn number(item: &Item, attribute: &str) -> f64 {
    item.attribute(attribute).and_then(|value| value.parse().ok()).unwrap_or(0.0)
}

fn wire(item: &Item, wear: f64, used: f64, chance: &mut Chance) -> String {
    let diameter = number(item, "reference_diameter_mm") - wear * used + (chance.share() - 0.5) * 0.02;
    let near = (used / 110.0).floor();
    let far = (used / 75.0).floor();
    format!("diameter={diameter:.2};broken wires in 6d={near};broken wires in 30d={far};corrosion=0")
}

fn link(item: &Item, wear: f64, used: f64, chance: &mut Chance) -> String {
    let nominal = number(item, "nominal_diameter_mm");
    let diameter = nominal - 0.04 - wear * used + (chance.share() - 0.5) * 0.03;
    let stretch = used * 0.002;
    let length = number(item, "pitch_mm") * 11.0 * (1.0 + stretch / 100.0);
    format!("link diameter={diameter:.2};length over 11 links={length:.1};stretch={stretch:.1}")
}

fn cropped(item: &Item, each: f64, index: usize) -> String {
    let total = each * f64::from(u32::try_from(index + 1).unwrap_or(0));
    let left = number(item, "length_m") - total;
    format!("length left={left:.1};total cropped={total:.1}")
}

/// Healthy gear reads the same from year to year, but for a gauge's smallest step now and then. In tenths, or whatever
/// the last digit is.
fn steady(item: &Item, name: &str, (low, high): (i64, i64), index: usize) -> i64 {
    let own = Chance::of(&format!("{} {name}", item.tag)).between(low + 1, high);
    own - i64::from(index % 3 == 1)
}

fn plain(item: &Item, rule: &str, index: usize, chance: &mut Chance) -> String {
    let tenths = |name: &str, low: i64, high: i64| {
        let value = steady(item, name, (low, high), index);
        format!("{name}={}.{}", value / 10, value % 10)
    };
    match rule {
        "fall-proof-load" => format!("proof load={};time held=3;slip at termination=0", fall_proof(item)),
        "fall-proof-certificate" => format!("certified proof load={}", fall_proof(item)),
        "final-drive-resample" => "water in oil=0.04".to_owned(),
        "stopper-set-check" => "length=1.6;length difference in the set=0.2".to_owned(),
        "hook-thorough-examination" => {
            format!("{};{}", tenths("throat growth", 5, 45), tenths("pin wear", 4, 30))
        }
        "hook-overhaul" => format!("test load={}", if number(item, "wll_t") > 3.0 { "43.1" } else { "27" }),
        "block-gauging" => {
            format!("{};{}", tenths("groove over rope", 52, 84), tenths("side play", 2, 6))
        }
        "block-overhaul" => tenths("pin wear", 4, 28),
        "shackle-thorough-examination" | "shackle-batch-thorough-examination" => {
            format!("{};{}", tenths("body wear", 5, 42), tenths("pin wear", 4, 34))
        }
        "shackle-batch-audit" => format!("quantity={};strays=0", item.quantity.unwrap_or(0)),
        "skid-plate" => tenths("plate thickness", 74, 96),
        "lashings-check" => format!("lashings={}", chance.between(22, 40)),
        "instrument-calibration" | "load-pin-calibration" => tenths("error", 1, 9),
        _ => of_machines(item, rule, index, chance),
    }
}

fn fall_proof(item: &Item) -> &'static str {
    if number(item, "wll_t") > 3.0 { "62.8" } else { "47.1" }
}

fn of_machines(item: &Item, rule: &str, index: usize, chance: &mut Chance) -> String {
    let steady = |name: &str, low: i64, high: i64| steady(item, name, (low, high), index);
    match rule {
        "carriage-wash" => "points greased=24".to_owned(),
        "carriage-running-gear" => format!("tyre pressure={};bolt torque=320", chance.between(410, 440)),
        "carriage-proof-load" => {
            let load = if number(item, "anchor_swl_t") > 5.0 { "78.5" } else { "58.9" };
            format!("proof load={load};permanent set=0")
        }
        "carriage-wheel-bearings" => format!("play=0.0{}", steady("play", 4, 9)),
        "carriage-locks" => format!("play=1.{}", steady("play", 0, 8)),
        "tractor-after-immersion" => format!("bilge water drained={}", chance.between(0, 4)),
        "tractor-immersion-test" | "seal-immersion-test" => {
            format!("water taken in=0.{}", steady("water", 0, 3))
        }
        "tractor-tracks" => format!("sag={}", steady("sag", 34, 46)),
        "tractor-track-pads" => format!("pad thickness={}", steady("pad", 32, 41)),
        "final-drive-oil-sample" => format!("water in oil=0.0{}", steady("oil", 2, 9)),
        "winch-brake-test" => {
            let pull = number(item, "rated_pull_kN");
            format!("static load={};dynamic load={};slip=0", pull * 1.5, pull * 1.1)
        }
        _ => String::new(),
    }
}
