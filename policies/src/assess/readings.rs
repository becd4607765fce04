//! What was given: texts by name, read into numbers and words, every slip at once.

use std::collections::BTreeMap;

use super::fault::AssessFault;
use super::gear::{Field, Gear, Holds, plain};
use super::ratio::{PLACES, Ratio};
use super::sight::Cause;
use crate::amount::Amount;

/// No size or distance of the trade is read in more than this many millimetres.
const LONGEST_MM: i128 = 100_000;

/// A field's value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Value {
    Number(Ratio),
    /// Two readings at right angles.
    Pair {
        mean: Ratio,
        least: Ratio,
    },
    Word(&'static str),
    Text(String),
}

/// Values by field.
pub(super) type Values = BTreeMap<&'static str, Value>;

/// Texts by field, in the order given.
type Texts<'t> = BTreeMap<&'static str, (Field, Vec<&'t str>)>;

pub(super) struct Reader<'k> {
    pub kind: &'k str,
    pub gear: &'static Gear,
    pub causes: &'k [Cause],
    pub faults: Vec<AssessFault>,
}

impl Reader<'_> {
    /// What the gear is. Columns that no criterion asks for are passed over.
    pub fn attributes(&mut self, given: &[(&str, &str)]) -> Values {
        let mut texts = Texts::new();
        for (name, text) in given {
            let plain = plain(name);
            if let Some(field) = self.gear.attributes.iter().find(|field| field.goes_by(&plain)) {
                texts.entry(field.name).or_insert((*field, Vec::new())).1.push(text);
            } else if !self.gear.unused.contains(&plain.as_str()) {
                let fault = self.no_attribute(name, &plain);
                self.faults.push(fault);
            }
        }
        texts.retain(|_, (_, all)| all.iter().any(|text| !text.trim().is_empty()));
        self.values(&texts)
    }

    /// What was found. A reading may be numbered: `diameter_1_mm` and `diameter_2_mm` are two of one.
    pub fn measures(&mut self, given: &[(&str, &str)]) -> Values {
        let mut texts = Texts::new();
        for (name, text) in given {
            let plain = plain(name);
            if let Some(field) = self.measure(&plain).or_else(|| self.measure(&unnumbered(&plain)?)) {
                texts.entry(field.name).or_insert((field, Vec::new())).1.push(text);
            } else {
                let fault = self.no_measure(name, &plain);
                self.faults.push(fault);
            }
        }
        self.values(&texts)
    }

    fn measure(&self, plain: &str) -> Option<Field> {
        let causes = self.causes.iter().map(|cause| cause.field);
        self.gear.measures.iter().copied().chain(causes).find(|field| field.goes_by(plain))
    }

    fn no_attribute(&self, name: &str, plain: &str) -> AssessFault {
        if self.measure(plain).is_some() {
            return AssessFault::Misplaced { name: name.to_owned(), what: "is a measure, not an attribute" };
        }
        let known = names(self.gear.attributes.iter());
        AssessFault::UnknownAttribute { name: name.to_owned(), kind: self.kind.to_owned(), known }
    }

    fn no_measure(&self, name: &str, plain: &str) -> AssessFault {
        let attributes = self.gear.attributes.iter();
        if attributes.clone().any(|field| field.goes_by(plain)) || self.gear.unused.contains(&plain) {
            return AssessFault::Misplaced { name: name.to_owned(), what: "is an attribute, not a measure" };
        }
        let known = self.known_measures();
        AssessFault::UnknownMeasure { name: name.to_owned(), kind: self.kind.to_owned(), known }
    }

    /// Every measure of the gear, as a list in words.
    pub fn known_measures(&self) -> String {
        names(self.gear.measures.iter().chain(self.causes.iter().map(|cause| &cause.field)))
    }

    fn values(&mut self, texts: &Texts) -> Values {
        let mut values = Values::new();
        for (name, (field, all)) in texts {
            match read(field, all) {
                Ok(value) => {
                    values.insert(name, value);
                }
                Err(fault) => self.faults.push(fault),
            }
        }
        values
    }
}

fn names<'f>(fields: impl Iterator<Item = &'f Field>) -> String {
    fields.map(|field| field.name).collect::<Vec<_>>().join(", ")
}

/// `diameter_2_mm` and `diameter_2` without the number, `d2` is not taken.
fn unnumbered(plain: &str) -> Option<String> {
    let one = ["_1", "_2"].iter().find_map(|number| plain.strip_suffix(number).map(str::to_owned));
    one.or_else(|| {
        let number = ["_1_mm", "_2_mm"].iter().find_map(|number| plain.strip_suffix(number));
        number.map(|base| format!("{base}_mm"))
    })
}

fn read(field: &Field, all: &[&str]) -> Result<Value, AssessFault> {
    match (field.holds, all) {
        (Holds::Size, [one]) => size(field, one).map(Value::Number),
        (Holds::Size, [one, two]) => {
            let (one, two) = (size(field, one)?, size(field, two)?);
            Ok(Value::Pair { mean: one.plus(two).halved(), least: one.min(two) })
        }
        (Holds::Size, _) => Err(twice(field, "give one reading, or two at right angles")),
        (_, [_, _, ..]) => Err(twice(field, "is given more than once; give it once, for the worst place")),
        (Holds::Number(from, to), _) => number(field, all[0], from, to).map(Value::Number),
        (Holds::Count(to), _) => count(field, all[0], to).map(Value::Number),
        (Holds::Words(words), _) => word(field, all[0], words).map(Value::Word),
        (Holds::Text, _) => Ok(Value::Text(all[0].trim().to_owned())),
    }
}

fn twice(field: &Field, what: &str) -> AssessFault {
    AssessFault::Twice { name: field.name.to_owned(), what: what.to_owned() }
}

fn unreadable(field: &Field, text: &str, right: String) -> AssessFault {
    AssessFault::Unreadable { name: field.name.to_owned(), text: text.to_owned(), right }
}

fn decimal(field: &Field, text: &str) -> Result<Ratio, AssessFault> {
    let right =
        || format!("write a plain decimal of at most {PLACES} decimals, such as 11.66, without its unit");
    let amount: Amount = text.trim().parse().map_err(|_| unreadable(field, text, right()))?;
    let ratio = Ratio::from(amount);
    if ratio.times(10_i128.pow(PLACES)).is_whole() {
        Ok(ratio)
    } else {
        Err(unreadable(field, text, right()))
    }
}

fn size(field: &Field, text: &str) -> Result<Ratio, AssessFault> {
    let found = decimal(field, text)?;
    if found >= Ratio::ZERO && found <= Ratio::whole(LONGEST_MM) {
        return Ok(found);
    }
    Err(implausible(field.name, text, "cannot be a length", "give it in mm".to_owned()))
}

fn number(field: &Field, text: &str, from: i128, to: i128) -> Result<Ratio, AssessFault> {
    let found = decimal(field, text)?;
    if found >= Ratio::whole(from) && found <= Ratio::whole(to) {
        return Ok(found);
    }
    Err(implausible(field.name, text, "cannot be", format!("right would be from {from} to {to}")))
}

fn count(field: &Field, text: &str, to: i128) -> Result<Ratio, AssessFault> {
    let found = decimal(field, text)?;
    if !found.is_whole() {
        return Err(unreadable(field, text, "write a whole number, such as 4".to_owned()));
    }
    if found >= Ratio::ZERO && found <= Ratio::whole(to) {
        return Ok(found);
    }
    Err(implausible(field.name, text, "cannot be", format!("right would be from 0 to {to}")))
}

fn word(
    field: &Field,
    text: &str,
    words: &'static [(&'static str, &'static [&'static str])],
) -> Result<&'static str, AssessFault> {
    let given = plain(text);
    let means = |word: &str, also: &[&str]| plain(word) == given || also.contains(&given.as_str());
    let found = words.iter().find(|(word, also)| means(word, also)).map(|(word, _)| *word);
    let known: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
    found.ok_or_else(|| unreadable(field, text, format!("right would be {}", known.join(" or "))))
}

/// A value that cannot be, without a guess at what was meant.
pub(super) fn implausible(name: &str, text: &str, why: &str, right: String) -> AssessFault {
    AssessFault::Implausible {
        name: name.to_owned(),
        text: text.to_owned(),
        why: why.to_owned(),
        right,
        perhaps: String::new(),
    }
}
