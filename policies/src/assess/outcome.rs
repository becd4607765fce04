//! What a judgement says: criteria with their ratings, and the verdict.

use super::combined::Added;
use super::ratio::Ratio;
use super::{Regime, Sense, Verdict};
use crate::proof_load::Status;
use crate::rule::Authority;

/// A value or a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// A number in the criterion's unit.
    Number(Ratio),
    /// A word, such as `yes`.
    Word(&'static str),
}

/// From this rating gear is watched.
const WATCH: Ratio = Ratio::whole(60);
/// From this rating gear is discarded.
pub(super) const FULL: Ratio = Ratio::whole(100);

/// A rating in percent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Percent(pub Ratio);

impl Percent {
    /// What follows from it.
    pub fn verdict(self) -> Verdict {
        if self.0 >= FULL {
            Verdict::Discard
        } else if self.0 >= WATCH {
            Verdict::Watch
        } else {
            Verdict::Accept
        }
    }

    /// For people: the nearest tenth, but never on the far side of 60 or 100.
    pub fn shown(self) -> String {
        self.short_of_thresholds(self.0.nearest(1), 1)
    }

    /// For programs: thousandths, rounded up, but never on the far side of 60 or 100.
    pub fn written(self) -> String {
        self.short_of_thresholds(self.0.up(3), 3)
    }

    /// A rating below a threshold must not print as that threshold: the verdict would belie it.
    fn short_of_thresholds(self, text: String, places: u32) -> String {
        let just_below = |threshold: Ratio| threshold.minus(Ratio::new(1, 10_i128.pow(places)));
        let crossed = |threshold: &Ratio| self.0 < *threshold && self.0 > just_below(*threshold);
        let belied = [WATCH, FULL].into_iter().find(crossed);
        belied.map_or(text, |threshold| just_below(threshold).down(places))
    }
}

/// One criterion, judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Criterion {
    /// Its name, as rules and pages write it.
    pub name: String,
    /// What was found.
    pub value: Figure,
    /// Where discard begins.
    pub limit: Figure,
    /// On which side of the limit.
    pub sense: Sense,
    /// Unit of both.
    pub unit: &'static str,
    /// How much is used up.
    pub rating: Percent,
    /// Law or standard with its clause; a figure from memory says so.
    pub source: String,
    /// How binding the source is.
    pub authority: Authority,
    /// Whether the figure was read or is from memory.
    pub status: Status,
}

impl Criterion {
    /// What follows from it alone.
    pub fn verdict(&self) -> Verdict {
        self.rating.verdict()
    }

    /// The value as a decimal, rounded towards discard.
    pub fn value_text(&self) -> String {
        match (self.value, self.sense) {
            (Figure::Word(word), _) => word.to_owned(),
            (Figure::Number(value), Sense::Under) => value.down(3),
            (Figure::Number(value), _) => value.up(3),
        }
    }

    /// The limit as a decimal.
    pub fn limit_text(&self) -> String {
        match self.limit {
            Figure::Word(word) => word.to_owned(),
            Figure::Number(limit) => limit.nearest(4),
        }
    }
}

/// Gear, judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Assessment {
    /// The kind as given.
    pub kind: String,
    /// Whose criteria.
    pub regime: Regime,
    /// The worst of all criteria and of the combined rating.
    pub verdict: Verdict,
    /// The sum at one place where the regime adds ratings, or the greatest single rating if that is more.
    pub combined: Percent,
    /// The rule by which ratings were added, or nothing where they are not added.
    pub added: Option<Added>,
    /// Every criterion that was judged.
    pub criteria: Vec<Criterion>,
    /// What was assumed, and what was not judged.
    pub notes: Vec<String>,
}

impl Assessment {
    /// The rule that ratings were added by, where their sum is more than any single one.
    pub fn by_sum(&self) -> Option<&Added> {
        let above = self.criteria.iter().all(|one| one.rating < self.combined);
        self.added.as_ref().filter(|_| above && !self.criteria.is_empty())
    }
}
