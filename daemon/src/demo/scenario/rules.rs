//! The clauses of the shipped rules, in the short form that laying out past work needs. Rules that only ask for a
//! look before use, and life limits, which no work moves, are not here.

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    Crew,
    Mechanic,
    Competent,
    Clerk,
    Loft,
    TestHouse,
}

#[derive(Clone, Copy, Debug)]
pub enum Clause {
    /// Months since the last, and the days that it may be done early.
    Months(i64, i64),
    /// Every Monday.
    Mondays,
    /// By this month and day of each year, done in the weeks before.
    EachYear(i8, i8),
    /// Meter, limit, and how much before the limit it is planned.
    Limit(&'static str, f64, f64),
    /// A meter's row, `fitted`, or a work word; done by the same or the next morning.
    After(&'static str),
}

#[derive(Debug)]
pub struct Rule {
    pub kind: &'static str,
    pub id: &'static str,
    pub work: &'static str,
    pub by: By,
    pub stops: bool,
    pub clauses: &'static [Clause],
}

use By::{Clerk, Competent, Crew, Loft, Mechanic, TestHouse};
use Clause::{After, EachYear, Limit, Mondays, Months};

const EXAMINATION: &str = "thorough examination";
const SHOCK: &[Clause] = &[After("shock loads")];
const FITTED: &[Clause] = &[After("fitted")];
const MONTHLY: &[Clause] = &[Months(1, 7)];
const STORED: &[Clause] = &[Months(3, 15)];
const HALF_YEARLY: &[Clause] = &[Months(6, 30)];

const fn rule(
    kind: &'static str,
    id: &'static str,
    work: &'static str,
    by: By,
    stops: bool,
    clauses: &'static [Clause],
) -> Rule {
    Rule { kind, id, work, by, stops, clauses }
}

#[rustfmt::skip]
pub static RULES: &[Rule] = &[
    rule("launching fall", "fall-wash", "lubrication", Crew, false, &[After("launches")]),
    rule("launching fall", "fall-run-over", "check", Mechanic, false, &[Mondays]),
    rule("launching fall", "fall-measurement", "measurement", Mechanic, true, MONTHLY),
    rule("launching fall", "fall-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("launching fall", "fall-end-for-end", "end for end", Mechanic, false, &[Months(18, 21), Limit("launches", 125.0, 14.0)]),
    rule("launching fall", "fall-crop", "crop", Loft, false, &[Limit("launches", 125.0, 14.0)]),
    rule("launching fall", "fall-proof-load", "proof load test", TestHouse, true, &[After("crop")]),
    rule("launching fall", "fall-examination-after-fitting", EXAMINATION, Competent, true, FITTED),
    rule("launching fall", "fall-proof-certificate", "check", Mechanic, true, FITTED),
    rule("launching fall", "fall-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("winch wire", "winch-wire-respool", "lubrication", Crew, false, &[After("pulls")]),
    rule("winch wire", "winch-wire-measurement", "measurement", Mechanic, true, MONTHLY),
    rule("winch wire", "winch-wire-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("winch wire", "winch-wire-crop", "crop", Loft, false, &[Months(12, 21), Limit("pulls", 100.0, 12.0)]),
    rule("winch wire", "winch-wire-end-for-end", "end for end", Mechanic, false, &[Months(24, 28), Limit("pulls", 200.0, 18.0)]),
    rule("winch wire", "winch-wire-examination-after-fitting", EXAMINATION, Mechanic, true, FITTED),
    rule("winch wire", "winch-wire-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("stopper chain", "stopper-wash", "lubrication", Crew, false, &[After("launches")]),
    rule("stopper chain", "stopper-gauging", "measurement", Mechanic, true, MONTHLY),
    rule("stopper chain", "stopper-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("stopper chain", "stopper-magnetic-particle-test", "check", TestHouse, true, &[Months(24, 60)]),
    rule("stopper chain", "stopper-set-check", "check", Mechanic, true, FITTED),
    rule("stopper chain", "stopper-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("preventer chain", "preventer-gauging", "measurement", Mechanic, true, MONTHLY),
    rule("preventer chain", "preventer-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("preventer chain", "preventer-magnetic-particle-test", "check", TestHouse, true, &[Months(24, 60)]),
    rule("preventer chain", "preventer-tensioner", "check", Mechanic, true, &[Mondays]),
    rule("preventer chain", "preventer-examination-after-fitting", EXAMINATION, Mechanic, true, FITTED),
    rule("preventer chain", "preventer-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("hauling chain", "hauling-chain-gauging", "measurement", Mechanic, true, MONTHLY),
    rule("hauling chain", "hauling-chain-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("hauling chain", "hauling-chain-magnetic-particle-test", "check", TestHouse, true, &[Months(24, 60)]),
    rule("hauling chain", "hauling-chain-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("release hook", "hook-working", "lubrication", Mechanic, false, &[Mondays]),
    rule("release hook", "hook-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("release hook", "hook-overhaul", "overhaul", TestHouse, true, &[Months(60, 60), Limit("launches", 500.0, 30.0)]),
    rule("release hook", "hook-magnetic-particle-test", "check", TestHouse, true, &[Months(24, 60)]),
    rule("release hook", "hook-examination-after-fitting", EXAMINATION, Competent, true, FITTED),
    rule("release hook", "hook-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("sheave block", "block-weekly", "lubrication", Mechanic, false, &[Mondays]),
    rule("sheave block", "block-after-launch", "lubrication", Mechanic, false, &[After("launches")]),
    rule("sheave block", "block-gauging", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("sheave block", "block-overhaul", "overhaul", Mechanic, false, &[Months(24, 60), Limit("launches", 300.0, 20.0)]),
    rule("sheave block", "block-examination-after-fitting", EXAMINATION, Competent, true, FITTED),
    rule("sheave block", "block-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("shackle", "shackle-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("shackle", "shackle-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("shackle batch", "shackle-batch-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("shackle batch", "shackle-batch-audit", "check", Mechanic, false, &[Months(12, 30)]),
    rule("shackle batch", "shackle-batch-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("strop", "strop-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("strop", "strop-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("quick-release link", "quick-release-link-function", "check", Mechanic, true, &[Mondays]),
    rule("quick-release link", "quick-release-link-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("quick-release link", "quick-release-link-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("bow strop", "bow-strop-check", "check", Mechanic, true, &[Mondays]),
    rule("bow strop", "bow-strop-thorough-examination", EXAMINATION, Competent, true, HALF_YEARLY),
    rule("bow strop", "bow-strop-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("skid", "skid-weekly", "lubrication", Crew, false, &[Mondays]),
    rule("skid", "skid-plate", "measurement", Mechanic, false, &[Months(12, 30)]),
    rule("heaving line", "heaving-line-check", "check", Crew, false, &[Months(6, 15)]),
    rule("station set", "station-pre-winter-check", "check", Mechanic, false, &[EachYear(10, 31)]),
    rule("station set", "lashings-check", "check", Crew, false, MONTHLY),
    rule("instrument", "instrument-calibration", "calibration", TestHouse, false, &[Months(24, 60)]),
    rule("hauling eye", "hauling-eye-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("carriage", "carriage-wash", "lubrication", Crew, false, &[After("launches")]),
    rule("carriage", "carriage-running-gear", "check", Mechanic, false, &[Mondays]),
    rule("carriage", "carriage-frame", "check", Mechanic, true, MONTHLY),
    rule("carriage", "carriage-thorough-examination", EXAMINATION, Competent, true, &[Months(12, 45)]),
    rule("carriage", "carriage-weld-test", "check", Competent, true, &[Months(24, 45)]),
    rule("carriage", "carriage-proof-load", "proof load test", TestHouse, true, &[Months(60, 60)]),
    rule("carriage", "carriage-wheel-bearings", "overhaul", Mechanic, false, &[Months(6, 14), Limit("immersions", 40.0, 4.0)]),
    rule("carriage", "carriage-locks", "lubrication", Mechanic, true, &[Mondays]),
    rule("carriage", "carriage-side-supports", "check", Mechanic, true, MONTHLY),
    rule("carriage", "carriage-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("tractor", "tractor-after-immersion", "check", Crew, true, &[After("immersions")]),
    rule("tractor", "tractor-immersion-test", "check", Mechanic, true, &[Months(6, 21), Limit("immersions", 60.0, 8.0)]),
    rule("tractor", "tractor-tracks", "check", Mechanic, false, &[Mondays]),
    rule("tractor", "tractor-track-pads", "measurement", Mechanic, false, &[Limit("engine hours", 250.0, 20.0)]),
    rule("tractor", "tractor-bilge-alarm", "check", Mechanic, true, MONTHLY),
    rule("tractor", "tractor-vents", "check", Mechanic, true, MONTHLY),
    rule("tractor", "tractor-laid-up", "lubrication", Mechanic, false, MONTHLY),
    rule("seal", "seal-immersion-test", "check", Mechanic, true, FITTED),
    rule("engine", "engine-oil", "overhaul", Mechanic, false, &[Months(12, 14), Limit("engine hours", 250.0, 20.0)]),
    rule("final drive", "final-drive-oil-sample", "measurement", Mechanic, false, &[Months(6, 14), Limit("immersions", 50.0, 8.0)]),
    rule("final drive", "final-drive-oil-change", "overhaul", Mechanic, false, &[Months(24, 14), Limit("engine hours", 500.0, 30.0)]),
    rule("winch", "winch-thorough-examination", EXAMINATION, Competent, true, &[Months(12, 45)]),
    rule("winch", "winch-brake-test", "proof load test", TestHouse, true, &[Months(60, 60)]),
    rule("winch", "winch-examination-after-fitting", EXAMINATION, Competent, true, FITTED),
    rule("winch", "winch-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("winch", "winch-reproof", "proof load test", Competent, true, &[After("overloads")]),
    rule("load pin", "load-pin-calibration", "calibration", TestHouse, false, &[Months(24, 60)]),
    rule("load pin", "load-pin-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("drawbar pin", "drawbar-pin-examination-after-shock", EXAMINATION, Competent, true, SHOCK),
    rule("launching fall", "fall-in-store", "check", Clerk, false, STORED),
    rule("winch wire", "winch-wire-in-store", "check", Clerk, false, STORED),
    rule("stopper chain", "stopper-in-store", "check", Clerk, false, STORED),
    rule("preventer chain", "preventer-in-store", "check", Clerk, false, STORED),
    rule("hauling chain", "hauling-chain-in-store", "check", Clerk, false, STORED),
    rule("release hook", "hook-in-store", "check", Clerk, false, STORED),
    rule("sheave block", "block-in-store", "check", Clerk, false, STORED),
    rule("shackle", "shackle-in-store", "check", Clerk, false, STORED),
    rule("shackle batch", "shackle-batch-in-store", "check", Clerk, false, STORED),
    rule("strop", "strop-in-store", "check", Clerk, false, STORED),
    rule("quick-release link", "quick-release-link-in-store", "check", Clerk, false, STORED),
    rule("bow strop", "bow-strop-in-store", "check", Clerk, false, STORED),
];
