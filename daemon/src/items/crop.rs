//! A wire is cropped, or turned end for end.

use policies::amount::Amount;
use policies::facts::ItemId;
use policies::rule::{Rule, Work as Sort};

use super::{Attributes, Look, Moment, Rows, refused};
use crate::desk::DeskError;
use crate::records::Work;
use crate::store::fleet::of_register;

/// Readings by which a crop's lengths are kept.
const LEFT: &str = "length left";
const TOTAL: &str = "total cropped";

/// A crop to be recorded.
#[derive(Clone, Debug)]
pub struct Crop {
    /// The wire's tag.
    pub tag: String,
    /// Metres taken off.
    pub off: Amount,
    /// The end it came off.
    pub end: &'static str,
    /// When.
    pub at: String,
    /// Who did it.
    pub by: String,
}

/// A turn to be recorded.
#[derive(Clone, Debug)]
pub struct Turn {
    /// The wire's tag.
    pub tag: String,
    /// When.
    pub at: String,
    /// Who did it.
    pub by: String,
}

/// How long a wire was made, and how much came off it since.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Lengths {
    pub(crate) made: Amount,
    pub(crate) cropped: Amount,
}

impl Lengths {
    pub(crate) fn left(self) -> Amount {
        self.made - self.cropped
    }

    /// The lengths of an item by its attribute and its crops.
    ///
    /// # Errors
    /// No length, or crops that do not add up.
    pub(crate) fn of(look: &Look, tag: &str) -> Result<Lengths, DeskError> {
        let item = look.item(tag, None)?;
        let Some(made) = Attributes::of(item).amount("length_m") else {
            return refused(format!("{tag} has no length; give it first: tallow item set {tag} length_m=… "));
        };
        let Some(last) = crops(look, tag).into_iter().next_back() else {
            return Ok(Lengths { made, cropped: Amount::ZERO });
        };
        let day = look.text_of(last.at, last.day.as_deref(), tag);
        let (total, left) = (measured(last, TOTAL), measured(last, LEFT));
        let Some(cropped) = total.or_else(|| left.map(|left| made - left)) else {
            let key = &last.key;
            return refused(format!(
                "the crop of {tag} on {day} (\"{key}\") says no length; add it: tallow correct record work \"{key}\" …"
            ));
        };
        let lengths = Lengths { made, cropped };
        match left.filter(|left| *left != lengths.left()) {
            Some(left) => refused(format!(
                "the lengths of {tag} do not add up: {made} m made less {cropped} m cropped is {} m, but {left} m were \
                 left on {day}; correct that work or length_m first",
                lengths.left()
            )),
            None => Ok(lengths),
        }
    }
}

fn measured(work: &Work, name: &str) -> Option<Amount> {
    let pairs = work.measurements.iter().flat_map(|text| text.split(';'));
    let mut pairs = pairs.filter_map(|pair| pair.split_once('='));
    pairs.find(|(have, _)| have.trim() == name)?.1.trim().parse().ok()
}

/// Crops of an item, in time order.
fn crops<'r>(look: &Look<'r>, tag: &str) -> Vec<&'r Work> {
    let is_crop = |work: &&Work| {
        let rule = look.set.find_rule(&work.rule).map(|id| look.set.rule(id));
        !work.void
            && work.item == tag
            && work.outcome != "failed"
            && rule.is_some_and(|rule| rule.work == Sort::Crop)
    };
    let mut crops: Vec<&Work> = look.register.work.values().filter(is_crop).collect();
    crops.sort_by_key(|work| (work.at, &work.key));
    crops
}

/// The rule of that work for an item.
fn rule<'r>(look: &Look<'r>, tag: &str, sort: Sort) -> Result<&'r Rule, DeskError> {
    let fleet = of_register(look.set, look.register);
    let id: Option<ItemId> = fleet.find(tag);
    let is_for = |rule: &&Rule| {
        rule.work == sort
            && id
                .map(|id| fleet.item(id))
                .is_some_and(|item| rule.is_for(item, fleet.station_of(item).map(|station| &*station.slug)))
    };
    if let Some(rule) = look.set.rules.iter().find(is_for) {
        return Ok(rule);
    }
    let kind = &look.item(tag, None)?.kind;
    refused(format!("no rule has a {kind} {sort}; {tag} needs one of that work in the policy set"))
}

impl Crop {
    /// The rows of it.
    ///
    /// # Errors
    /// Unknown or scrapped gear, lengths that do not add up, or too much off.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        look.item(&self.tag, None)?;
        let at = look.moment(Some(&self.at), look.places.zone_of(&self.tag))?;
        let (rule, note) =
            (rule(look, &self.tag, Sort::Crop)?, format!("{} m off the {} end", self.off, self.end));
        let key = format!("crop {} {}", self.tag, self.at);
        if let Some(stored) = look.register.work.get(&key).filter(|stored| !stored.void) {
            return recorded_already(stored, &note);
        }
        look.not_scrapped(&self.tag, at.at, "cropped")?;
        if !self.off.is_positive() {
            return refused(format!("{} m cannot be cropped; give metres above nought", self.off));
        }
        self.in_order(look, &at)?;
        let before = Lengths::of(look, &self.tag)?;
        let after = Lengths { cropped: before.cropped + self.off, ..before };
        self.not_below(rule, after)?;
        let measurements = [(LEFT, after.left()), (TOTAL, after.cropped)];
        let kept = measurements.iter().filter(|(name, _)| rule.records.iter().any(|have| have.name == *name));
        let kept: Vec<String> = kept.map(|(name, value)| format!("{name}={value}")).collect();
        let told = format!(
            "cropped {}: {} m made, {} m cropped in all, {} m left",
            self.tag,
            after.made,
            after.cropped,
            after.left()
        );
        let measurements = (!kept.is_empty()).then(|| kept.join(";"));
        let work = done(&self.tag, rule, key, at, &self.by);
        let row = Work { measurements, note: Some(note), ..work };
        Ok(Rows { sheets: vec![look.sheet(&[row])], told: vec![told] })
    }

    fn in_order(&self, look: &Look, at: &Moment) -> Result<(), DeskError> {
        match crops(look, &self.tag).into_iter().next_back().filter(|last| last.at > at.at) {
            Some(last) => refused(format!(
                "{} was cropped again {}; enter crops in the order they were made",
                self.tag,
                look.text_of(last.at, last.day.as_deref(), &self.tag)
            )),
            None => Ok(()),
        }
    }

    /// A wire that would be too short is renewed instead.
    fn not_below(&self, rule: &Rule, after: Lengths) -> Result<(), DeskError> {
        let bounds = rule.records.iter().filter_map(|reading| {
            let value = match &*reading.name {
                LEFT => after.left(),
                TOTAL => after.cropped,
                _ => return None,
            };
            let low = reading.min.filter(|min| value < *min);
            let high = reading.max.filter(|max| value > *max);
            let low = low.map(|min| format!("{} must be at least {min} m", reading.name));
            low.or_else(|| high.map(|max| format!("{} must be at most {max} m", reading.name)))
        });
        let mut wrong: Vec<String> = bounds.collect();
        if !after.left().is_positive() {
            wrong.push("more comes off than is left".to_owned());
        }
        if wrong.is_empty() {
            return Ok(());
        }
        refused(format!(
            "{} m off {} would leave {} m of {} m, {} m cropped in all: {} ({}); renew it instead",
            self.off,
            self.tag,
            after.left(),
            after.made,
            after.cropped,
            wrong.join(", "),
            rule.id
        ))
    }
}

impl Turn {
    /// The rows of it.
    ///
    /// # Errors
    /// Unknown or scrapped gear, or gear that no rule has turned.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        look.item(&self.tag, None)?;
        let at = look.moment(Some(&self.at), look.places.zone_of(&self.tag))?;
        let rule = rule(look, &self.tag, Sort::EndForEnd)?;
        let (key, note) = (format!("turn {} {}", self.tag, self.at), "turned end for end");
        if let Some(stored) = look.register.work.get(&key).filter(|stored| !stored.void) {
            return recorded_already(stored, note);
        }
        look.not_scrapped(&self.tag, at.at, "turned")?;
        let row = Work { note: Some(note.to_owned()), ..done(&self.tag, rule, key, at, &self.by) };
        let told = vec![format!("turned {} end for end ({})", self.tag, rule.id)];
        Ok(Rows { sheets: vec![look.sheet(&[row])], told })
    }
}

/// The same again is the same record; anything else at the same moment is a slip.
fn recorded_already(stored: &Work, note: &str) -> Result<Rows, DeskError> {
    if stored.note.as_deref() == Some(note) {
        return Ok(Rows::default());
    }
    refused(format!(
        "\"{}\" is recorded already ({}); give another --at, or tallow correct record work \"{}\" …",
        stored.key,
        stored.note.as_deref().unwrap_or_default(),
        stored.key
    ))
}

fn done(tag: &str, rule: &Rule, key: String, at: Moment, by: &str) -> Work {
    Work {
        key,
        item: tag.to_owned(),
        rule: rule.id.clone(),
        at: at.at,
        day: at.day,
        outcome: "done".to_owned(),
        by: Some(by.to_owned()),
        ..Work::default()
    }
}
