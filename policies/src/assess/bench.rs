//! One piece of gear on the bench: its readings, and what has been judged of it so far.

use std::collections::BTreeSet;

use super::combined::Added;
use super::fault::AssessFault;
use super::gear::Gear;
use super::limits::Limit;
use super::ratio::Ratio;
use super::readings::{Value, Values, implausible};
use super::{Criterion, Figure, Percent, Regime, Sense, Sourced};

/// The greatest rating of a reading that is not over its limit: a limit that is itself still allowed is used
/// up, but not passed.
const USED_UP: (i128, i128) = (99_999, 1_000);

pub(super) struct Bench {
    pub kind: String,
    pub regime: Regime,
    pub gear: &'static Gear,
    pub limits: Vec<Limit>,
    attributes: Values,
    measures: Values,
    used: BTreeSet<String>,
    pub criteria: Vec<Criterion>,
    pub notes: Vec<String>,
    pub faults: Vec<AssessFault>,
    /// The sum of ratings at one place, where the regime adds them, and by which rule.
    pub sum: Option<(Ratio, Added)>,
}

impl Bench {
    pub fn new(kind: &str, regime: Regime, gear: &'static Gear, limits: Vec<Limit>) -> Bench {
        Bench {
            kind: kind.to_owned(),
            regime,
            gear,
            limits,
            attributes: Values::new(),
            measures: Values::new(),
            used: BTreeSet::new(),
            criteria: Vec::new(),
            notes: Vec::new(),
            faults: Vec::new(),
            sum: None,
        }
    }

    pub fn given(mut self, attributes: Values, measures: Values) -> Bench {
        (self.attributes, self.measures) = (attributes, measures);
        self
    }

    pub fn note(&mut self, text: String) {
        if !self.notes.contains(&text) {
            self.notes.push(text);
        }
    }

    pub fn fault(&mut self, fault: AssessFault) {
        if !self.faults.contains(&fault) {
            self.faults.push(fault);
        }
    }

    pub fn missing(&mut self, name: &str, right: String) {
        self.fault(AssessFault::Missing { name: name.to_owned(), right });
    }

    /// A numeric attribute, if it is on record.
    pub fn attribute(&self, name: &str) -> Option<Ratio> {
        number(self.attributes.get(name))
    }

    /// An attribute that is one of a few words.
    pub fn attribute_word(&self, name: &str) -> Option<&'static str> {
        word(self.attributes.get(name))
    }

    /// An attribute that is free text.
    pub fn attribute_text(&self, name: &str) -> Option<&str> {
        match self.attributes.get(name) {
            Some(Value::Text(text)) => Some(text),
            _ => None,
        }
    }

    /// A numeric measure, if it was taken.
    pub fn measure(&mut self, name: &str) -> Option<Ratio> {
        self.used.insert(name.to_owned());
        number(self.measures.get(name))
    }

    /// A measure that is one of a few words.
    pub fn word(&mut self, name: &str) -> Option<&'static str> {
        self.used.insert(name.to_owned());
        word(self.measures.get(name))
    }

    /// An attribute above zero that a measure is judged against; missing, it is asked for.
    pub fn needed(&mut self, name: &str, measure: &str) -> Option<Ratio> {
        match self.attribute(name) {
            Some(value) if value > Ratio::ZERO => Some(value),
            Some(_) => {
                let right = "give the size when new, above 0".to_owned();
                self.fault(implausible(name, "0", "cannot be", right));
                None
            }
            None => {
                self.missing(name, format!("{measure} is judged against it: give the attribute {name}"));
                None
            }
        }
    }

    /// A size that was read, unless it is thinner or thicker than gear of that new size can be.
    pub fn size(&mut self, name: &str, new: Ratio, from: i128, to: i128) -> Option<Ratio> {
        let found = self.measure(name)?;
        self.plausible(name, found, new, (from, to)).then_some(found)
    }

    /// Whether a size lies between two shares of another, in percent; if not, it is a fault.
    pub fn plausible(&mut self, name: &str, found: Ratio, new: Ratio, (from, to): (i128, i128)) -> bool {
        let (least, most) = (share(new, from), share(new, to));
        if (least..=most).contains(&found) {
            return true;
        }
        let why = if found < least { "is less than it can be" } else { "is more than it can be" };
        self.fault(AssessFault::Implausible {
            name: name.to_owned(),
            text: found.nearest(4),
            why: format!("{why} against {} mm", new.nearest(4)),
            right: format!("read it again, in mm; right would be from {} to {}", least.up(3), most.down(3)),
            perhaps: perhaps(found, least, most),
        });
        false
    }

    /// The least of two readings at right angles.
    pub fn least(&mut self, name: &str) -> Option<Ratio> {
        match self.measures.get(name) {
            Some(Value::Pair { least, .. }) => Some(*least),
            _ => self.measure(name),
        }
    }

    /// Judges a value by every limit of the regime for the criterion; `good` is the value when new.
    pub fn judge(&mut self, criterion: &str, value: Ratio, good: Ratio, unit: &'static str) {
        let of: Vec<Limit> =
            self.limits.iter().filter(|limit| limit.criterion == criterion).cloned().collect();
        for limit in of {
            self.against(criterion, value, good, unit, (limit.at, limit.sense), &limit.sourced);
        }
    }

    /// Judges a value by one limit.
    pub fn against(
        &mut self,
        criterion: &str,
        value: Ratio,
        good: Ratio,
        unit: &'static str,
        (limit, sense): (Ratio, Sense),
        sourced: &Sourced,
    ) {
        let rating = rating(value, good, limit, sense);
        let shape = (Figure::Number(value), Figure::Number(limit), sense, unit);
        self.add(criterion, shape, rating, sourced);
    }

    /// Puts down a criterion with its rating.
    pub fn add(
        &mut self,
        criterion: &str,
        (value, limit, sense, unit): (Figure, Figure, Sense, &'static str),
        rating: Ratio,
        sourced: &Sourced,
    ) {
        self.criteria.push(Criterion {
            name: criterion.to_owned(),
            value,
            limit,
            sense,
            unit,
            rating: Percent(rating),
            source: sourced.text(),
            authority: sourced.authority,
            status: sourced.status,
        });
    }

    pub fn has_criterion(&self, name: &str) -> bool {
        self.criteria.iter().any(|criterion| criterion.name == name)
    }

    /// The named criteria that nothing was measured for.
    pub fn unmeasured(&self, wanted: &[&'static str]) -> Vec<&'static str> {
        let own = self.limits.iter().map(|limit| limit.criterion);
        wanted.iter().copied().chain(own).filter(|name| !self.has_criterion(name)).collect()
    }

    /// The greatest rating so far among criteria of that name.
    pub fn rating(&self, name: &str) -> Option<Ratio> {
        self.criteria.iter().filter(|one| one.name == name).map(|one| one.rating.0).max()
    }

    /// Measures that were given and that no criterion of the regime asks for.
    pub fn unjudged(&self) -> Vec<&'static str> {
        self.measures.keys().copied().filter(|name| !self.used.contains(*name)).collect()
    }
}

fn number(value: Option<&Value>) -> Option<Ratio> {
    match value {
        Some(Value::Number(number) | Value::Pair { mean: number, .. }) => Some(*number),
        _ => None,
    }
}

fn word(value: Option<&Value>) -> Option<&'static str> {
    match value {
        Some(Value::Word(word)) => Some(word),
        _ => None,
    }
}

/// `percent` of a size.
fn share(of: Ratio, percent: i128) -> Ratio {
    of.by(Ratio::new(percent, 100))
}

/// How much of the way from new to the limit is used up, in percent; never below zero.
fn rating(value: Ratio, good: Ratio, limit: Ratio, sense: Sense) -> Ratio {
    let used = value.minus(good).percent_of(limit.minus(good)).max(Ratio::ZERO);
    let beyond = match sense {
        Sense::From => value >= limit,
        Sense::Over => value > limit,
        Sense::Under => value < limit,
    };
    if beyond { used } else { used.min(Ratio::new(USED_UP.0, USED_UP.1)) }
}

/// The reading that was perhaps meant: the decimal point misplaced, or inches for millimetres.
fn perhaps(found: Ratio, least: Ratio, most: Ratio) -> String {
    let tenfold = [10, 100, 1000].map(|n| found.times(n));
    let tenth = [10, 100, 1000].map(|n| found.percent_of(Ratio::whole(100 * n)));
    let inches = found.times(254).percent_of(Ratio::whole(1000));
    let fits = |one: &Ratio| (least..=most).contains(one);
    if let Some(meant) = tenfold.into_iter().chain(tenth).find(fits) {
        return format!("; was {} meant?", meant.nearest(4));
    }
    if fits(&inches) {
        format!("; were inches meant? That is {} mm", inches.nearest(2))
    } else {
        String::new()
    }
}
