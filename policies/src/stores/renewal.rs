//! With what chance each fitted item is renewed by a day, and because of which clause.

mod empty;

use std::cell::RefCell;
use std::collections::HashMap;

use jiff::civil::Date;

use crate::amount::Amount;
use crate::due::{Because, Evaluator};
use crate::facts::{ItemId, StationId};
use crate::kinds::{KindId, MeterId};
use crate::readiness::{Danger, Defect};
use crate::rule::{Effect, Event, Happening, RuleId, Timing, Work};
use crate::span::Span;
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
    /// A required position of a host in use is empty.
    Empty {
        /// Host.
        host: ItemId,
        /// Position within the host's kind.
        position: usize,
    },
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
    /// Use left; none below nought.
    pub fn left(&self) -> Amount {
        (self.limit - self.used).max(Amount::ZERO)
    }

    /// Use until the `nth` renewal from now on, each after the whole limit of the one before.
    fn until(&self, nth: u32) -> Amount {
        self.left() + times(self.limit, nth.saturating_sub(1))
    }
}

/// What renews one fitted item, or fills one empty position.
#[derive(Clone, Debug, PartialEq)]
pub struct Renewal<'w> {
    /// Item; of an empty position what was there last, or its host where nothing was.
    pub item: ItemId,
    /// Kind of what is fitted there.
    pub kind: KindId,
    /// Station of its outermost host; none at the central stores.
    pub station: Option<StationId>,
    /// Outermost host.
    pub host: ItemId,
    /// It hangs on what is laid up: nobody waits for it.
    pub laid_up: bool,
    /// The shortest life by the calendar of what takes its place.
    pub life: Option<Span>,
    /// A day by which it is certain.
    pub certain: Option<Certain>,
    /// Use that may reach a limit before.
    pub uses: Vec<UseLeft>,
    /// Wear that may reach a limit before.
    pub wear: &'w [Wear],
    /// A renewal that is not done takes the station off.
    pub stops_launch: bool,
}

/// A piece that is less likely to be renewed is not looked at for a second time.
const RARE_BEFORE: f64 = 0.02;
/// A chance of one more renewal that is left out.
const RARE_AGAIN: f64 = 1e-4;
/// No piece is renewed more often in the time looked at; a bound for the loop.
const MOST_RENEWALS: u32 = 200;

/// To be ready by the day by which a need has come with so much (house).
const READY: f64 = 0.10;

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
            kind: item.kind,
            station: fleet.item(host).station,
            host,
            laid_up: chain.iter().any(|link| certain.is_laid_up(fleet.item(*link))),
            life: None,
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
        let id = found.item;
        for clause in rule.calendar.iter().filter(|clause| certain.counts(id, clause.when)) {
            if let Timing::Every(interval) = clause.timing {
                found.lives(interval.every, certain.day(item));
            }
        }
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
        if !rule.usage.is_empty() {
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
        let by_use =
            renewal.uses.iter().map(|left| self.crossed((renewal.item, left), left.left(), day, share));
        let wear = chance_by(renewal.wear, day).unwrap_or(0.0);
        by_use.fold(wear, f64::max).clamp(0.0, 1.0)
    }

    /// Chance that so much of a use is made by the end of a day, if only a share of it is.
    fn crossed(&self, (item, left): (ItemId, &UseLeft), uses: Amount, day: Date, share: f64) -> f64 {
        let Some(forecaster) = &self.odds.forecaster else { return 0.0 };
        let zone = self.odds.fleet.item(item).zone;
        let whole = share >= 1.0;
        let key = (left.host, left.meter, zone.0, uses.ceil_u64(), day);
        if let Some(known) = self.known.borrow().get(&key).filter(|_| whole) {
            return *known;
        }
        let found = forecaster.chance_if(left.host, left.meter, zone, uses, (day, share)).unwrap_or(1.0);
        if whole {
            self.known.borrow_mut().insert(key, found);
        }
        found
    }

    /// Chances that it is renewed once or more, twice or more, … by the end of a day: what takes its place wears out in
    /// its turn.
    pub fn chances_by(&self, renewal: &Renewal, day: Date) -> Vec<f64> {
        let mut chances = vec![self.chance_by(renewal, day)];
        for nth in 2..=MOST_RENEWALS {
            if chances.last().is_none_or(|before| *before < RARE_BEFORE) {
                break;
            }
            let before = chances.last().copied().unwrap_or(0.0);
            let chance = self.nth_by(renewal, nth, day).min(before);
            if chance < RARE_AGAIN {
                break;
            }
            chances.push(chance);
        }
        chances
    }

    /// Chance of the `nth` renewal by the end of a day: by use alone, by use from a certain first renewal on, or a whole
    /// life after the one before.
    fn nth_by(&self, renewal: &Renewal, nth: u32, day: Date) -> f64 {
        let today = self.odds.day(self.odds.fleet.item(renewal.item));
        if day < today {
            return 0.0;
        }
        if nth <= 1 {
            return self.chance_by(renewal, day);
        }
        let by_life = renewal.life.map_or(0.0, |life| self.nth_by(renewal, nth - 1, life.before(day)));
        if by_life >= 1.0 {
            return 1.0;
        }
        // From a certain first renewal on, so many days of use as remain: the season is taken as it is from now on.
        let first = renewal.certain.as_ref().map(|certain| (certain.on - today).get_days().max(0));
        let since = first.map(|wait| day.saturating_sub(jiff::Span::new().days(wait)));
        let by_use = renewal.uses.iter().map(|left| {
            let whole = self.crossed((renewal.item, left), left.until(nth), day, 1.0);
            let from_first = since.filter(|since| *since > today).map_or(0.0, |since| {
                self.crossed((renewal.item, left), times(left.limit, nth - 1), since, 1.0)
            });
            whole.max(from_first)
        });
        by_use.fold(by_life, f64::max).clamp(0.0, 1.0)
    }

    /// The day to be ready by: the certain one, or the first after `from` by which it has come with 10 %, up to `to`.
    pub fn ready_by(&self, renewal: &Renewal, from: Date, to: Date) -> Option<Date> {
        let certain = renewal.certain.as_ref().map(|certain| certain.on).filter(|on| *on <= to);
        certain.into_iter().chain(self.first_day(renewal, READY, from, to)).min()
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
    /// Whether a piece hangs there now, and not an empty position.
    pub fn is_fitted(&self) -> bool {
        let cause = self.certain.as_ref().map(|certain| &certain.cause);
        !matches!(cause, Some(Cause::Empty { .. }))
    }

    fn lives(&mut self, life: Span, from: Date) {
        if !life.is_zero() && self.life.is_none_or(|known| life.after(from, 1) < known.after(from, 1)) {
            self.life = Some(life);
        }
    }

    fn sooner(&mut self, on: Date, cause: Cause) {
        if self.certain.as_ref().is_none_or(|known| on < known.on) {
            self.certain = Some(Certain { on, cause });
        }
    }
}

fn times(amount: Amount, count: u32) -> Amount {
    Amount::from_millionths(amount.millionths().saturating_mul(i64::from(count)))
}
