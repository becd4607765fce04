//! Every published number in the shipped policy set and in the proof-load tables, against its source: LOLER
//! 1998, SOLAS III/20, LSA Code 6.1, MSC.402(96), 46 CFR 122.704, 29 CFR 1919, SOR/2007-128, the ILO's steps,
//! and the ISO and EN standards that rules name. What nobody has published is marked as the house's or as
//! common practice.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "published_numbers/figure.rs"]
mod figure;
#[path = "published_numbers/figures.rs"]
mod figures;
#[path = "published_numbers/intervals.rs"]
mod intervals;
#[path = "published_numbers/marks.rs"]
mod marks;
#[path = "published_numbers/months.rs"]
mod months;
#[path = "published_numbers/proof_loads.rs"]
mod proof_loads;

use std::sync::LazyLock;

use policies::load::{PolicySet, load};
use policies::rule::Rule;

static SHIPPED: LazyLock<PolicySet> = LazyLock::new(|| load(&policies::shipped::files()).unwrap());

fn shipped() -> &'static PolicySet {
    &SHIPPED
}

fn rule_of<'s>(set: &'s PolicySet, id: &str) -> &'s Rule {
    set.rule(set.find_rule(id).unwrap_or_else(|| panic!("the set has no rule {id}")))
}
