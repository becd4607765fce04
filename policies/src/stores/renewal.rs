//! With what chance each fitted item is renewed by a day, and because of which clause.

use std::cell::RefCell;
use std::collections::HashMap;

use jiff::civil::Date;

use crate::amount::Amount;
use crate::due::{Because, Evaluator};
use crate::facts::{ItemId, StationId};
use crate::kinds::{KindId, MeterId};
use crate::readiness::{Danger, Defect};
use crate::rule::{Effect, Event, Happening, RuleId, Work};
use crate::usage::Period;
use crate::wear::{Wear, chance_by};

/// Why renewal is certain by a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Cause {
    /// A rule has no date to count from: it is overdue now.
    NoBase(RuleId),
    /// A rule's date.
    Date(RuleId),
    /// The use that a rule allows has been made.
    UsedUp(RuleId),
    /// It must not be used: set aside, failed, or beyond a discard criterion.
    SetAside,
    /// An examination found a danger; its key.
    Defect(String),
}

/// A day by which renewal is certain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Certain {
    /// The day.
    pub on: Date,
    /// Why.
    pub cause: Cause,
}

/// Use that may reach its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UseLeft {
    /// Rule.
    pub rule: RuleId,
    /// Meter.
    pub meter: MeterId,
    /// Host whose log foretells it.
    pub host: ItemId,
    /// Used since the last work that counts.
    pub used: Amount,
    /// Limit.
    pub limit: Amount,
}

impl UseLeft {
    /// Use left.
    pub fn left(&self) -> Amount {
        self.limit - self.used
    }
}

/// What renews one fitted item.
#[derive(Clone, Debug, PartialEq)]
pub struct Renewal<'w> {
    /// Item.
    pub item: ItemId,
    /// Station of its outermost host; none at the central stores.
    pub station: Option<StationId>,
    /// Outermost host.
    pub host: ItemId,
    /// A day by which it is certain.
    pub certain: Option<Certain>,
    /// Use that may reach a limit before.
    pub uses: Vec<UseLeft>,
    /// Wear that may reach a limit before.
    pub wear: &'w [Wear],
    /// A renewal that is not done takes the station off.
    pub stops_launch: bool,
}

type Key = (ItemId, MeterId, u16, u64, Date);

/// Looks at renewals; what many items share is reckoned once.
pub struct Renewals<'f> {
    /// With forecasts.
    odds: &'f Evaluator<'f>,
    /// Rules that renew, by kind.
    rules: Vec<Vec<RuleId>>,
    /// Kinds of which a whole set is renewed with any of it.
    with_set: Vec<bool>,
    known: RefCell<HashMap<Key, f64>>,
}

impl<'f> Renewals<'f> {
    /// Over an evaluator with forecasts.
    pub fn new(odds: &'f Evaluator<'f>) -> Renewals<'f> {
        let kinds = odds.set.kinds.kinds.len();
        let (mut rules, mut with_set) = (vec![Vec::new(); kinds], vec![false; kinds]);
        for (index, rule) in (0u16..).zip(&odds.set.rules) {
            let kind = usize::from(rule.applies_to.kind.0);
            if rule.work == Work::Renewal && rule.has_due_row() {
                rules[kind].push(RuleId(index));
                let set = Event::Happening(Happening::SetMemberRenewed);
                with_set[kind] |= rule.after.iter().any(|clause| clause.event == set);
            }
        }
        Renewals { odds, rules, with_set, known: RefCell::default() }
    }

    /// Whether anything renews a kind, or its whole set goes with it.
    pub fn renews_sets(&self, kind: KindId) -> bool {
        self.with_set[usize::from(kind.0)]
    }

    /// What renews an item; none where it is fitted nowhere or gone for good. `certain` judges without forecasts, on the
    /// same day.
    pub fn of<'w>(
        &self,
        certain: &Evaluator,
        id: ItemId,
        wear: &'w [Wear],
        defects: &[&Defect],
    ) -> Option<Renewal<'w>> {
        let fleet = self.odds.fleet;
        let item = fleet.item(id);
        let chain = fleet.chain(id, certain.cutoff(item));
        let host = *chain.last().filter(|_| chain.len() > 1)?;
        if certain.is_withdrawn(item) {
            return None;
        }
        let mut found = Renewal {
            item: id,
            station: fleet.item(host).station,
            host,
            certain: None,
            uses: Vec::new(),
            wear,
            stops_launch: !wear.is_empty(),
        };
        let owner = fleet.station_of(item).map(|station| &*station.slug);
        for rule in &self.rules[usize::from(item.kind.0)] {
            if certain.applies(item, id, *rule, owner) {
                self.add_rule(certain, &mut found, *rule);
            }
        }
        self.add_faults(certain, &mut found, defects);
        Some(found)
    }

    fn add_rule(&self, certain: &Evaluator, found: &mut Renewal, rule_id: RuleId) {
        let rule = self.odds.set.rule(rule_id);
        let item = self.odds.fleet.item(found.item);
        let row = certain.as_it_stands(&certain.row(found.item, rule_id));
        let stops = rule.overdue == Effect::StopsLaunch;
        if row.because == Some(Because::NoBase) {
            found.sooner(certain.day(item), Cause::NoBase(rule_id));
            found.stops_launch |= stops;
            return;
        }
        let dates = [(row.calendar_due, Cause::Date(rule_id)), (row.after_due, Cause::Date(rule_id))];
        for (date, cause) in dates.into_iter().chain([(row.usage_due, Cause::UsedUp(rule_id))]) {
            if let Some(date) = date {
                found.sooner(date, cause);
                found.stops_launch |= stops;
            }
        }
        if row.usage_due.is_none() && !rule.usage.is_empty() {
            found.stops_launch |= stops;
            self.add_uses(certain, found, rule_id);
        }
    }

    fn add_uses(&self, certain: &Evaluator, found: &mut Renewal, rule_id: RuleId) {
        let (item, rule) = (self.odds.fleet.item(found.item), self.odds.set.rule(rule_id));
        let Some(forecaster) = &self.odds.forecaster else { return };
        let last = certain.counting(item, rule_id).next_back().map(|done| done.at);
        let period = Period { after: last, before: certain.cutoff(item) };
        for clause in rule.usage.iter().filter(|clause| certain.counts(found.item, clause.when)) {
            let Some(host) = forecaster.host(found.item, clause.meter, period.before) else { continue };
            let due = certain.usage_due(found.item, clause, period);
            found.uses.push(UseLeft {
                rule: rule_id,
                meter: clause.meter,
                host,
                used: due.used,
                limit: clause.every,
            });
        }
    }

    fn add_faults(&self, certain: &Evaluator, found: &mut Renewal, defects: &[&Defect]) {
        let today = certain.day(self.odds.fleet.item(found.item));
        if certain.shut(found.item).is_some() {
            found.sooner(today, Cause::SetAside);
            found.stops_launch = true;
        }
        let item = found.item;
        for defect in defects.iter().filter(|defect| defect.item == item && defect.is_open(today)) {
            let day = match defect.danger {
                Danger::Now => today,
                Danger::By(day) => day,
                Danger::None => continue,
            };
            found.sooner(day, Cause::Defect(defect.key.clone()));
            found.stops_launch = true;
        }
    }

    /// Chance that an item is renewed by the end of a day: certain from its date on, before that as likely as the
    /// likeliest of what its use and its wear ask for, since one log drives them all.
    pub fn chance_by(&self, renewal: &Renewal, day: Date) -> f64 {
        self.chance_if(renewal, day, 1.0)
    }

    /// The same if of the use ahead only a share is made.
    pub fn chance_if(&self, renewal: &Renewal, day: Date, share: f64) -> f64 {
        if renewal.certain.as_ref().is_some_and(|certain| certain.on <= day) {
            return 1.0;
        }
        let by_use = renewal.uses.iter().map(|left| self.crossed(renewal.item, left, day, share));
        let wear = chance_by(renewal.wear, day).unwrap_or(0.0);
        by_use.fold(wear, f64::max).clamp(0.0, 1.0)
    }

    fn crossed(&self, item: ItemId, left: &UseLeft, day: Date, share: f64) -> f64 {
        let Some(forecaster) = &self.odds.forecaster else { return 0.0 };
        let zone = self.odds.fleet.item(item).zone;
        let whole = share >= 1.0;
        let key = (left.host, left.meter, zone.0, left.left().ceil_u64(), day);
        if let Some(known) = self.known.borrow().get(&key).filter(|_| whole) {
            return *known;
        }
        let found =
            forecaster.chance_if(left.host, left.meter, zone, left.left(), (day, share)).unwrap_or(1.0);
        if whole {
            self.known.borrow_mut().insert(key, found);
        }
        found
    }

    /// The first day after `from`, up to `to`, by which the chance is at least `level`.
    pub fn first_day(&self, renewal: &Renewal, level: f64, from: Date, to: Date) -> Option<Date> {
        if self.chance_by(renewal, to) < level {
            return None;
        }
        let (mut low, mut high) = (from, to);
        while low < high {
            let middle = low.checked_add(jiff::Span::new().days((high - low).get_days() / 2)).unwrap_or(low);
            if self.chance_by(renewal, middle) >= level {
                high = middle;
            } else {
                low = middle.tomorrow().unwrap_or(high);
            }
        }
        Some(low)
    }
}

impl Renewal<'_> {
    fn sooner(&mut self, on: Date, cause: Cause) {
        if self.certain.as_ref().is_none_or(|known| on < known.on) {
            self.certain = Some(Certain { on, cause });
        }
    }
}
