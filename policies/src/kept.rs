//! Earlier dates that stand until an engineer acknowledges later ones: a correction never moves the date of a rule
//! that stops a launch on its own.

use jiff::civil::Date;

use crate::amount::Amount;
use crate::due::{DueRow, Evaluator};
use crate::facts::{Done, ItemId};
use crate::kinds::MeterId;
use crate::rule::{Effect, RuleId, Usage};
use crate::usage::Period;
use crate::zone::Instant;

/// What a row said before a correction, and says still.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Rule.
    pub rule: RuleId,
    /// The earlier calendar date.
    pub calendar_due: Option<Date>,
    /// The earlier date of an after clause.
    pub after_due: Option<Date>,
    /// That clause allowed nothing.
    pub held: bool,
    /// Uses that the corrected count has fewer of.
    pub more: Vec<(MeterId, Amount)>,
    /// Moment of the last work that counted then; work after it does away with what is kept.
    pub last: Option<Instant>,
}

impl Kept {
    fn is_empty(&self) -> bool {
        self.calendar_due.is_none() && self.after_due.is_none() && self.more.is_empty()
    }

    /// Uses of a meter that the corrected count has fewer of.
    pub(crate) fn more_of(&self, meter: MeterId) -> Amount {
        self.more.iter().filter(|(have, _)| *have == meter).map(|(_, amount)| *amount).sum()
    }

    /// Both together: of dates the earlier, of uses the sum, since the second correction came on top of the first.
    #[must_use]
    pub fn and(self, later: Kept) -> Kept {
        let earlier = |one: Option<Date>, other: Option<Date>| one.into_iter().chain(other).min();
        let mut more = self.more;
        for (meter, amount) in later.more {
            match more.iter_mut().find(|(have, _)| *have == meter) {
                Some((_, sum)) => *sum += amount,
                None => more.push((meter, amount)),
            }
        }
        Kept {
            rule: later.rule,
            calendar_due: earlier(self.calendar_due, later.calendar_due),
            after_due: earlier(self.after_due, later.after_due),
            held: self.held || later.held,
            more,
            last: self.last.max(later.last),
        }
    }
}

/// What becomes later for an item when records are corrected: `old` is judged before, `new` after, both on the same
/// day under the same rules. `done_now` says whether a last work that counts is new with these records: then the
/// work moved the date, and nothing is kept.
pub fn moved_later(
    old: &Evaluator,
    new: &Evaluator,
    tag: &str,
    done_now: impl Fn(&Done) -> bool,
) -> Vec<Kept> {
    let Some((before, after)) = old.fleet.find(tag).zip(new.fleet.find(tag)) else { return Vec::new() };
    let (mut was, mut is) = (Vec::new(), Vec::new());
    old.rows_of(before, &mut was);
    new.rows_of(after, &mut is);
    let pairs = is.iter().filter_map(|row| Some((was.iter().find(|old| old.rule == row.rule)?, row)));
    let stops = pairs.filter(|(_, row)| new.set.rule(row.rule).overdue == Effect::StopsLaunch);
    let kept = stops.filter_map(|(old_row, row)| {
        let last = new.counting(new.fleet.item(after), row.rule).next_back();
        if last.is_some_and(&done_now) {
            return None;
        }
        let later = |old: Option<Date>, now: Option<Date>| old.filter(|old| now.is_none_or(|now| now > *old));
        let after_due = later(old_row.after_due, row.after_due);
        let kept = Kept {
            rule: row.rule,
            calendar_due: later(old_row.calendar_due, row.calendar_due),
            after_due,
            held: after_due.is_some() && old_row.held,
            more: fewer(old, new, before, after, row.rule),
            last: last.map(|done| done.at),
        };
        (!kept.is_empty()).then_some(kept)
    });
    kept.collect()
}

/// Meters on which fewer uses count than before.
fn fewer(
    old: &Evaluator,
    new: &Evaluator,
    before: ItemId,
    after: ItemId,
    rule: RuleId,
) -> Vec<(MeterId, Amount)> {
    let used = |evaluator: &Evaluator, id: ItemId, clause: &Usage| {
        let item = evaluator.fleet.item(id);
        let last = evaluator.counting(item, rule).next_back().map(|done| done.at);
        let period = Period { after: last, before: evaluator.cutoff(item) };
        evaluator.usage_due(id, clause, period).used
    };
    let clauses = new.set.rule(rule).usage.iter();
    let differences =
        clauses.map(|clause| (clause.meter, used(old, before, clause) - used(new, after, clause)));
    differences.filter(|(_, fewer)| fewer.is_positive()).collect()
}

impl Evaluator<'_> {
    /// What is kept for a row: an earlier date that waits for an engineer, and that no work has done away with.
    pub fn kept(&self, id: ItemId, rule: RuleId) -> Option<&Kept> {
        let kept = self.fleet.kept(id).iter().find(|kept| kept.rule == rule)?;
        let last = self.counting(self.fleet.item(id), rule).next_back().map(|done| done.at);
        (last <= kept.last).then_some(kept)
    }

    /// Every row of the fleet with the earlier dates that are kept.
    pub fn standing_table(&self) -> Vec<DueRow> {
        self.table().iter().map(|row| self.as_it_stands(row)).collect()
    }

    /// A row with the earlier dates that are kept for it; the row itself where none are.
    pub fn as_it_stands(&self, row: &DueRow) -> DueRow {
        match self.kept(row.item, row.rule) {
            Some(kept) => self.row_keeping(row.item, row.rule, Some(kept)),
            None => *row,
        }
    }
}
