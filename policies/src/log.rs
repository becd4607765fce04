//! One meter's uses on one host, in time order, with running totals.

use jiff::civil::Date;

use crate::amount::Amount;
use crate::zone::Instant;

/// Use known to the day only.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DayUse {
    /// Local day of the host.
    pub day: Date,
    /// 23:59:59 of that day.
    pub at: Instant,
    /// How much.
    pub amount: Amount,
}

/// A dated use. Moment and total lie side by side, since whoever looks for the one wants the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Use {
    /// Moment, in microseconds.
    at: i64,
    /// Running total up to and including it, in millionths.
    total: i64,
}

/// One meter's uses on one host, in time order; those of one moment by how much they count, so that the order in
/// which they were read tells nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Log {
    dated: Vec<Use>,
    /// Uses known to the day only.
    pub days: Vec<DayUse>,
    /// First and last entry of any sort, baselines included.
    pub span: Option<(Instant, Instant)>,
}

/// Two uses, one after the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Pair {
    pub first: Instant,
    pub second: Instant,
    /// What the second adds.
    pub amount: Amount,
}

/// Uses of a log between two moments, by index.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Part {
    start: usize,
    end: usize,
}

impl Log {
    /// From dated uses, in microseconds and millionths, and the others.
    pub(crate) fn from_events(
        mut dated: Vec<(i64, i64)>,
        days: Vec<DayUse>,
        span: Option<(Instant, Instant)>,
    ) -> Log {
        dated.sort_unstable();
        let mut total = 0i64;
        let dated = dated.into_iter().map(|(at, amount)| {
            total = total.saturating_add(amount);
            Use { at, total }
        });
        Log { dated: dated.collect(), days, span }
    }

    /// Index of the first use not before a moment.
    fn place(&self, at: Instant) -> usize {
        first_not_below(&self.dated, at.0, |use_| use_.at)
    }

    /// Running total of the uses before an index.
    fn total_at(&self, index: usize) -> i64 {
        if index == 0 { 0 } else { self.dated[index - 1].total }
    }

    /// How much the use at an index counts.
    fn amount_at(&self, index: usize) -> Amount {
        Amount::from_millionths(self.dated[index].total - self.total_at(index))
    }

    /// The dated uses in `from <= t < to`.
    pub(crate) fn part(&self, from: Instant, to: Instant) -> Part {
        let start = self.place(from);
        Part { start, end: self.place(to).max(start) }
    }

    /// How much a part adds up to.
    pub(crate) fn sum(&self, part: Part) -> Amount {
        Amount::from_millionths(self.total_at(part.end) - self.total_at(part.start))
    }

    /// Moment at which a part reaches `wanted`.
    pub(crate) fn reaches(&self, part: Part, wanted: Amount) -> Option<Instant> {
        let threshold = self.total_at(part.start).saturating_add(wanted.millionths());
        let uses = &self.dated[part.start..part.end];
        uses.get(first_not_below(uses, threshold, |use_| use_.total)).map(|use_| Instant(use_.at))
    }

    /// Moments and amounts of a part.
    pub(crate) fn uses(&self, part: Part) -> impl Iterator<Item = (Instant, Amount)> {
        (part.start..part.end).map(|index| (Instant(self.dated[index].at), self.amount_at(index)))
    }

    /// Dated use in `from <= t < to`.
    pub fn between(&self, from: Instant, to: Instant) -> Amount {
        self.sum(self.part(from, to))
    }

    /// Everything before a moment.
    pub fn sum_before(&self, to: Instant) -> Amount {
        let undated: Amount = self.days.iter().filter(|use_| use_.at < to).map(|use_| use_.amount).sum();
        Amount::from_millionths(self.total_at(self.place(to))) + undated
    }

    /// Moments of the dated uses strictly before a moment, in microseconds, ascending.
    pub fn moments_before(&self, to: Instant) -> Vec<i64> {
        self.dated[..self.place(to)].iter().map(|use_| use_.at).collect()
    }

    /// Dated uses that come within so many microseconds of the one before.
    pub(crate) fn close_pairs(&self, within: i64) -> impl Iterator<Item = Pair> {
        let close = self.dated.windows(2).filter(move |pair| pair[1].at - pair[0].at <= within);
        close.map(|pair| Pair {
            first: Instant(pair[0].at),
            second: Instant(pair[1].at),
            amount: Amount::from_millionths(pair[1].total - pair[0].total),
        })
    }

    /// The last entry before a moment: use, or a reading that added none.
    pub fn last_before(&self, to: Instant) -> Option<Instant> {
        if let Some((_, last)) = self.span.filter(|(_, last)| *last < to) {
            return Some(last);
        }
        let place = self.place(to);
        let dated = place.checked_sub(1).map(|index| Instant(self.dated[index].at));
        let undated = self.days.iter().map(|use_| use_.at).filter(|at| *at < to).max();
        dated.max(undated)
    }

    /// First dated use in `from <= t < to`.
    pub fn first_between(&self, from: Instant, to: Instant) -> Option<Instant> {
        self.dated.get(self.place(from)).map(|use_| Instant(use_.at)).filter(|at| *at < to)
    }

    /// Adds one dated use.
    pub fn insert(&mut self, at: Instant, amount: Amount) {
        let first = self.dated.partition_point(|have| have.at < at.0);
        let comes_after = |index: &usize| self.dated[*index].at > at.0 || self.amount_at(*index) > amount;
        let place = (first..self.dated.len()).find(comes_after).unwrap_or(self.dated.len());
        self.dated.insert(place, Use { at: at.0, total: self.total_at(place) });
        for use_ in &mut self.dated[place..] {
            use_.total = use_.total.saturating_add(amount.millionths());
        }
        self.note(at);
    }

    /// Adds use known to the day only.
    pub fn insert_day(&mut self, use_: DayUse) {
        self.days.push(use_);
        self.note(use_.at);
    }

    fn note(&mut self, at: Instant) {
        let (first, last) = self.span.unwrap_or((at, at));
        self.span = Some((first.min(at), last.max(at)));
    }
}

/// Index of the first use whose key is not below `wanted`; keys ascend.
///
/// Use comes evenly enough that the place by proportion lies near the true one, which saves most of the far
/// memory that halving would touch; from there steps double until the place is enclosed.
fn first_not_below(uses: &[Use], wanted: i64, key: impl Fn(&Use) -> i64) -> usize {
    let (Some(first), Some(last)) = (uses.first(), uses.last()) else { return 0 };
    if wanted <= key(first) {
        return 0;
    }
    if wanted > key(last) {
        return uses.len();
    }
    let near = share(wanted.abs_diff(key(first)), key(last).abs_diff(key(first)), uses.len());
    let (low, high) = enclose(near, uses.len(), |index| key(&uses[index]) < wanted);
    low + uses[low..high].partition_point(|use_| key(use_) < wanted)
}

/// `count` × `part` / `whole`, below `count`. The low bits go, so that the product holds.
fn share(part: u64, whole: u64, count: usize) -> usize {
    let bits = (64 - whole.leading_zeros()).saturating_sub(32);
    let share = (part >> bits) * count as u64 / ((whole >> bits) + 1);
    usize::try_from(share).unwrap_or_default().min(count - 1)
}

/// A stretch of indices that ends at, or holds, the first one that is not `below`; every one before it is.
fn enclose(near: usize, count: usize, below: impl Fn(usize) -> bool) -> (usize, usize) {
    let mut width = 8;
    if below(near) {
        let mut low = near;
        while low + width < count && below(low + width) {
            low += width;
            width *= 2;
        }
        return (low + 1, (low + width).min(count));
    }
    let mut high = near;
    while high > width && !below(high - width) {
        high -= width;
        width *= 2;
    }
    (high.saturating_sub(width), high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn log(uses: &[(i64, i64)]) -> Log {
        Log::from_events(uses.to_vec(), Vec::new(), None)
    }

    /// Against plain counting: even, crowded and tied moments, and every place between them.
    #[test]
    fn finds_every_place() {
        let even: Vec<(i64, i64)> = (0..300).map(|n| (n * 10, 1)).collect();
        let crowded: Vec<(i64, i64)> = (0..300).map(|n| (n * n * n, n % 3)).collect();
        let tied: Vec<(i64, i64)> = (0..300).map(|n| (n / 7 * 7, 2)).collect();
        let far = vec![(i64::MIN, 1), (0, 1), (i64::MAX, 1)];
        for uses in [even, crowded, tied, far, vec![(5, 5)], Vec::new()] {
            let log = log(&uses);
            let moments = uses.iter().flat_map(|(at, _)| [at.saturating_sub(1), *at, at.saturating_add(1)]);
            for at in moments {
                assert_eq!(
                    log.place(Instant(at)),
                    uses.iter().filter(|(have, _)| *have < at).count(),
                    "{at}"
                );
            }
        }
    }

    #[test]
    fn reaches_what_counting_one_by_one_reaches() {
        let uses: Vec<(i64, i64)> = (0..200).map(|n| (n * n, 1 + n % 5)).collect();
        let log = log(&uses);
        let part = log.part(Instant(100), Instant(30_000));
        for wanted in [1, 2, 7, 60, 200, 489, 490, 491, 492, 493, 600] {
            let mut so_far = 0;
            let inside = uses.iter().filter(|(at, _)| (100..30_000).contains(at));
            let plain = inside
                .map(|(at, amount)| {
                    (at, {
                        so_far += amount;
                        so_far
                    })
                })
                .find(|(_, sum)| *sum >= wanted);
            let found = log.reaches(part, Amount::from_millionths(wanted));
            assert_eq!(found, plain.map(|(at, _)| Instant(*at)), "{wanted}");
        }
    }

    /// 1, 3 and 2 at one moment: of likely twins the second counts 2 and then 3, whoever was read or logged first.
    #[test]
    fn uses_of_one_moment_stand_by_amount() {
        let amounts = |log: &Log| {
            let pairs = log.close_pairs(0).map(|pair| pair.amount.millionths());
            pairs.collect::<Vec<_>>()
        };
        for [one, two, three] in [[1, 2, 3], [1, 3, 2], [2, 1, 3], [2, 3, 1], [3, 1, 2], [3, 2, 1]] {
            let read = log(&[(9, 5), (10, one), (11, 5), (10, two), (10, three)]);
            let mut logged = log(&[(9, 5), (10, one), (11, 5)]);
            logged.insert(Instant(10), Amount::from_millionths(two));
            logged.insert(Instant(10), Amount::from_millionths(three));
            assert_eq!(amounts(&read), [2, 3]);
            assert_eq!(logged.dated, read.dated);
        }
    }

    #[test]
    fn a_late_use_moves_every_later_total() {
        let mut log = log(&[(10, 1), (30, 1)]);
        log.insert(Instant(20), Amount::from_millionths(5));
        assert_eq!(log.between(Instant(0), Instant(21)), Amount::from_millionths(6));
        assert_eq!(log.between(Instant(20), Instant(31)), Amount::from_millionths(6));
        assert_eq!(log.first_between(Instant(11), Instant(31)), Some(Instant(20)));
        assert_eq!(log.between(Instant(31), Instant(10)), Amount::ZERO);
    }
}
