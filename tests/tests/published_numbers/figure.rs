//! What a published figure is, and how it came to be known.

/// How a figure came to be known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Known {
    /// Read in the text, or in a text that restates it.
    Read,
    /// From memory: to be checked against the text, and marked so wherever it is printed.
    Memory,
}

/// What is published.
#[derive(Clone, Copy, Debug)]
pub enum Published {
    /// An interval from the last work, taken as it stands.
    Every(&'static str),
    /// An interval from entry into service, taken as it stands.
    InServiceFor(&'static str),
    /// A round of the week, on Mondays.
    Weekly,
    /// A greatest interval from the last work; the rule is stricter.
    CeilingOf(&'static str),
    /// A greatest time in service; the rule is stricter.
    CeilingInService(&'static str),
    /// Work after an event, before the next use.
    AfterEvent(&'static str),
    /// A look before each use.
    BeforeUse,
    /// The greatest value of a reading: name, unit, value.
    AtMost(&'static str, &'static str, &'static str),
    /// The least value of a reading: name, unit, value.
    AtLeast(&'static str, &'static str, &'static str),
    /// A reading that a discard criterion judges: names of both.
    Judged(&'static str, &'static str),
    /// A load as a multiple of the rating of the rule's own kind of gear, in thousandths.
    TimesRating(i64),
    /// A load as a multiple of the rating, under a gear word of its own, in thousandths.
    TimesRatingOf(&'static str, i64),
}

/// One published figure.
#[derive(Debug)]
pub struct Figure {
    /// Words that stand together in one part of the rule's `source`.
    pub says: &'static [&'static str],
    pub known: Known,
    pub published: Published,
    /// Every shipped rule that carries it.
    pub rules: &'static [&'static str],
}
