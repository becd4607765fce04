//! What law and standards say, figure by figure, and the shipped rules that carry it.
//!
//! The figures are copied from the sources, each named beside its figure, not from the policy set. "Restated"
//! means that the standard's own text was not at hand and that somebody who has it was read instead.

use crate::figure::Figure;
use crate::figure::Known::{Memory, Read};
use crate::figure::Published::{
    AfterEvent, AtLeast, AtMost, BeforeUse, CeilingInService, CeilingOf, Every, InServiceFor, Judged,
    TimesRating, TimesRatingOf, Weekly,
};

pub const FIGURES: &[Figure] = &[
    // LOLER 1998 (SI 1998/2307), reg. 9(3)(a)(i): equipment that lifts persons, and accessories for lifting, at
    // least every six months.
    Figure {
        says: &["LOLER 1998", "reg. 9(3)(a)(i)", "six months"],
        known: Read,
        published: Every("6 months"),
        rules: &[
            "block-gauging",
            "bow-strop-thorough-examination",
            "fall-thorough-examination",
            "hauling-chain-thorough-examination",
            "hook-thorough-examination",
            "preventer-thorough-examination",
            "quick-release-link-thorough-examination",
            "shackle-batch-thorough-examination",
            "shackle-thorough-examination",
            "stopper-thorough-examination",
            "strop-thorough-examination",
        ],
    },
    // LOLER 1998, reg. 9(3)(a)(ii): other lifting equipment, at least every twelve months.
    Figure {
        says: &["LOLER 1998", "reg. 9(3)(a)(ii)", "twelve months"],
        known: Read,
        published: Every("12 months"),
        rules: &["carriage-thorough-examination", "winch-thorough-examination"],
    },
    Figure {
        says: &["ceiling", "LOLER 1998", "reg. 9(3)(a)(ii)", "twelve months"],
        known: Read,
        published: CeilingOf("12 months"),
        rules: &["winch-wire-thorough-examination"],
    },
    // LOLER 1998, reg. 9(3)(a)(iv): each time that exceptional circumstances liable to jeopardise safety have
    // occurred.
    Figure {
        says: &["LOLER 1998", "reg. 9(3)(a)(iv)", "exceptional circumstances"],
        known: Read,
        published: AfterEvent("shock loads"),
        rules: &[
            "block-examination-after-shock",
            "bow-strop-examination-after-shock",
            "carriage-examination-after-shock",
            "drawbar-pin-examination-after-shock",
            "fairlead-examination-after-shock",
            "fall-examination-after-shock",
            "hauling-chain-examination-after-shock",
            "hauling-eye-examination-after-shock",
            "hook-examination-after-shock",
            "load-pin-examination-after-shock",
            "preventer-examination-after-shock",
            "quick-release-link-examination-after-shock",
            "shackle-batch-examination-after-shock",
            "shackle-examination-after-shock",
            "stopper-examination-after-shock",
            "strop-examination-after-shock",
            "winch-examination-after-shock",
            "winch-wire-examination-after-shock",
        ],
    },
    Figure {
        says: &["LOLER 1998", "reg. 9(3)(a)(iv)", "exceptional circumstances"],
        known: Read,
        published: AfterEvent("path proof load failed"),
        rules: &[
            "block-examination-after-failed-proof",
            "bow-strop-examination-after-failed-proof",
            "carriage-examination-after-failed-proof",
            "drawbar-pin-examination-after-failed-proof",
            "fairlead-examination-after-failed-proof",
            "fall-examination-after-failed-proof",
            "hauling-chain-examination-after-failed-proof",
            "hauling-eye-examination-after-failed-proof",
            "hook-examination-after-failed-proof",
            "load-pin-examination-after-failed-proof",
            "preventer-examination-after-failed-proof",
            "quick-release-link-examination-after-failed-proof",
            "shackle-batch-examination-after-failed-proof",
            "shackle-examination-after-failed-proof",
            "stopper-examination-after-failed-proof",
            "strop-examination-after-failed-proof",
            "winch-examination-after-failed-proof",
            "winch-wire-examination-after-failed-proof",
        ],
    },
    // LOLER 1998, reg. 9(2): where safety depends on the installation, after it and before first use, and after
    // assembly at a new site.
    Figure {
        says: &["LOLER 1998", "reg. 9(2)", "after installation"],
        known: Read,
        published: AfterEvent("fitted"),
        rules: &[
            "block-examination-after-fitting",
            "fall-examination-after-fitting",
            "hook-examination-after-fitting",
            "preventer-examination-after-fitting",
            "winch-examination-after-fitting",
            "winch-wire-examination-after-fitting",
        ],
    },
    // LOLER 1998, reg. 9(3): gear is examined at its interval, wherever it lies; that the examination comes before
    // the issue from stores is the house's reading of it.
    Figure {
        says: &["after the intent of LOLER 1998", "reg. 9(3)"],
        known: Read,
        published: AfterEvent("issued from stores"),
        rules: &[
            "block-examination-before-issue",
            "bow-strop-examination-before-issue",
            "fall-examination-before-issue",
            "hauling-chain-examination-before-issue",
            "hook-examination-before-issue",
            "preventer-examination-before-issue",
            "quick-release-link-examination-before-issue",
            "shackle-examination-before-issue",
            "shackle-batch-examination-before-issue",
            "stopper-examination-before-issue",
            "strop-examination-before-issue",
            "winch-wire-examination-before-issue",
        ],
    },
    // ISO 4309: the ratings add up to a severity, and the rope is discarded at 100 %.
    Figure {
        says: &["severity below 100 %", "ISO 4309:2017"],
        known: Memory,
        published: AtMost("severity", "%", "99.9"),
        rules: &["fall-measurement"],
    },
    // ILO Convention 152 (1979), art. 24: loose gear is inspected before use (the register form of 29 CFR 1918,
    // appendix I, says the same); art. 22: ships' lifting appliances are tested at least once in five years.
    Figure {
        says: &["ILO Convention 152 (1979), art. 24", "before use"],
        known: Read,
        published: BeforeUse,
        rules: &["fall-before-use"],
    },
    Figure {
        says: &["five years", "ILO Convention 152, art. 22"],
        known: Memory,
        published: Every("5 years"),
        rules: &["carriage-proof-load"],
    },
    // SOLAS III/20.4: falls are renewed when they must be, or at intervals of not more than five years,
    // whichever comes first. 46 CFR 122.704(b) says the same.
    Figure {
        says: &["ceiling", "SOLAS III/20.4", "five years in service"],
        known: Read,
        published: CeilingInService("5 years"),
        rules: &["fall-renewal"],
    },
    Figure {
        says: &["60 months follows SOLAS III/20.4"],
        known: Read,
        published: InServiceFor("5 years"),
        rules: &["winch-wire-renewal"],
    },
    // 46 CFR 122.704(a): falls are turned end for end at intervals of not more than 30 months.
    Figure {
        says: &["ceiling", "46 CFR 122.704(a)", "30 months"],
        known: Read,
        published: CeilingOf("30 months"),
        rules: &["fall-end-for-end"],
    },
    // SOLAS III/20.6: boats, launching gear and hooks are looked over weekly.
    Figure {
        says: &["weekly look of SOLAS III/20.6"],
        known: Read,
        published: Weekly,
        rules: &["fall-run-over"],
    },
    // SOLAS III/20.11.1.3 (2012): the dynamic test of the winch brake at 1.1 x the loaded boat, at least every
    // five years.
    Figure {
        says: &["SOLAS III/20.11.1.3", "five years"],
        known: Read,
        published: Every("5 years"),
        rules: &["winch-brake-test"],
    },
    Figure {
        says: &["SOLAS III/20.11.1.3"],
        known: Read,
        published: TimesRatingOf("launching-winch-brake-five-yearly", 1_100),
        rules: &["winch-brake-test"],
    },
    // LSA Code 6.1, as its sister text for fishing vessels has it: static test of the brake at 1.5 x, dynamic
    // at 1.1 x the greatest working load.
    Figure {
        says: &["LSA Code 6.1", "static 1.5"],
        known: Read,
        published: TimesRatingOf("launching-winch-brake-static", 1_500),
        rules: &["winch-brake-test"],
    },
    Figure {
        says: &["LSA Code 6.1", "dynamic 1.1"],
        known: Read,
        published: TimesRatingOf("launching-winch-brake-dynamic", 1_100),
        rules: &["winch-brake-test"],
    },
    // SOLAS III/20.11.2 (2012): on-load release gear is overhauled and tested at 1.1 x the loaded boat, at
    // least every five years.
    Figure {
        says: &["SOLAS III/20.11.2", "five years"],
        known: Read,
        published: Every("5 years"),
        rules: &["hook-overhaul"],
    },
    Figure {
        says: &["SOLAS III/20.11.2", "1.1 x load"],
        known: Read,
        published: TimesRatingOf("on-load-release-five-yearly", 1_100),
        rules: &["hook-overhaul"],
    },
    // MSC.402(96), section 6: five-yearly thorough examination, overhaul and overload test. Its opening
    // sections were read, section 6 was not.
    Figure {
        says: &["MSC.402(96)", "five years"],
        known: Memory,
        published: Every("5 years"),
        rules: &["hook-overhaul"],
    },
    // MSC.1/Circ.1206: that release gear is fully reset is checked before it is used.
    Figure {
        says: &["IMO guidance on release gear, MSC.1/Circ.1206"],
        known: Memory,
        published: BeforeUse,
        rules: &["hook-before-use"],
    },
    // EN 1492-1 and -2: a textile sling is looked over before use, and is rejected without a readable label.
    Figure {
        says: &["EN 1492-1", "EN 1492-2"],
        known: Memory,
        published: BeforeUse,
        rules: &["strop-before-use"],
    },
    // ISO 4309: discard by uniform decrease in diameter, broken wires in 6d and in 30d, corrosion. The counts
    // were read as restated by two rope suppliers, the diameter bands and the corrosion ratings are from
    // memory.
    Figure {
        says: &["ISO 4309:2017", "diameter bands"],
        known: Memory,
        published: Judged("diameter", "wire diameter"),
        rules: &["fall-measurement", "winch-wire-measurement"],
    },
    Figure {
        says: &["ISO 4309:2017"],
        known: Read,
        published: Judged("broken wires in 6d", "broken wires in 6d"),
        rules: &["fall-measurement", "winch-wire-measurement"],
    },
    Figure {
        says: &["ISO 4309:2017"],
        known: Read,
        published: Judged("broken wires in 30d", "broken wires in 30d"),
        rules: &["fall-measurement", "winch-wire-measurement"],
    },
    Figure {
        says: &["ISO 4309:2017", "corrosion"],
        known: Memory,
        published: Judged("corrosion", "wire corrosion"),
        rules: &["fall-measurement", "winch-wire-measurement"],
    },
    // EN 818-6:2000+A1:2008, annex A, restated: a link whose mean diameter is below 90 % of the nominal is
    // discarded.
    Figure {
        says: &["90 % of the nominal diameter", "EN 818-6:2000+A1:2008, Annex A"],
        known: Read,
        published: Judged("link diameter", "link diameter"),
        rules: &["hauling-chain-gauging", "preventer-gauging", "stopper-gauging"],
    },
    // EN 818-6 and EN 1677 practice: a hook's throat may open by 10 %.
    Figure {
        says: &["throat 10 %", "EN 818-6 practice"],
        known: Memory,
        published: AtMost("throat growth", "%", "10"),
        rules: &["hook-thorough-examination"],
    },
    // ISO 16855:2013, ships' loose gear, restated: pins worn by 6 %.
    Figure {
        says: &["pin", "6 %", "ISO 16855:2013"],
        known: Read,
        published: AtMost("pin wear", "%", "6"),
        rules: &[
            "block-overhaul",
            "drawbar-pin-examination-after-failed-proof",
            "drawbar-pin-examination-after-shock",
            "fairlead-examination-after-failed-proof",
            "fairlead-examination-after-shock",
            "hook-thorough-examination",
            "quick-release-link-thorough-examination",
            "shackle-batch-thorough-examination",
            "shackle-thorough-examination",
        ],
    },
    // ISO 16855:2013, restated: links worn by 10 %.
    Figure {
        says: &["body 10 %", "ISO 16855:2013"],
        known: Read,
        published: AtMost("body wear", "%", "10"),
        rules: &["quick-release-link-thorough-examination"],
    },
    // A practice note on BS EN 13889: shackle bodies worn by 8 %. ASME B30.26 and makers allow 10 %.
    Figure {
        says: &["body 8 %", "practice note on EN 13889"],
        known: Read,
        published: AtMost("body wear", "%", "8"),
        rules: &["shackle-batch-thorough-examination", "shackle-thorough-examination"],
    },
    // ISO 16625, restated: the groove of a sheave is 5 to 10 % over the rope, and is rejected below 2.5 %.
    Figure {
        says: &["ISO 16625", "groove 5 to 10 % over the rope", "rejected below 2.5 %"],
        known: Read,
        published: AtLeast("groove over rope", "%", "2.5"),
        rules: &["block-gauging"],
    },
    // ILO proof-load steps: loose gear 2 x to 25 t, a single-sheave block without becket 4 x, lifting
    // appliances 1.25 x below 20 t. That the appliances' steps are the ILO's own is from memory; other laws
    // print the same.
    Figure {
        says: &["ILO proof-load steps for loose gear", "2 x WLL to 25 t"],
        known: Memory,
        published: TimesRating(2_000),
        rules: &["fall-proof-load"],
    },
    Figure {
        says: &["ILO proof-load steps for loose gear", "4 x SWL, single sheave without becket"],
        known: Memory,
        published: TimesRating(4_000),
        rules: &["block-proof-load"],
    },
    Figure {
        says: &["1.25 x SWL", "ILO proof-load steps for lifting appliances"],
        known: Memory,
        published: TimesRating(1_250),
        rules: &["carriage-proof-load", "winch-reproof"],
    },
];

/// The figures of one rule.
pub fn of_rule(rule: &str) -> impl Iterator<Item = &'static Figure> {
    FIGURES.iter().filter(move |figure| figure.rules.contains(&rule))
}
