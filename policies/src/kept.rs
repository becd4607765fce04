//! Earlier dates that stand until an engineer acknowledges later ones: a correction never moves the date of a rule
//! that stops a launch on its own.

use jiff::civil::Date;

use crate::amount::Amount;
use crate::due::{Because, DueRow, Evaluator};
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
    /// It was overdue since there was no date to count from.
    pub no_base: bool,
    /// The rule no longer is for the item, so that its row is kept whole. No work ends that.
    pub gone: bool,
    /// Uses that the corrected count has fewer of.
    pub more: Vec<(MeterId, Amount)>,
    /// Moment of the last work that counted then; work after it does away with what is kept.
    pub last: Option<Instant>,
}

impl Kept {
    /// Nothing yet, up to a last work that counts.
    fn nothing(rule: RuleId, last: Option<&Done>) -> Kept {
        let last = last.map(|done| done.at);
        Kept {
            rule,
            calendar_due: None,
            after_due: None,
            held: false,
            no_base: false,
            gone: false,
            more: Vec::new(),
            last,
        }
    }

    fn is_empty(&self) -> bool {
        let dated = self.calendar_due.is_some() || self.after_due.is_some() || self.no_base;
        !dated && !self.gone && self.more.is_empty()
    }

    /// What outlives new work.
    fn past_work(self) -> Kept {
        Kept { gone: self.gone, last: self.last, ..Kept::nothing(self.rule, None) }
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
            no_base: self.no_base || later.no_base,
            gone: self.gone || later.gone,
            more,
            last: self.last.max(later.last),
        }
    }
}

/// What becomes later for an item when records are corrected: `old` is judged before, `new` after, both on the same
/// day under the same rules. `done_now` says whether a last work that counts is new with these records: then the
/// work moved the date, and nothing is kept. What is kept already stays, also where the work before it is corrected
/// to a later moment: only new work does away with it.
pub fn moved_later(
    old: &Evaluator,
    new: &Evaluator,
    tag: &str,
    done_now: impl Fn(&Done) -> bool,
) -> Vec<Kept> {
    let Some((before, after)) = old.fleet.find(tag).zip(new.fleet.find(tag)) else { return Vec::new() };
    let (mut was, mut is) = (Vec::new(), Vec::new());
    old.rows_of(before, &mut was);
    was.extend(old.kept_rows(before));
    new.rows_of(after, &mut is);
    let stops = was.iter().filter(|row| new.set.rule(row.rule).overdue == Effect::StopsLaunch);
    let kept = stops.filter_map(|row| {
        let last = new.counting(new.fleet.item(after), row.rule).next_back();
        let done_now = last.is_some_and(&done_now);
        let fresh = match is.iter().find(|now| now.rule == row.rule) {
            None if new.has_lost(after, row.rule) => Kept { gone: true, ..Kept::nothing(row.rule, last) },
            Some(now) if !done_now => {
                Kept { more: fewer(old, new, before, after, row.rule), ..earlier_dates(row, now, last) }
            }
            _ => Kept::nothing(row.rule, last),
        };
        let carried = old.kept(before, row.rule).filter(|_| !done_now);
        let nudged = carried.as_ref().is_some_and(|kept| fresh.last > kept.last);
        (nudged || !fresh.is_empty()).then(|| match carried {
            Some(earlier) => earlier.and(fresh),
            None => fresh,
        })
    });
    kept.collect()
}

/// The dates of a row before that are earlier than those it has now.
fn earlier_dates(before: &DueRow, now: &DueRow, last: Option<&Done>) -> Kept {
    let later = |old: Option<Date>, now: Option<Date>| old.filter(|old| now.is_none_or(|now| now > *old));
    let after_due = later(before.after_due, now.after_due);
    let no_base = |row: &DueRow| row.because == Some(Because::NoBase);
    Kept {
        calendar_due: later(before.calendar_due, now.calendar_due).filter(|_| !no_base(now)),
        after_due,
        held: after_due.is_some() && before.held,
        no_base: no_base(before) && !no_base(now),
        ..Kept::nothing(now.rule, last)
    }
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
    /// What is kept for a row: an earlier date that waits for an engineer, and that no new work has done away with; or
    /// the whole row, where its rule is no longer for the item.
    pub fn kept(&self, id: ItemId, rule: RuleId) -> Option<Kept> {
        let mut kept = self.fleet.kept(id).iter().find(|kept| kept.rule == rule)?.clone();
        let last = self.counting(self.fleet.item(id), rule).next_back().map(|done| done.at);
        if last > kept.last {
            kept = kept.past_work();
        }
        kept.gone &= self.has_lost(id, rule);
        (!kept.is_empty()).then_some(kept)
    }

    /// Whether a rule is not for an item that is in service.
    fn has_lost(&self, id: ItemId, rule: RuleId) -> bool {
        let item = self.fleet.item(id);
        let station = self.fleet.station_of(item).map(|station| &*station.slug);
        !self.is_withdrawn(item) && !self.set.rule(rule).is_for(item, station)
    }

    /// The rows of an item that a correction took away, as they stand until an engineer acknowledges that.
    pub fn kept_rows(&self, id: ItemId) -> Vec<DueRow> {
        let kept = self.fleet.kept(id).iter().filter_map(|kept| self.kept(id, kept.rule));
        kept.filter(|kept| kept.gone).map(|kept| self.row_keeping(id, kept.rule, Some(&kept))).collect()
    }

    /// The rows of one item with the earlier dates, and the rows, that are kept.
    pub fn standing_rows_of(&self, id: ItemId) -> Vec<DueRow> {
        let mut rows = Vec::new();
        self.rows_of(id, &mut rows);
        let standing = rows.iter().map(|row| self.as_it_stands(row));
        standing.chain(self.kept_rows(id)).collect()
    }

    /// Every row of the fleet with the earlier dates, and the rows, that are kept.
    pub fn standing_table(&self) -> Vec<DueRow> {
        self.fleet.ids().flat_map(|id| self.standing_rows_of(id)).collect()
    }

    /// A row with the earlier dates that are kept for it; the row itself where none are.
    pub fn as_it_stands(&self, row: &DueRow) -> DueRow {
        match self.kept(row.item, row.rule) {
            Some(kept) => self.row_keeping(row.item, row.rule, Some(&kept)),
            None => *row,
        }
    }
}
