//! That every figure says whose it is: published ones name their source, those from memory say so, and the rest
//! are marked as house figures or common practice. A new figure without a check fails here.

use policies::amount::Amount;
use policies::rule::{Authority, Reading, Rule, Work};

use crate::figure::{Figure, Known, Published};
use crate::figures::{FIGURES, of_rule};
use crate::shipped;

/// Bodies and codes that publish figures. A word of a `source` that is one of them is a citation.
const PUBLISHERS: &[&str] = &[
    "API",
    "ASME",
    "BS",
    "Cap",
    "CFR",
    "Circ",
    "Code",
    "Convention",
    "DIN",
    "EN",
    "IEC",
    "ILO",
    "IMO",
    "ISO",
    "LOLER",
    "LSA",
    "MSC",
    "NIST",
    "OSHA",
    "PUWER",
    "SI",
    "SOLAS",
    "SOR",
    "STCW",
    "WAC",
];

/// Rule, reading, least, greatest, and what the source says.
type HouseLimit = (&'static str, &'static str, Option<&'static str>, Option<&'static str>, &'static str);

/// House limits of rules whose other figures are not the house's.
const HOUSE_LIMITS: &[HouseLimit] = &[
    ("block-gauging", "side play", None, Some("1"), "side play 1.0 mm is a house figure"),
    ("fall-proof-load", "time held", Some("3"), None, "three minutes is a house figure"),
    ("carriage-locks", "play", None, Some("3"), "3 mm is a house figure"),
    (
        "carriage-examination-after-grounding",
        "frame diagonals difference",
        None,
        Some("5"),
        "5 mm is a house figure",
    ),
    ("final-drive-oil-sample", "water in oil", None, Some("0.2"), "0.2 % is a house figure"),
    ("final-drive-resample", "water in oil", None, Some("0.2"), "0.2 % is a house figure"),
    ("final-drive-seawater", "water in oil", None, Some("0.2"), "0.2 % is a house figure"),
    (
        "winch-wire-before-use",
        "dead wraps",
        Some("5"),
        None,
        "five wraps: as winch makers ask (no published source",
    ),
];

/// Words that mark what nobody has published.
const OWN_MARKS: &[&str] = &["house figure", "common practice", "practice is common", "no published source"];

/// The parts of a source, each with its own figures.
fn parts(rule: &Rule) -> Vec<&str> {
    rule.source.as_deref().map_or_else(Vec::new, |source| source.split("; ").collect())
}

fn stands_in(figure: &Figure, part: &str) -> bool {
    figure.says.iter().all(|words| part.contains(words))
}

/// A part without the words of the figures that stand in it.
fn unclaimed(rule: &Rule, part: &str) -> String {
    let claimed = of_rule(&rule.id).filter(|figure| stands_in(figure, part));
    claimed.flat_map(|figure| figure.says).fold(part.to_owned(), |rest, words| rest.replace(words, " "))
}

fn citations(text: &str) -> Vec<&str> {
    text.split(|letter: char| !letter.is_ascii_alphabetic())
        .filter(|word| PUBLISHERS.contains(word))
        .collect()
}

fn is_published(rule: &Rule) -> bool {
    matches!(rule.authority, Authority::Law | Authority::Standard)
}

#[test]
fn every_figure_names_its_source_in_its_rule() {
    let set = shipped();
    for figure in FIGURES {
        assert!(!figure.rules.is_empty() && !figure.says.is_empty(), "{figure:?}");
        for id in figure.rules {
            let rule = set.rule(set.find_rule(id).unwrap_or_else(|| panic!("no rule {id}")));
            let named = parts(rule).into_iter().any(|part| stands_in(figure, part));
            assert!(named, "{id}: {:?} stands in no part of {:?}", figure.says, rule.source);
        }
    }
}

/// Authority law or standard speaks of the interval, so that an interval, an event or a test load is checked.
#[test]
fn every_rule_of_law_or_standard_has_its_figure_checked() {
    let mut seen = 0;
    for rule in shipped().rules.iter().filter(|rule| is_published(rule)) {
        let when = |figure: &Figure| {
            !matches!(
                figure.published,
                Published::AtMost(..) | Published::AtLeast(..) | Published::Judged(..)
            )
        };
        assert!(of_rule(&rule.id).any(when), "{}: no published figure is checked", rule.id);
        let law = of_rule(&rule.id).any(|figure| figure.says.contains(&"LOLER 1998"));
        assert!(law || rule.authority != Authority::Law, "{}: by which law?", rule.id);
        seen += 1;
    }
    assert!(seen >= 40, "only {seen} rules");
}

/// A source that names a law or a standard does so for a figure that is checked.
#[test]
fn every_citation_belongs_to_a_figure_that_is_checked() {
    let mut seen = 0;
    for rule in &shipped().rules {
        for part in parts(rule) {
            seen += citations(part).len();
            let rest = unclaimed(rule, part).replace("(SI 1998/2307)", "");
            assert_eq!(citations(&rest), Vec::<&str>::new(), "{}: unchecked in {part:?}", rule.id);
        }
    }
    assert!(seen >= 60, "only {seen} citations");
}

/// The work that laws and codes give intervals for is never left to the house alone.
#[test]
fn every_periodic_thorough_examination_is_held_against_the_law() {
    let periodic = |rule: &&Rule| rule.work == Work::ThoroughExamination && !rule.calendar.is_empty();
    for rule in shipped().rules.iter().filter(periodic) {
        let interval =
            |figure: &Figure| matches!(figure.published, Published::Every(_) | Published::CeilingOf(_));
        let law = of_rule(&rule.id).any(|figure| figure.says.contains(&"LOLER 1998") && interval(figure));
        assert!(law, "{}: no greatest interval of the law is checked", rule.id);
    }
}

/// A rule without a published figure is the house's or common practice, and says so.
#[test]
fn what_nobody_published_is_house_or_common_practice() {
    let mut seen = 0;
    for rule in shipped().rules.iter().filter(|rule| of_rule(&rule.id).next().is_none()) {
        assert!(
            matches!(rule.authority, Authority::House | Authority::CommonPractice),
            "{}: {} without a published figure",
            rule.id,
            rule.authority
        );
        seen += 1;
    }
    assert!(seen >= 50, "only {seen} rules");
}

/// A figure from memory says so where it is printed, and nothing else does.
#[test]
fn figures_from_memory_say_so() {
    let mut marked = 0;
    for rule in &shipped().rules {
        for part in parts(rule) {
            let memory =
                of_rule(&rule.id).any(|figure| figure.known == Known::Memory && stands_in(figure, part));
            assert_eq!(part.contains("from memory"), memory, "{}: {part:?}", rule.id);
            marked += usize::from(memory);
        }
    }
    assert!(marked >= 10, "only {marked} marks");
}

/// Every part of a source that prints a number is published, or marked as the house's or as common practice.
#[test]
fn numbers_in_a_source_are_published_or_marked() {
    for rule in &shipped().rules {
        for part in
            parts(rule).into_iter().filter(|part| part.contains(|letter: char| letter.is_ascii_digit()))
        {
            let published = of_rule(&rule.id).any(|figure| stands_in(figure, part));
            let marked = OWN_MARKS.iter().any(|mark| part.contains(mark));
            assert!(published || marked, "{}: whose is {part:?}?", rule.id);
        }
    }
}

fn amount(text: Option<&str>) -> Option<Amount> {
    text.map(|text| text.parse().unwrap())
}

fn is_published_limit(rule: &Rule, reading: &Reading) -> bool {
    of_rule(&rule.id).any(|figure| match figure.published {
        Published::AtMost(name, _, most) => {
            name == reading.name && amount(Some(most)) == reading.max && reading.min.is_none()
        }
        Published::AtLeast(name, _, least) => {
            name == reading.name && amount(Some(least)) == reading.min && reading.max.is_none()
        }
        _ => false,
    })
}

fn is_house_limit(rule: &Rule, reading: &Reading) -> bool {
    let found = HOUSE_LIMITS.iter().find(|(id, name, ..)| *id == rule.id && *name == reading.name);
    found.is_some_and(|(_, _, least, most, says)| {
        let bounds = (amount(*least), amount(*most)) == (reading.min, reading.max);
        bounds && parts(rule).into_iter().any(|part| part.contains(says))
    })
}

/// None at all: no slip, no set.
fn allows_nothing(reading: &Reading) -> bool {
    (reading.min, reading.max) == (None, Some(Amount::ZERO))
}

/// A limit is published, or the rule is the house's own, or its source marks the limit as the house's. A limit
/// of nought is no figure: there must be none.
#[test]
fn every_limit_of_a_reading_is_published_or_marked_as_the_house_s() {
    let (mut published, mut house) = (0, 0);
    for rule in &shipped().rules {
        for reading in rule.records.iter().filter(|one| one.min.is_some() || one.max.is_some()) {
            let (law, own) = (is_published_limit(rule, reading), is_house_limit(rule, reading));
            let marked = law || own || rule.authority == Authority::House || allows_nothing(reading);
            assert!(marked, "{}: whose limit is {}?", rule.id, reading.name);
            published += usize::from(law);
            house += usize::from(own);
        }
    }
    let wanted = FIGURES
        .iter()
        .filter(|figure| matches!(figure.published, Published::AtMost(..) | Published::AtLeast(..)));
    assert_eq!(published, wanted.map(|figure| figure.rules.len()).sum::<usize>());
    assert_eq!(house, HOUSE_LIMITS.len());
}

/// Nobody publishes a count of launches or pulls for this gear: a use limit is the house's or common practice,
/// or marked.
#[test]
fn use_limits_are_house_figures_or_common_practice() {
    let mut seen = 0;
    for rule in shipped().rules.iter().filter(|rule| !rule.usage.is_empty()) {
        let marked = |every: String| {
            parts(rule).iter().any(|part| part.contains("house figure") && part.contains(&every))
        };
        let own = matches!(rule.authority, Authority::House | Authority::CommonPractice);
        assert!(own || rule.usage.iter().all(|clause| marked(clause.every.to_string())), "{}", rule.id);
        seen += 1;
    }
    assert!(seen >= 10, "only {seen} rules");
}
