//! A rule is waived for an item, for a time and under conditions, by an engineer's word.

use policies::due::Evaluator;
use policies::facts::Fleet;
use policies::rule::{Effect, Rule, RuleId};

use super::{Look, Rows, refused};
use crate::desk::DeskError;
use crate::people;
use crate::records::Concession;
use crate::store::fleet::of_register;

/// How often a concession may follow another without the work between: once renewed, never twice (house).
const MOST_IN_A_ROW: usize = 2;

/// A concession to be recorded.
#[derive(Clone, Debug)]
pub struct Concede {
    /// The item's tag.
    pub tag: String,
    /// Rule that is waived.
    pub rule: String,
    /// First day; today where left out.
    pub from: Option<String>,
    /// Last day.
    pub until: String,
    /// Under what conditions.
    pub conditions: String,
    /// Number; the next one where left out.
    pub number: Option<String>,
    /// The engineer or the head, by address.
    pub by: String,
    /// Another engineer or the head.
    pub second: Option<String>,
}

impl Concede {
    /// The rows of it; what the law asks is refused with them.
    ///
    /// # Errors
    /// Unknown gear or rule, no conditions, somebody who may not say so, or one concession too many.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        look.item(&self.tag, None)?;
        let Some(id) = look.set.find_rule(&self.rule) else {
            return refused(format!(
                "\"{}\" is no rule of the policy set; see tallow due --item {}",
                self.rule, self.tag
            ));
        };
        if self.conditions.trim().is_empty() {
            return refused("--conditions says nothing; say under what conditions the gear may be used");
        }
        let today = look.places.zone_of(&self.tag).date_of(look.now).to_string();
        let from = self.from.clone().unwrap_or_else(|| today.clone());
        if self.until < today {
            return refused(format!("until: {} is past; a concession is for days to come", self.until));
        }
        let row = self.row(look, from);
        if look.register.concessions.get(&row.key).is_some_and(|stored| *stored == row) {
            return Ok(Rows::default());
        }
        if look.register.concessions.contains_key(&row.key) {
            return refused(format!("{} is taken by another concession; give another --number", row.key));
        }
        self.is_for(look, id)?;
        self.may(look, look.set.rule(id))?;
        self.not_too_often(look, id)?;
        let day = |text: &String| text.parse().map_or_else(|_| text.clone(), crate::why::day);
        let told = format!(
            "{}: {} of {} is waived from {} to {}: {}",
            row.key,
            self.rule,
            self.tag,
            day(&row.from_date),
            day(&row.until_date),
            row.conditions
        );
        Ok(Rows { sheets: vec![look.sheet(&[row])], told: vec![told] })
    }

    fn row(&self, look: &Look, from: String) -> Concession {
        let same = |row: &&Concession| {
            !row.void
                && (&row.item, &row.rule, &row.until_date) == (&self.tag, &self.rule, &self.until)
                && (&row.conditions, &row.by) == (&self.conditions, &self.by)
        };
        let known = look.register.concessions.values().find(same).filter(|_| self.number.is_none());
        let number = || self.number.clone().unwrap_or_else(|| next_number(look));
        Concession {
            key: known.map_or_else(number, |row| row.key.clone()),
            void: false,
            item: self.tag.clone(),
            rule: self.rule.clone(),
            from_date: known.filter(|_| self.from.is_none()).map_or(from, |row| row.from_date.clone()),
            until_date: self.until.clone(),
            conditions: self.conditions.clone(),
            by: self.by.clone(),
            second: self.second.clone(),
        }
    }

    fn is_for(&self, look: &Look, id: RuleId) -> Result<(), DeskError> {
        let kind = &look.set.kinds.kind(look.set.rule(id).applies_to.kind).name;
        match look.places.kind_of(&self.tag).filter(|own| own.name != *kind) {
            None => Ok(()),
            Some(own) => {
                refused(format!("{} is for a {kind}, but {} is a {}", self.rule, self.tag, own.name))
            }
        }
    }

    /// An engineer or the head; of a rule that stops a launch, two of them.
    fn may(&self, look: &Look, rule: &Rule) -> Result<(), DeskError> {
        let people = &look.register.people;
        people::engineer(people, &self.by, "gives a concession")?;
        match &self.second {
            Some(second) if *second == self.by => refused("--second is another person than --by"),
            Some(second) => people::engineer(people, second, "says the second word").map(drop),
            None if rule.overdue == Effect::StopsLaunch => Err(DeskError::WantsSecond(format!(
                "{} stops a launch, so a concession wants a second word: --second with the address of another engineer \
                 or the head",
                rule.id
            ))),
            None => Ok(()),
        }
    }

    fn not_too_often(&self, look: &Look, id: RuleId) -> Result<(), DeskError> {
        let fleet = of_register(look.set, look.register);
        let last = last_done(look, &fleet, &self.tag, id);
        let own = look.register.concessions.values().filter(|row| {
            !row.void
                && (&row.item, &row.rule) == (&self.tag, &self.rule)
                && last.as_ref().is_none_or(|last| row.until_date > *last)
        });
        let mut numbers: Vec<&str> = own.map(|row| row.key.as_str()).collect();
        numbers.sort_unstable();
        if numbers.len() < MOST_IN_A_ROW {
            return Ok(());
        }
        refused(format!(
            "{} of {} was conceded {} times already since the work was last done ({}); a concession is renewed once, \
             so do the work, or withdraw it",
            self.rule,
            self.tag,
            numbers.len(),
            numbers.join(", ")
        ))
    }
}

/// Day of the last work that counts.
fn last_done(look: &Look, fleet: &Fleet, tag: &str, rule: RuleId) -> Option<String> {
    let today = look.places.zone_of(tag).date_of(look.now);
    let evaluator = Evaluator::without_forecasts(look.set, fleet, today);
    let item = fleet.item(fleet.find(tag)?);
    evaluator.counting(item, rule).next_back().map(|done| done.date.to_string())
}

/// The number after the highest of the form C-0031.
fn next_number(look: &Look) -> String {
    let numbers = look.register.concessions.keys();
    let highest =
        numbers.filter_map(|key| key.strip_prefix("C-")?.split('/').next()?.parse::<u32>().ok()).max();
    format!("C-{:04}", highest.unwrap_or(0) + 1)
}
